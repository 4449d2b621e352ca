# SPDX-License-Identifier: GPL-3.0-or-later
"""The whole job on small carvings: numbers, letters, statuses, sums, and the same again."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from proof import assert_closed, surface
from reference import volume_of, winding
from seamwright.core import Job, Mesh, Plane, Profile, cut, run_job
from seamwright.core.cutting.check import check_cut
from seamwright.core.cutting.joint import Joint
from seamwright.core.errors import Cancelled, CutError, InputError, JobError, MeshError, NotClosedError
from seamwright.core.findings import Severity, worst
from seamwright.core.jobpack.joints_file import read_joints
from seamwright.core.jobpack.pack import pack_files
from seamwright.core.jobpack.record import JobResult
from seamwright.core.marking.marks import joint_letters
from seamwright.core.mesh.mesh import BASE, CARVED, JOINT
from seamwright.core.planning.axis import long_axis
from seamwright.core.skin.depth import gap_width
from shapes import box, comb, grid_box, joined, rock, torus

JOB = Job.from_toml('title = "Wrenlow Skerry, test"\n[limits]\npiece_mass = "30 kg"')


def standing(mesh: Mesh, height: float = 0.1) -> Mesh:
    """A rock with its foot cut off flat, standing on z = 0."""
    low = mesh.vertices[:, 2].min()
    piece = cut(mesh, [Plane((0, 0, low + height), (0, 0, 1))]).pieces[-1].mesh
    return Mesh(piece.vertices - (0.0, 0.0, low + height), piece.triangles)


CARVING = standing(rock(1, 2, size=(3.0, 1.6, 1.2)))


@pytest.fixture(scope="module")
def result() -> JobResult:
    return run_job(CARVING, JOB)


def bytes_of(result: JobResult) -> list[bytes]:
    out = []
    for p in result.pieces:
        out += [a.tobytes() for a in (p.mesh.vertices, p.mesh.triangles, p.mesh.kind, p.source, p.origin)]
        out.append(repr((p.mark, p.figures, p.joints, p.status, p.part)).encode())
    for j in result.joints:
        out.append(repr((j.mark, j.area, j.visible_length, j.status)).encode())
        out += [a.tobytes() for line in j.lines for a in (line.points, line.kind, line.pieces)]
    return [*out, repr((result.contacts, result.findings, result.takeoff, result.taken_volume, result.gap)).encode()]


def test_numbers_and_letters(result: JobResult) -> None:
    count = len(result.pieces)
    assert count > 4
    assert [p.mark for p in result.pieces] == [str(k + 1) for k in range(count)]
    assert tuple(j.mark for j in result.joints) == joint_letters(len(result.joints))
    along = long_axis(result.carving)[0]
    reach = [round(float(np.dot(p.figures.centroid, along)), 3) for p in result.pieces]
    # Along the carving; of two that stand on each other the lower one first.
    for k in range(count - 1):
        lower = result.pieces[k].figures.centroid[2] < result.pieces[k + 1].figures.centroid[2] - 0.1
        assert reach[k] < reach[k + 1] + (0.1 if lower else 0.0)
    for piece in result.pieces:
        meets = {c.mark for c in result.contacts if piece.mark in (c.piece_a, c.piece_b)}
        assert set(piece.joints) == meets
        assert list(piece.joints) == [j.mark for j in result.joints if j.mark in meets]
        # Whatever a joint made on the piece, the piece is listed with it.
        made = {result.joints[int(k)].mark for k in np.unique(piece.source[piece.origin == 1])}
        assert made == meets
        assert winding(piece.mesh, np.array(piece.part)) == pytest.approx(1.0, abs=1e-6)
    pairs = [(c.mark, c.piece_a, c.piece_b) for c in result.contacts]
    assert len(set(pairs)) == len(pairs)
    assert all(c.piece_a != c.piece_b and c.kind == "plane" for c in result.contacts)


def test_sums(result: JobResult) -> None:
    parts = sum(volume_of(p.mesh) for p in result.pieces) + sum(volume_of(c.mesh) for c in result.crumbs)
    assert parts + result.taken_volume == pytest.approx(volume_of(CARVING), rel=1e-9)
    assert result.carving_volume == pytest.approx(volume_of(CARVING), rel=1e-12)
    assert result.gap == gap_width(JOB)
    areas = surface(result.carving)
    assert result.carving_area == pytest.approx(areas[result.carving.kind == CARVED].sum(), rel=1e-12)
    for joint in result.joints:
        mine = [c for c in result.contacts if c.mark == joint.mark]
        assert joint.area == pytest.approx(sum(c.area for c in mine), rel=1e-12)
        assert joint.visible_length == pytest.approx(sum(c.visible_length for c in mine), rel=1e-12)
        carved = sum(float(li.lengths[(li.kind == 0) & (li.pieces >= 0).all(axis=1)].sum()) for li in joint.lines)
        assert joint.visible_length == pytest.approx(carved, rel=1e-9)
        assert joint.area > 0.0
    for piece in result.pieces:
        assert_closed(piece.mesh)
        figures = piece.figures
        assert figures.volume == pytest.approx(volume_of(piece.mesh), rel=1e-12)
        assert figures.foam_mass == pytest.approx(JOB.foam.density * figures.volume, rel=1e-12)
        assert figures.finished_mass == pytest.approx(figures.foam_mass + figures.skin_mass, rel=1e-12)
        assert figures.areas == pytest.approx(np.bincount(piece.mesh.kind, surface(piece.mesh), minlength=4), rel=1e-12)
    # The floor is base, on the carving and on each piece that stands on it.
    floor = np.abs(result.carving.corners()[:, :, 2]).max(axis=1) < 1e-9
    assert (result.carving.kind[floor] == BASE).all()
    assert result.carving.kind[~floor].max() == CARVED
    base = sum(p.figures.areas[BASE] for p in result.pieces)
    assert 0.9 * areas[floor].sum() < base < areas[floor].sum()


def test_statuses_and_limits(result: JobResult) -> None:
    for piece in result.pieces:
        mine = [f for f in result.findings if f.piece == piece.mark]
        assert piece.status == worst(mine)
        over = piece.figures.finished_mass > JOB.limits.piece_mass
        assert over == any(f.check == "piece_mass" for f in mine)
        assert not over
    assert all(f.severity != Severity.ERROR for f in result.findings)
    assert result.plan.kind == "planned"
    assert f"{len(result.pieces)} pieces" in result.plan.text
    assert not result.plan.over
    assert len(result.plan.reasons) == len(result.joints)
    # What is said is the cut's, not the samples' that it was planned with.
    line = sum(record.visible_length for record in result.joints)
    assert f"The joints show for {line:.1f} m, " in result.plan.text
    assert f"and have {sum(record.area for record in result.joints):.1f} m2 of face." in result.plan.text
    assert "about" not in " ".join(result.plan.reasons)
    for record, reason in zip(result.joints, result.plan.reasons, strict=True):
        assert f" {record.visible_length:.1f} m" in reason
    assert 1 <= result.plan.fewest <= len(result.pieces)
    assert set(result.seconds) == {
        "intake",
        "block-up",
        "seams",
        "joints",
        "cut",
        "measure",
        "build order",
        "site",
        "clearance",
        "check",
        "take-off",
    }
    assert all(s >= 0.0 for s in result.seconds.values())


def test_the_same_again_from_its_own_joints_and_from_the_pack(result: JobResult) -> None:
    first = bytes_of(result)
    copy = Mesh(CARVING.vertices.copy(), CARVING.triangles.copy(), CARVING.kind.copy())
    assert bytes_of(run_job(copy, JOB)) == first
    given = run_job(CARVING, JOB, [j.joint for j in result.joints])
    assert bytes_of(given) == first
    assert given.plan.kind == "given"
    assert f"{len(result.joints)} joints given" in given.plan.text
    files = pack_files(result, {})
    again = pack_files(run_job(copy, JOB), {})
    assert files == again
    saved = read_joints(files["job.json"].decode())
    assert bytes_of(run_job(CARVING, JOB, saved)) == first
    listed = json.loads(files["job.json"])["joints"]
    assert [entry["mark"] for entry in listed] == [j.mark for j in result.joints]


def test_joints_keep_the_letters_that_they_have() -> None:
    bar = box((4.0, 1.0, 0.8))
    cuts = [Plane((x, 0.0, 0.0), (1.0, 0.0, 0.0)) for x in (1.0, 2.0, 3.0)]
    result = run_job(bar, Job(), cuts, letters=("C", "", "K2"))
    assert [j.mark for j in result.joints] == ["C", "A", "K2"]
    assert {c.mark for c in result.contacts} == {"C", "A", "K2"}
    assert [p.joints for p in result.pieces] == [("C",), ("C", "A"), ("A", "K2"), ("K2",)]
    assert [j.mark for j in run_job(bar, Job(), cuts, letters=("B",)).joints] == ["B", "A", "C"]


def test_given_joints_with_a_miss_a_crumb_and_an_error() -> None:
    mesh = comb(3, (5.0, 0.4, 1.0))
    joints: list[Joint] = [
        Plane((0, 0, 0.998), (0, 0, 1)),
        Plane((9, 0, 0), (1, 0, 0)),
        Profile((0, 0, 0), (0, 0, 1), (1, 0, 0), [(0.0, 1.6), (0.2, 1.5), (1.0, 1.5)]),
    ]
    job = Job.from_toml(
        '[limits]\npiece_mass = "4 kg"\n[joints]\nfit = "0 mm"\n[skin]\nlayers = []\n[foam]\nkerf = "1 mm"'
    )
    result = run_job(mesh, job, joints)
    assert result.gap == pytest.approx(1e-3)
    # Three tops of 1 m x 0.4 m x 1.5 mm, 0.6 l each.
    assert [c.volume for c in result.crumbs] == pytest.approx([1.0 * 0.4 * 0.0015] * 3, rel=1e-9)
    notes = [f for f in result.findings if f.check == "crumb"]
    assert [f.severity for f in notes] == [Severity.NOTE] * 3
    for note, crumb in zip(notes, result.crumbs, strict=True):
        assert note.measured == crumb.volume
        assert note.limit == Job().carving.crumb
        low, high = crumb.mesh.vertices.min(axis=0), crumb.mesh.vertices.max(axis=0)
        assert note.where is not None
        assert ((low <= note.where) & (note.where <= high)).all()
        assert "0.6 l" in note.message
    missed = [f for f in result.findings if f.check == "joint_misses"]
    assert [(f.joint, f.severity) for f in missed] == [("B", Severity.WARNING)]
    # Nothing there is a seam: said once, and held against no joint.
    assert [(f.joint, f.severity) for f in result.findings if f.check == "seams"] == [("", Severity.NOTE)]
    assert [j.status for j in result.joints] == ["ok", "warning", "ok"]
    assert [j.joint.kind for j in result.joints] == ["plane", "plane", "profile"]
    assert result.joints[1].lines == ()
    assert result.joints[1].area == 0.0
    # A joint between a piece and its crumbs alone is no contact of two pieces.
    assert {c.mark for c in result.contacts} == {"C"}
    assert len(result.pieces) == 2
    heavy = [p for p in result.pieces if p.figures.finished_mass > 4.0]
    assert len(heavy) == 2
    for piece in result.pieces:
        assert piece.status == "error"
        (found,) = [f for f in result.findings if f.piece == piece.mark and f.check == "piece_mass"]
        assert found.measured == piece.figures.finished_mass
        assert found.limit == 4.0
    total = sum(p.figures.volume for p in result.pieces) + sum(c.volume for c in result.crumbs)
    assert total + result.taken_volume == pytest.approx(volume_of(mesh), rel=1e-9)


def test_a_carving_within_its_limits() -> None:
    result = run_job(box((1.0, 0.5, 0.5)), Job.from_toml(""))
    (piece,) = result.pieces
    assert (piece.mark, piece.joints, result.joints, result.contacts) == ("1", (), (), ())
    assert np.array_equal(np.sort(piece.mesh.vertices, axis=0), np.sort(box((1.0, 0.5, 0.5)).vertices, axis=0))
    assert result.taken_volume == 0.0
    assert "no joints" in result.plan.text


def test_pieces_of_several_bodies() -> None:
    mesh = joined(box((1.0, 0.5, 0.5), (3.0, 0.0, 0.0)), box((1.0, 0.5, 0.5)))
    result = run_job(mesh, Job.from_toml(""), [])
    assert [p.mesh.vertices[:, 0].min() for p in result.pieces] == [0.0, 3.0]
    assert [p.mark for p in result.pieces] == ["1", "2"]
    assert "0 joints given" in result.plan.text


def test_balance_is_told() -> None:
    # The check must be able to fail: foam that no piece, crumb or gap accounts for.
    parts = cut(box(), [Plane((0.5, 0, 0), (1, 0, 0))], 0.01)
    assert check_cut(parts, ["A"], 0.0, 1.0) == []
    (found,) = check_cut(replace(parts, taken=()), ["A"], 0.0, 1.0)
    assert found.severity == Severity.ERROR
    assert found.measured == pytest.approx(0.01, rel=1e-9)
    (found,) = check_cut(replace(parts, pieces=parts.pieces + parts.pieces[:1]), ["A"], 0.0, 1.0)
    assert found.measured == pytest.approx(0.495, rel=1e-9)


def test_progress_rises_and_cancels() -> None:
    seen: list[tuple[float, str]] = []
    mesh = box((2.0, 0.6, 0.6))
    job = Job.from_toml('[limits]\npiece_mass = "15 kg"')
    run_job(mesh, job, progress=lambda share, text: seen.append((share, text)))
    shares = [share for share, _ in seen]
    assert shares == sorted(shares)
    assert shares[0] == 0.0
    assert shares[-1] <= 1.0
    assert len(set(shares)) > 8
    assert {"intake", "joints", "cut", "measure", "build order", "site", "check", "take-off"} <= {
        text for _, text in seen
    }
    before = mesh.vertices.tobytes()
    for limit in (0.0, 0.15, 0.62, 0.75, 0.95):

        def stop(share: float, _: str, limit: float = limit) -> None:
            if share >= limit:
                raise Cancelled("stopped")

        with pytest.raises(Cancelled, match="stopped"):
            run_job(mesh, job, progress=stop)
    assert mesh.vertices.tobytes() == before


def test_what_cannot_be_run() -> None:
    mesh = grid_box((2, 2, 2), (1.0, 1.0, 1.0))
    hole = np.flatnonzero(mesh.corners()[:, :, 2].min(axis=1) > 0.9)[0]
    with pytest.raises(NotClosedError):
        run_job(Mesh(mesh.vertices, np.delete(mesh.triangles, hole, axis=0)), Job())
    with pytest.raises(MeshError):
        run_job(Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)), Job())
    with pytest.raises(CutError, match="joint 1") as caught:
        run_job(mesh, Job(), [Plane((0.5, 0, 0), (1, 0, 0)), Plane((0, 0.5, 0), (0, 1, 0), part=(9, 9, 9))])
    assert caught.value.joint == 1
    with pytest.raises(JobError):
        Job.from_toml('[limits]\npiece_mass = "-1 kg"')


def test_an_open_base_is_closed_and_base() -> None:
    mesh = grid_box((4, 4, 4), (1.0, 1.0, 1.0))
    floor = mesh.corners()[:, :, 2].max(axis=1) < 1e-12
    open_mesh = Mesh(mesh.vertices, mesh.triangles[~floor])
    result = run_job(open_mesh, Job.from_toml(""), [Plane((0.5, 0, 0), (1, 0, 0))])
    assert result.carving_volume == pytest.approx(1.0, rel=1e-12)
    gap = result.gap
    assert [p.figures.areas[BASE] for p in result.pieces] == pytest.approx([0.5 - gap / 2.0] * 2, rel=1e-12)
    assert [p.figures.volume for p in result.pieces] == pytest.approx([0.5 - gap / 2.0] * 2, rel=1e-12)
    with pytest.raises(NotClosedError):
        run_job(open_mesh, Job.from_toml('[carving]\nbase = "as-is"'))


def test_joint_lines_do_not_count_along_the_floor() -> None:
    mesh = grid_box((4, 2, 2), (2.0, 1.0, 1.0))
    result = run_job(mesh, Job.from_toml(""), [Plane((1.0, 0, 0), (1, 0, 0))])
    (joint,) = result.joints
    assert joint.visible_length == pytest.approx(3.0, rel=1e-12)
    assert joint.area == pytest.approx(1.0, rel=1e-12)


def test_no_piece_is_left() -> None:
    with pytest.raises(CutError, match=r"no piece is left: 0\.729 l are crumbs, each under 1 l, .* take 0 l"):
        run_job(box((0.09, 0.09, 0.09)), Job())
    wide = Job.from_toml('[foam]\nkerf = "300 mm"')
    with pytest.raises(CutError, match=r"no piece is left: 0 l .* gaps of 300 mm take 8 l"):
        run_job(box((0.2, 0.2, 0.2)), wide, [Plane((0.1, 0, 0), (1, 0, 0))])
    # Crumbs are no way to keep a limit: the carving stays whole, and its mass is the finding.
    result = run_job(box((0.12, 0.12, 0.12)), Job.from_toml('[limits]\npiece_mass = "1 g"'))
    assert [p.status for p in result.pieces] == ["error"]
    assert result.crumbs == ()


def test_a_joint_that_only_shaves_the_carving_is_told() -> None:
    joints = [Plane((0.004, 0, 0), (1, 0, 0)), Plane((0.5, 0, 0), (1, 0, 0)), Plane((0.505, 0, 0), (1, 0, 0))]
    result = run_job(box(), Job(), joints)
    assert result.gap > 0.01
    assert len(result.pieces) == 2
    told = [(f.joint, f.severity) for f in result.findings if f.check == "joint_idle"]
    idle = {j.mark for j in result.joints} - {c.mark for c in result.contacts}
    assert ("A", Severity.NOTE) in told
    assert {mark for mark, _ in told} == idle


def test_a_ring_on_one_limb_and_on_both() -> None:
    ring = torus(40, 20, 1.0, 0.35)
    joints = [
        Plane((0.0, 0.05, 0.0), (0.1, 1.0, 0.2), limb=(1.0, 0.0, 0.0)),
        Profile(
            (0.0, 0.0, 0.0),
            (1.0, 0.0, 0.0),
            (0.0, 1.0, 0.1),
            [(-1.4, 0.05), (-1.0, -0.05), (-0.6, 0.1)],
            limb=(-1.0, 0.0, 0.0),
        ),
    ]
    opened = run_job(ring, Job(), joints[:1])
    assert len(opened.pieces) == 1
    assert [(c.mark, c.piece_a, c.piece_b) for c in opened.contacts] == [("A", "1", "1")]
    told = [f for f in opened.findings if f.check == "joint_opens"]
    assert [(f.joint, f.severity) for f in told] == [("A", Severity.NOTE)]
    assert opened.contacts[0].area == pytest.approx(told[0].measured)
    assert not [f for f in opened.findings if f.check == "joint_idle"]
    # Half of its gap is taken off on either side of the open place, and its joint faces are skinned.
    assert opened.pieces[0].figures.areas[JOINT] == pytest.approx(2.0 * opened.contacts[0].area, rel=0.02)
    assert opened.joints[0].area == opened.contacts[0].area
    assert {m.other for m in opened.site.marks if m.joint == 0} == {0}
    assert len([m for m in opened.site.marks if m.joint == 0]) == 2
    files = pack_files(opened)
    page = files["job-pack.html"].decode()
    assert "plane, one limb only" in page
    assert "opens 1" in page
    assert "nothing: piece 1 opened, in one still" in page
    parted = run_job(ring, Job(), joints)
    assert len(parted.pieces) == 2
    assert [sorted((c.piece_a, c.piece_b)) for c in parted.contacts] == [["1", "2"], ["1", "2"]]
    assert not [f for f in parted.findings if f.check == "joint_opens"]
    assert sorted(parted.site.build_place) == [1, 2]
    # The joints read back from the record cut the same, to the byte.
    text = pack_files(parted)["job.json"].decode()
    again = run_job(ring, Job(), read_joints(text))
    assert [p.mesh.vertices.tobytes() for p in again.pieces] == [p.mesh.vertices.tobytes() for p in parted.pieces]
    with pytest.raises(InputError, match=r"limb is .*; give an array of 3 numbers"):
        read_joints(re.sub(r'"limb": *\[', '"limb": [2.5, ', text, count=1))
