# SPDX-License-Identifier: GPL-3.0-or-later
"""The profile search against trying every path, images against closed forms, parts against the exact cut."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from seamwright.core.cutting.cut import cut
from seamwright.core.job import Job
from seamwright.core.mesh.mass import volume
from seamwright.core.planning.image import COLUMN, RISE, ROW, Image, make_image, whole_slab
from seamwright.core.planning.part import Sheet, shown, split, whole
from seamwright.core.planning.path import _BEND, _STRAY, Band, best_paths, plain
from seamwright.core.planning.samples import Samples, take_samples
from seamwright.core.planning.trails import Trail, painted
from shapes import box, rock

JOB = Job.from_toml('[foam]\nkerf = "0 mm"\n[joints]\nfit = "0 mm"')
X, Y, Z = np.eye(3)


@pytest.fixture(scope="module")
def samples() -> Samples:
    return take_samples(rock(4, 2, size=(2.0, 1.2, 1.0)), JOB, 0.0)


def path_cost(image: Image, rows: np.ndarray, centre: int, band: int, price: float) -> float:
    """What a path costs by the words of `best_paths`, step by step."""
    total = 0.0
    for c in range(len(rows) - 1):
        rise = int(rows[c + 1] - rows[c])
        at = int(rows[c]) + int(rise / 2)
        slope = abs(rise) / RISE
        steep = image.cost[0 if rise < 0 else 2, c, at] if rise else 0.0
        total += image.cost[1, c, at] * (1.0 - slope) + steep * slope
        total += price * COLUMN * np.hypot(1.0, slope) * image.depth[c, at] + _BEND * COLUMN * slope
        total += _STRAY * COLUMN * ((rows[c + 1] - centre) / band) ** 2
    return total


@pytest.mark.parametrize("seed", range(4))
def test_no_path_in_the_band_is_cheaper(seed: int) -> None:
    rng = np.random.default_rng(seed)
    columns, rows, band, centre = 5, 40, 2, 20
    cost = rng.random((3, columns, rows)) * (rng.random((3, columns, rows)) < 0.7)
    image = Image(0, 0, cost, rng.random((columns, rows)))
    (found, path), *_ = best_paths([Band(image, centre), Band(image, centre + 3)], band, 0.3)
    assert path_cost(image, path, centre, band, 0.3) == pytest.approx(found, rel=1e-12)
    assert np.abs(path - centre).max() <= band
    heights = range(centre - band, centre + band + 1)
    best = min(
        path_cost(image, np.array(way), centre, band, 0.3)
        for way in itertools.product(heights, repeat=columns + 1)
        if np.abs(np.diff(way)).max() <= RISE
    )
    assert found == pytest.approx(best, rel=1e-12)


def test_bands_side_by_side_do_not_disturb_each_other() -> None:
    rng = np.random.default_rng(7)
    images = [Image(0, 0, rng.random((3, n, 60)), rng.random((n, 60))) for n in (12, 30, 7)]
    together = best_paths([Band(image, 30) for image in images], 6, 0.1)
    for image, (cost, rows) in zip(images, together, strict=True):
        alone = best_paths([Band(image, 30)], 6, 0.1)[0]
        assert alone[0] == pytest.approx(cost, rel=1e-12)
        assert np.array_equal(alone[1], rows)


def test_an_image_holds_the_length_of_the_line_round_a_box() -> None:
    samples = take_samples(box((2.0, 1.0, 0.8)), JOB, 0.0)
    image = make_image(whole_slab(whole(samples)), Y, X)
    row = int(np.floor(1.0 / ROW)) - image.first_row
    # No seams: a level sheet shows all of its rim; all faces of this box count as carved. Its samples stand in rows of
    # their own, so several rows of the image are taken together.
    assert image.cost[1].sum(axis=0)[20:-40].mean() == pytest.approx(2.0 * (1.0 + 0.8), rel=0.02)
    depth = image.depth[:, row - 10 : row + 10].mean(axis=1)
    assert np.median(depth[depth > 0.4]) == pytest.approx(0.8, rel=0.05)
    assert depth.sum() * COLUMN == pytest.approx(1.0 * 0.8, rel=0.03)


def test_parts_are_those_of_the_exact_cut(samples: Samples) -> None:
    part = whole(samples)
    mesh = rock(4, 2, size=(2.0, 1.2, 1.0))
    for w in (X, Y, Z, (X + Y) / np.sqrt(2.0)):
        low, high = float((mesh.vertices @ w).min()), float((mesh.vertices @ w).max())
        for share in (0.3, 0.5, 0.7):
            at = low + share * (high - low)
            sheet = Sheet(np.cross(w, Z if abs(w[2]) < 0.5 else X), w, np.array([[0.0, at]]), True)
            found = cut(mesh, [sheet.joint(None)])
            below = next(b for b in found.pieces if float((b.mesh.vertices @ w).mean()) < at)
            area = sum(c.area for c in found.contacts)
            line = sum(c.visible_length for c in found.contacts)
            bodies, made = split(part, sheet)
            assert made[:, 3].sum() == pytest.approx(area, rel=0.05)
            assert min(abs(b.foam - below.volume) for b in bodies) < 0.02 * volume(mesh)
            assert shown(part, sheet)[0] == pytest.approx(line, rel=0.04)


def test_the_samples_weigh_what_the_carving_weighs(samples: Samples) -> None:
    part = whole(samples)
    assert part.mass == pytest.approx(samples.whole.finished_mass, rel=1e-9)
    assert part.box == pytest.approx(samples.whole.box, rel=0.015)


def test_trails_are_painted_by_distance_and_by_name() -> None:
    line = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0]])
    trails = [Trail.along("one", line), Trail.along("two", line + np.array([0.0, 0.1, 0.0]))]
    points = np.array([[0.5, 0.02, 0.0], [0.5, 0.03, 0.0], [0.5, 0.08, 0.0], [1.02, 0.0, 0.0], [1.03, 0.0, 0.0]])
    seam, which, way = painted(points, trails, 0.025)
    assert seam.tolist() == [1.0, 0.0, 1.0, 1.0, 0.0]
    assert which.tolist() == [0, -1, 1, 0, -1]
    assert way.tolist() == [[float(k >= 0), 0.0, 0.0] for k in which.tolist()]


def test_plain_lines_keep_their_corners() -> None:
    points = np.array([[0.0, 0.0], [1.0, 0.001], [2.0, 0.0], [3.0, 1.0], [4.0, 2.0]])
    assert plain(points).tolist() == [[0.0, 0.0], [2.0, 0.0], [4.0, 2.0]]
