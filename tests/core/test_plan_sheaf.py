# SPDX-License-Identifier: GPL-3.0-or-later
"""Sheets found once for a body: what they come to on its parts is what splitting the parts by them gives."""

from __future__ import annotations

import numpy as np
import pytest
from bare_skin import BARE_SKIN
from seamwright.core.cutting.cut import cut
from seamwright.core.planning.entries import STRETCH
from seamwright.core.planning.ground import Ground
from seamwright.core.planning.need import Need
from seamwright.core.planning.offers import Offers
from seamwright.core.planning.part import Part, Sheet, shown, split, whole
from seamwright.core.planning.samples import take_samples
from seamwright.core.planning.sheaf import Sheaf
from seamwright.core.planning.trails import Trail
from seamwright.core.planning.worth import Worth
from shapes import rock

JOB = BARE_SKIN
MESH = rock(4, 2, size=(2.6, 1.2, 1.0))
TRAILS = [
    Trail.along(f"groove {k}", MESH.vertices[np.abs(MESH.vertices[:, 0] - x) < 0.02]) for k, x in enumerate((-0.5, 0.6))
]
WORTH = Worth.of(0.5)


@pytest.fixture(scope="module")
def sheaf() -> Sheaf:
    return Sheaf.of_body(take_samples(MESH, JOB, 0.0, TRAILS), WORTH, True, True)


@pytest.fixture(scope="module", params=["whole", "part", "corner"])
def part(request: pytest.FixtureRequest, sheaf: Sheaf) -> Part:
    """All of the body, a part with joint faces, and a small one with two."""
    out = whole(sheaf.part.of)
    x, y = np.array([0.9, 0.3, 0.3]), np.array([-0.1, 0.9, 0.2])
    for w, at in {"whole": [], "part": [(x, 0.25)], "corner": [(x, 0.25), (y, 0.1)]}[request.param]:
        w = w / np.linalg.norm(w)
        u = np.cross(w, (0.0, 0.0, 1.0))
        sheet = Sheet(u / np.linalg.norm(u), w, np.array([[0.0, at]]), True)
        out = max(split(out, sheet)[0], key=lambda body: float(body.middle @ w))
    return out


@pytest.fixture(scope="module")
def found(part: Part, sheaf: Sheaf) -> Offers:
    ground = Ground.of(part, sheaf)
    return ground.offers(*ground.near(Need.of(JOB, 8.3, 1.0), WORTH), WORTH, 2.0)


def wire(sheet: Sheet, made: np.ndarray) -> float:
    """Longest wire in foam: area over a stretch of u by its length; a plane may be cut the short way."""
    column = np.floor(made[:, :3] @ sheet.u / STRETCH).astype(int)
    return 0.0 if sheet.flat else float(np.bincount(column - column.min(), made[:, 3]).max()) / STRETCH


def some(found: Offers) -> list[int]:
    """Planes and profiles of all directions, some of each."""
    return list(range(0, len(found), max(1, len(found) // 40)))


def test_sums_over_entries_are_those_of_a_split(part: Part, sheaf: Sheaf, found: Offers) -> None:
    assert 0.2 < float(found.serial.mean()) <= 1.0
    apart = []
    for k in some(found):
        sheet = sheaf.sheet(int(found.sheets[k]))
        bodies, made = split(part, sheet)
        line, missed, off = shown(part, sheet)
        area = float(made[:, 3].sum())
        assert found.area[k] == pytest.approx(area, rel=1e-4, abs=1e-6)
        fee = WORTH.line * (off - WORTH.follow * (line - missed)) + WORTH.area * area
        assert found.fee[k] == pytest.approx(
            fee + WORTH.wire * max(wire(sheet, made) / 2.0 - 1.0, 0.0), rel=1e-4, abs=1e-5
        )
        # Mass goes by bricks: a facet that lies in a plane is on one side of it or on the other.
        under = float(found.part.of.density * found.below[k + 1, 0] + found.below[k + 1, 1])
        true = sum(
            body.mass - part.of.face_mass * area
            for body in bodies
            if float(sheet.above(body.of.cells.middles[body.cells]).mean()) < 0.0
        )
        if len(bodies) == 2:
            assert under == pytest.approx(true, abs=0.03 * part.mass)
            apart.append(abs(under - true) / part.mass)
    assert float(np.mean(apart)) < 0.006


def test_entries_of_a_sheet_add_up_to_its_sums(part: Part, sheaf: Sheaf, found: Offers) -> None:
    ground = Ground.of(part, sheaf)
    mine = sheaf.on(part)
    for k, area in zip(found.sheets.tolist(), found.area.tolist(), strict=True):
        rows, off, on_seam = mine.near(k)
        assert np.isin(rows, part.skin).all()
        assert float(off.sum()) == pytest.approx(ground.off[k], rel=1e-5, abs=1e-6)
        assert float(on_seam.sum()) == pytest.approx(ground.on_seam[k], rel=1e-5, abs=1e-6)
        cells, share, _ = mine.met(k)
        assert np.isin(cells, part.cells).all()
        assert float(share.sum()) == pytest.approx(area, rel=1e-5, abs=1e-7)


def test_boxes_of_what_lies_below_and_above(part: Part, sheaf: Sheaf, found: Offers) -> None:
    lack = []
    along = part.places @ sheaf.axes.T
    for k in some(found):
        over = sheaf.sheet(int(found.sheets[k])).above(part.places) >= 0.0
        for rows, low, high in ((over, found.low_above, found.high_above), (~over, found.low, found.high)):
            lack += [*(low[k + 1] - along[rows].min(axis=0)), *(along[rows].max(axis=0) - high[k + 1])]
    # Places drawn together lie a little inside; a wedge that runs out thin may have few of them.
    assert min(lack) > -0.035
    assert float(np.mean(lack)) < 0.025
    assert max(lack) < 0.18


def test_ends_are_nothing_and_all(part: Part, found: Offers) -> None:
    need = Need.of(JOB, part.of.face_mass, 1.0, part.of.grow)
    n = len(found)
    assert (found.below[0] == 0.0).all()
    assert found.below[-1, 0] == pytest.approx(part.foam)
    assert found.below[-1, 1] == pytest.approx(part.laid)
    assert (np.diff(found.below[:, 0]) >= -1e-3).all()
    # All of the part comes to about what it is thought to come to by its own box and lines.
    all_of_it = float(found.between(np.array([0]), np.array([n + 1]), need, WORTH)[0])
    own = float(
        need.cost(np.array([part.box]), np.array([part.volume]), np.array([part.mass]), part.lines[None], WORTH)[0]
    )
    assert all_of_it == pytest.approx(own, rel=0.2)


def test_a_part_from_the_inside_has_no_skin_and_is_weighed_all_the_same(sheaf: Sheaf) -> None:
    inner = whole(sheaf.part.of)
    for axis, middle in enumerate(inner.middle):
        w, u = np.eye(3)[axis], np.eye(3)[axis - 1]
        for side in (-1.0, 1.0):
            sheet = Sheet(u, w, np.array([[0.0, middle + 0.2 * side]]), True)
            inner = min(split(inner, sheet)[0], key=lambda body: side * float(body.middle @ w))
    assert len(inner.skin) == 0
    ground = Ground.of(inner, sheaf)
    found = ground.offers(*ground.near(Need.of(JOB, 8.3, 1.0), WORTH), WORTH, 2.0)
    assert len(found) > 50
    # It shows no line: a joint costs its area.
    assert found.fee == pytest.approx(WORTH.area * found.area, abs=1e-9)


def test_profiles_follow_what_planes_only_cross(sheaf: Sheaf) -> None:
    body = whole(sheaf.part.of)
    ground = Ground.of(body, sheaf)
    found = ground.offers(*ground.near(Need.of(JOB, 8.3, 1.0), WORTH), WORTH, 2.0)
    flat = sheaf.flat[found.sheets]
    assert found.fee[~flat].min() < found.fee[flat].min()
    # The best profile on the mesh itself: its line is about as long as the samples say.
    k = int(np.argmin(np.where(flat, np.inf, found.fee)))
    sheet = sheaf.sheet(int(found.sheets[k]))
    exact = cut(MESH, [sheet.joint(None)])
    assert sum(c.area for c in exact.contacts) == pytest.approx(found.area[k], rel=0.05)
    assert sum(c.visible_length for c in exact.contacts) == pytest.approx(shown(body, sheet)[0], rel=0.07)


def test_kinds_that_are_not_wanted_are_not_made(sheaf: Sheaf) -> None:
    planes = Sheaf.of_body(sheaf.part.of, WORTH, True, False)
    bent = Sheaf.of_body(sheaf.part.of, WORTH, False, True)
    assert planes.flat.all()
    assert not bent.flat.any()
    assert len(planes.fan) + len(bent.fan) == len(sheaf.fan)
