# SPDX-License-Identifier: GPL-3.0-or-later
"""Scans as they come in on a bad day: each once ended in a wrong sentence, or not at all."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Plane
from seamwright.core.errors import InputError, MeshError, NotClosedError
from seamwright.core.intake.diagnose import diagnose
from seamwright.core.intake.guess import likely_up
from seamwright.core.intake.mend import Recipe
from seamwright.core.intake.prepare import check_size, prepare, set_upright
from seamwright.core.intake.table import EdgeTable
from seamwright.core.job import MEND_STEPS
from seamwright.core.mesh.mass import volume
from seamwright.core.mesh.mesh import CARVED, Mesh
from shapes import icosphere, joined, moved, rock

FLOOR = -0.3
STEPS = tuple(step for step in MEND_STEPS if step != "remesh")


def bust() -> tuple[Mesh, float]:
    """A rock cut off level and open there, and the volume that it encloses with a flat base."""
    whole = max(cut(rock(4, rough=0.2), [Plane((0.0, 0.0, FLOOR), (0.0, 0.0, 1.0))]).pieces, key=lambda p: p.volume)
    mesh = whole.mesh
    return Mesh(mesh.vertices, mesh.triangles[mesh.kind == CARVED]), volume(mesh)


def scrap(seed: int) -> Mesh:
    """A ring of rough floor round the rock, nowhere joined to it: the scanner did not see under its rim."""
    side = np.linspace(-2.4, 2.4, 97)
    x, y = np.meshgrid(side, side)
    z = FLOOR + np.random.default_rng(seed).normal(0.0, 0.001, x.shape)
    number = np.arange(x.size).reshape(x.shape)
    a, b, c, d = (n.ravel() for n in (number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]))
    vertices = np.column_stack([x.ravel(), y.ravel(), z.ravel()])
    triangles = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    away = np.linalg.norm(vertices[triangles].mean(axis=1)[:, :2], axis=1)
    return set_upright(Mesh(vertices, triangles[away > 1.8]))


@pytest.mark.parametrize("seed", range(4))
def test_a_scrap_of_floor_apart_from_the_carving_is_cut_off(seed: int) -> None:
    """What noise makes of a flat scrap's volume does not turn it over before it is seen as floor."""
    rock_alone, truth = bust()
    intake = prepare(joined(rock_alone, scrap(seed)), recipe=Recipe(STEPS))
    assert any("of floor cut off" in note for note in intake.notes)
    # Cut off some 3 mm over the floor; its foot covers under 4 m2.
    assert truth - 4.0 * 0.004 < intake.volume < truth
    assert intake.base_area > 1.0


def test_refused_with_the_floor_named() -> None:
    """Nobody wants the rim of the scrap patched over."""
    with pytest.raises(NotClosedError, match='scrap of floor was scanned along: add "floor" to the steps') as caught:
        prepare(joined(bust()[0], scrap(0)), recipe=Recipe())
    assert "aise fill" not in str(caught.value)


@pytest.mark.parametrize(("up", "axes", "signs"), [("y", (0, 2, 1), (1, 1, -1)), ("-z", (0, 1, 2), (1, -1, -1))])
def test_up_is_told_by_the_floor(up: str, axes: tuple[int, ...], signs: tuple[int, ...]) -> None:
    scan = joined(bust()[0], scrap(0))
    turned = Mesh(scan.vertices[:, list(axes)] * signs, scan.triangles)
    guess = likely_up(turned, EdgeTable.of(turned.triangles))
    assert guess is not None
    assert guess.word == up
    assert "floor that was scanned along" in guess.reason
    fault = diagnose(turned, overlap=False).of("up")
    assert fault is not None
    # Turned as proposed it can be mended.
    assert prepare(turned, up=up, recipe=Recipe(STEPS)).volume == pytest.approx(bust()[1], rel=0.01)


def test_a_bust_upside_down_is_refused_with_its_foot_named() -> None:
    mesh, truth = bust()
    over = Mesh(mesh.vertices * (1.0, -1.0, -1.0), mesh.triangles)
    with pytest.raises(NotClosedError, match="If it stands on its side towards z, set up to match"):
        prepare(over, recipe=Recipe())
    assert prepare(over, up="-z", recipe=Recipe()).volume == pytest.approx(truth, rel=1e-9)


@pytest.mark.parametrize("recipe", [None, Recipe(), replace(Recipe(), fill=10.0)])
@pytest.mark.parametrize(
    "mesh",
    [
        Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]], [[0, 1, 2], [1, 3, 2]]),
        Mesh([[0, 0, 0], [1, 1, 1], [2, 2, 2]], [[0, 1, 2]]),
        Mesh([[7, 0, 0.1], [7, 1, 0.3], [7.5, 0, 0.6], [8, 0, 1.1]], [[0, 1, 2], [2, 1, 3]]),
        Mesh([[1, 2, 3]], [[0, 0, 0]]),
    ],
    ids=["sheet", "needle", "slanted", "point"],
)
def test_a_flat_mesh_is_called_flat(mesh: Mesh, recipe: Recipe | None) -> None:
    with pytest.raises(MeshError, match="flat: all of it lies in one plane"):
        prepare(mesh, recipe=recipe)


def test_a_scan_in_coordinates_of_a_survey_is_refused() -> None:
    """Blender and its file hold single precision: half a metre there."""
    mesh = rock(3)
    check_size(moved(mesh, shift=(1900.0, 0.0, 0.0)))
    far = moved(mesh, shift=(456_789.0, 5_123_456.0, 120.0))
    with pytest.raises(InputError, match=r"rock.ply: it lies 5,12\d km from the origin .* to 500 mm; move it near"):
        check_size(far, name="rock.ply")


def test_crumbs_that_stay_are_not_said_to_go() -> None:
    """Five equal small bodies: not four crumbs beside a carving, but a wrong unit."""
    ball = icosphere(2)
    five = joined(*(Mesh(ball.vertices * 0.02 + (0.1 * k, 0.0, 0.0), ball.triangles) for k in range(5)))
    fault = diagnose(five, overlap=False).of("crumb")
    assert fault is not None
    assert fault.remedy.startswith("They are too much of the carving to be left out; check its unit")
    assert prepare(five, recipe=Recipe()).notes == ()
    one = joined(rock(3), Mesh(ball.vertices * 0.02 + (3.0, 0.0, 0.0), ball.triangles))
    fault = diagnose(one, overlap=False).of("crumb")
    assert fault is not None
    assert fault.remedy == "The step crumbs leaves them out."
    assert len(prepare(one, recipe=Recipe()).notes) == 1
