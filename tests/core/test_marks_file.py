# SPDX-License-Identifier: GPL-3.0-or-later
"""Lines, zones and viewpoints out of a file, for the command line."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from seamwright.core import Job, run_job
from seamwright.core.cutting.joint import Plane
from seamwright.core.errors import InputError
from seamwright.core.mesh.mesh import BACK
from seamwright.core.seams.marks import KEEP_WHOLE, MAY_SHOW, Viewpoint
from seamwright.core.seams.marks_file import read_marks
from shapes import box, icosphere

FULL: dict[str, Any] = {
    "schema_version": 1,
    "lines": [[[0.5, 0.0, 1.0], [0.5, 1.0, 1.0]]],
    "zones": [
        {"zone": "keep whole", "centre": [1.0, 0.5, 0.5], "radius": 0.4},
        {"zone": "back", "low": [-0.1, -0.1, -0.1], "high": [0.01, 1.1, 1.1]},
    ],
    "viewpoints": [{"name": "gate", "eye": [0.5, -4.0, 1.6], "look_at": [0.5, 0.5, 0.5], "angles_deg": [50, 35]}],
}


def text(**changes: Any) -> str:
    return json.dumps({**FULL, **changes})


def test_everything_reaches_the_job() -> None:
    """A unit cube cut at x = .5 under the marked line, and at x = .97 through what is to keep whole."""
    mesh, marks = read_marks(text()).on(box((1.0, 1.0, 1.0)))
    assert marks.zones is not None
    planes = [Plane((0.5, 0.0, 0.0), (1.0, 0.0, 0.0)), Plane((0.97, 0.0, 0.0), (1.0, 0.0, 0.0))]
    job = Job.from_toml('[joints]\nseams = ["marked"]\n')
    result = run_job(mesh, job, planes, user_marks=marks)
    first, second = result.joints
    assert first.seams.judged_share == pytest.approx(1.0 / 3.0, abs=0.04)  # of the visible line: top, front and behind
    assert first.seams.judged > 2.9
    assert {f.check for f in result.findings if f.joint == second.mark} >= {"seams"}
    assert result.seams is not None
    assert [v.name for v in result.seams.viewpoints] == ["gate"]


def test_zones_take_in_the_middles_of_triangles() -> None:
    ball = icosphere(4)
    zones = [
        {"zone": "keep whole", "centre": [0.0, 0.0, 1.0], "radius": 0.5},
        {"zone": "may show", "low": [-2.0, -2.0, 0.99], "high": [2.0, 2.0, 2.0]},
        {"zone": "back", "low": [-2.0, -2.0, -2.0], "high": [2.0, 2.0, -0.8]},
    ]
    mesh, marks = read_marks(text(lines=[], zones=zones)).on(ball)
    middle = ball.vertices[ball.triangles].mean(axis=1)
    assert marks.zones is not None
    top = middle[:, 2] >= 0.99
    near = np.linalg.norm(middle - (0.0, 0.0, 1.0), axis=1) <= 0.5
    assert top.any()
    assert (near & ~top).any()
    assert ((marks.zones == MAY_SHOW) == top).all()
    assert ((marks.zones == KEEP_WHOLE) == (near & ~top)).all()
    assert ((mesh.kind == BACK) == (middle[:, 2] <= -0.8)).all()
    assert (ball.kind != BACK).all()


@pytest.mark.parametrize("target", [(3.0, 1.0, 1.6), (0.0, 0.0, -2.0), (1.0, -2.0, 4.0)])
def test_a_viewpoint_is_the_camera_that_looks_there(target: tuple[float, float, float]) -> None:
    """Held against a camera's matrix: its z points back, its x level."""
    view = {"name": "gate", "eye": [0.0, 0.0, 1.6], "look_at": list(target), "angles_deg": [50, 35]}
    (made,) = read_marks(text(viewpoints=[view])).viewpoints
    back = np.array([0.0, 0.0, 1.6]) - target
    back /= np.linalg.norm(back)
    right = np.cross((0.0, 1.0, 0.0) if abs(back[2]) == 1.0 else (0.0, 0.0, 1.0), back)
    right /= np.linalg.norm(right)
    matrix = np.eye(4)
    matrix[:3, :3] = np.column_stack([right, np.cross(back, right), back])
    matrix[:3, 3] = (0.0, 0.0, 1.6)
    camera = Viewpoint.of_camera("gate", matrix, (np.radians(50.0), np.radians(35.0)))
    for key in ("eye", "ahead", "up", "wide", "high"):
        assert np.allclose(getattr(made, key), getattr(camera, key), atol=1e-12), key


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ("{", "marks.json: is not JSON"),
        ("[]", "give {schema_version"),
        ("{}", "schema_version missing|schema_version is null"),
        (text(schema_version=True), "this version reads 1"),
        (text(schema_version=2), "this version reads 1"),
        (text(line=[]), "unknown key 'line'"),
        (text(lines={}), "lines is {}; give an array"),
        (text(lines=[[[0, 0, 0]]]), "line 1 has 1 points"),
        (text(lines=[[[0, 0, 0], [1, 2]]]), r"line 1: point 2 is \[1, 2\]"),
        (text(lines=[[[0, 0, 0], [1, 2, "3 m"]]]), 'point 2 holds "3 m"; give numbers'),
        ('{"schema_version": 1, "lines": [[[0, 0, NaN], [1, 1, 1]]]}', "holds NaN"),
        (text(lines=[[[0, 0, 0], [1, 2, 10**400]]]), "too large"),
        (text(zones=[7]), "zone 1 is 7"),
        (text(zones=[{"zone": "keep", "centre": [0, 0, 0], "radius": 1}]), 'zone is "keep"; give keep whole, may show'),
        (text(zones=[{"zone": ["back"], "centre": [0, 0, 0], "radius": 1}]), "zone 1: zone is"),
        (text(zones=[{"zone": "back", "centre": [0, 0, 0]}]), "zone 1: radius missing"),
        (text(zones=[{"zone": "back", "centre": [0, 0, 0], "radius": 0}]), "radius is 0"),
        (text(zones=[{"zone": "back", "low": [0, 2, 0], "high": [1, 1, 1]}]), "change them over"),
        (text(viewpoints=[{"name": "", "eye": [0, 0, 1], "look_at": [1, 0, 1]}]), "viewpoint 1: name"),
        (text(viewpoints=[{"name": "a", "eye": [0, 0, 1], "look_at": [0, 0, 1]}]), "are one point"),
        (text(viewpoints=[{"name": "a", "eye": [0, 0, 1], "look_at": [1, 0, 1], "angles_deg": [0, 9]}]), "0 degrees"),
        (text(viewpoints=[{"name": "a", "eye": [0, 0, 1], "look_at": [1, 0, 1], "angles_deg": [9]}]), "give two"),
    ],
)
def test_what_is_wrong_is_named(wrong: str, said: str) -> None:
    with pytest.raises(InputError, match=said) as caught:
        read_marks(wrong, "marks.json")
    assert str(caught.value).startswith("marks.json: ")
    assert "\n" not in str(caught.value)


def test_marks_off_the_carving_are_named() -> None:
    """As they come when they are in millimetres, or of another carving."""
    cube = box((1.0, 1.0, 1.0))
    with pytest.raises(InputError, match=r"line 1: its point 2, \(500.00, .* lies off the carving, which reaches from"):
        read_marks(text(lines=[[[0.5, 0.0, 1.0], [500.0, 1000.0, 1000.0]]])).on(cube)
    with pytest.raises(InputError, match=r"zone 1 \(back\) takes in no triangle"):
        read_marks(text(zones=[{"zone": "back", "centre": [9, 9, 9], "radius": 1}])).on(cube)
