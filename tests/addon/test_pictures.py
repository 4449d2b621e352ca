# SPDX-License-Identifier: GPL-3.0-or-later
import struct
import zlib
from dataclasses import replace

import bpy
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from pack_sample import png, sample_result
from seamwright import picture_scene, pictures
from seamwright.core.jobpack.label_places import label_places, room
from seamwright.core.jobpack.page_parts import picture
from seamwright.core.jobpack.page_site import sign_off_section
from seamwright.core.jobpack.piece_tones import piece_tones, touching_tones
from seamwright.core.jobpack.record import JobResult
from seamwright.core.jobpack.shots import BARE, MOST_VIEWPOINTS, SIGN_OFF, Shot, camera, shots
from seamwright.core.jobpack.view_fit import fit, look
from seamwright.core.seams.marks import Viewpoint
from seamwright.core.seams.seams import find_seams

coordinate = st.floats(-50.0, 50.0)
points = st.lists(st.tuples(coordinate, coordinate, coordinate), min_size=1, max_size=30).map(np.array)
directions = st.tuples(coordinate, coordinate, coordinate).filter(lambda d: np.linalg.norm(d) > 1e-3)


@given(points, directions, st.sampled_from([0.5, 0.625, 1.6]), st.booleans())
def test_everything_is_in_the_picture_and_something_touches_its_margin(
    cloud: NDArray[np.float64], direction: tuple[float, float, float], aspect: float, parallel: bool
) -> None:
    view = fit(cloud, direction, aspect, margin=0.1, parallel=parallel)
    seen = view.project(cloud)
    assert (seen[:, 2] > 0.0).all()
    edge = np.abs(seen[:, :2]).max()
    assert edge <= 0.9 + 1e-6
    flat = (cloud @ view.axes)[:, :2]
    if np.ptp(flat, axis=0).max() > 1e-2 and seen[:, 2].min() > 2e-3:
        assert edge == pytest.approx(0.9, abs=1e-6)


@given(points, directions, st.booleans())
def test_a_place_in_the_picture_and_back(
    cloud: NDArray[np.float64], direction: tuple[float, float, float], parallel: bool
) -> None:
    view = fit(np.vstack([cloud, [[60, 60, 60], [-60, -60, -60]]]), direction, 0.625, parallel=parallel)
    for point, (x, y, depth) in zip(cloud, view.project(cloud), strict=True):
        assert view.point(x, y, depth) == pytest.approx(point, abs=1e-9)


@given(directions)
def test_camera_axes_are_square_right_handed_and_level(direction: tuple[float, float, float]) -> None:
    axes = look(direction)
    assert axes.T @ axes == pytest.approx(np.eye(3), abs=1e-9)
    assert np.linalg.det(axes) == pytest.approx(1.0)
    assert axes[:, 2] @ direction == pytest.approx(-np.linalg.norm(direction))
    if abs(axes[2, 2]) < 0.99:
        assert axes[2, 0] == pytest.approx(0.0, abs=1e-12)
        assert axes[2, 1] > 0.0


def picture_of(result: JobResult) -> picture_scene.PictureScene:
    """A scene with all pieces, in an empty file."""
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    scene = picture_scene.PictureScene(result)
    shares = list(scene.add_pieces(result))
    assert shares == sorted(shares)
    assert shares[0] == 0.0
    assert shares[-1] < 1.0
    return scene


def test_blender_projects_as_we_do() -> None:
    """Blender's own projection of world points to the picture is the reference."""
    from bpy_extras.object_utils import world_to_camera_view
    from mathutils import Vector

    scene = picture_of(sample_result())
    cloud = np.array([[0, 0, 0], [4.2, 1, 1], [1, 0.5, 2], [3, 0, 0.1]])
    eye = Viewpoint.of_camera("eye", [[0, 0, 1, 9.0], [1, 0, 0, 0.4], [0, 1, 0, 1.2], [0, 0, 0, 1]], (0.5, 0.9))
    for shot in (
        Shot("front", ""),
        Shot("above", "", (0.0, 0.0, -1.0), parallel=True),
        Shot("eye", "", dress=BARE, view=camera(eye, 0.625)),
    ):
        view = scene.show(shot)
        bpy.context.view_layer.update()
        for point, ours in zip(cloud, view.project(cloud), strict=True):
            theirs = world_to_camera_view(bpy.context.scene, bpy.context.scene.camera, Vector(point.tolist()))
            assert ours[:2] == pytest.approx(np.array(theirs[:2]) * 2.0 - 1.0, abs=1e-4)
            assert ours[2] == pytest.approx(theirs[2], rel=1e-4)


def test_room_is_the_distance_to_the_rim_in_steps_of_a_king() -> None:
    mask = np.zeros((9, 12), dtype=bool)
    mask[1:8, 2:11] = True
    mask[4, 6] = False
    outside = np.argwhere(~np.pad(mask, 1)) - 1
    expected = [
        [int(np.abs(outside - (i, j)).max(axis=1).min()) if mask[i, j] else 0 for j in range(12)] for i in range(9)
    ]
    assert room(mask).tolist() == expected


def test_a_label_goes_to_the_roomiest_place_of_its_own_piece_or_nowhere() -> None:
    seen = np.full((20, 40), -1)
    seen[2:18, 2:10] = 0
    seen[5:12, 8:30] = 1
    seen[0:2, 30:40] = 2
    places = label_places(seen, 4, needed=3)
    assert places[2] is None  # too thin
    assert places[3] is None  # hidden
    for piece in (0, 1):
        place = places[piece]
        assert place is not None
        row, column = int((1.0 - place[1]) / 2.0 * 20), int((place[0] + 1.0) / 2.0 * 40)
        steps = room(seen == piece)
        assert steps[row, column] == steps.max()


@given(st.integers(1, 12), st.data())
def test_neighbours_differ_where_each_has_few_and_chains_take_two_hues(pieces: int, data: st.DataObject) -> None:
    pairs = data.draw(st.lists(st.tuples(st.integers(0, pieces - 1), st.integers(0, pieces - 1)), max_size=30))
    tones = piece_tones(pieces, pairs)
    assert set(tones) <= {0, 1, 2, 3}
    earlier = [{a for a, b in [*pairs, *[(b, a) for a, b in pairs]] if b == k and a < k} for k in range(pieces)]
    for a, b in pairs:
        if a != b and len(earlier[max(a, b)]) < 4:
            assert tones[a] != tones[b]
    assert piece_tones(pieces, [(k, k + 1) for k in range(pieces - 1)]) == [k % 2 for k in range(pieces)]


def test_tones_of_a_job() -> None:
    assert touching_tones(sample_result()) == [0, 1, 0]


def test_a_bare_png_keeps_its_pixels_and_loses_its_words() -> None:
    plain = png(5, 4)

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = 8 + 12 + 13
    wordy = plain[:head] + chunk(b"tEXt", b"Date\0today") + chunk(b"tIME", b"1234567") + plain[head:]
    assert pictures.bare_png(wordy) == plain
    assert pictures.bare_png(plain) == plain


def pixels(data: bytes, folder: str) -> NDArray[np.float32]:
    """Linear colours of a PNG as Blender reads them, (rows, columns, 4), bottom row first."""
    path = f"{folder}/picture.png"
    with open(path, "wb") as file:
        file.write(data)
    image = bpy.data.images.load(path)
    values = np.empty(len(image.pixels), dtype=np.float32)
    image.pixels.foreach_get(values)
    return values.reshape(image.size[1], image.size[0], 4)


def test_pictures_show_both_hues_and_nothing_of_the_machine(
    monkeypatch: pytest.MonkeyPatch, tmp_path: object, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(picture_scene, "WIDTH", 240)
    monkeypatch.setattr(picture_scene, "HEIGHT", 150)
    monkeypatch.setattr(picture_scene, "SAMPLES", 2)
    told: list[tuple[float, str]] = []
    made = pictures.render_pictures(sample_result(), lambda share, text: told.append((share, text)))
    assert capfd.readouterr().out == ""
    assert list(made) == sorted(made)
    assert [share for share, _ in told] == [k / 7 for k in range(7)]
    for name, data in made.items():
        assert b"tEXt" not in data
        assert b"/" + str(tmp_path).strip("/").split("/")[0].encode() + b"/" not in data
        image = pixels(data, str(tmp_path))
        assert image.shape[:2] == (150, 240)
        blue = (image[:, :, 2] > image[:, :, 0] * 1.2).mean()
        sand = (image[:, :, 0] > image[:, :, 2] * 1.2).mean()
        # What the client signs shows the rock in one colour.
        assert (blue > 0.02) == (not name.startswith(SIGN_OFF))
        assert sand > 0.02 or name.startswith(SIGN_OFF)
        # The rim of the picture is free: pale floor on all sides.
        rim = np.concatenate([image[0, :, :3], image[-1, :, :3], image[:, 0, :3], image[:, -1, :3]])
        assert rim.min() > 0.35


def test_every_piece_of_the_bar_is_numbered() -> None:
    scene = picture_of(sample_result())
    for shot in (Shot("front", ""), Shot("above", "", (0.0, 0.0, -1.0), parallel=True)):
        scene.show(shot)
        words = [obj.data.body for obj in bpy.context.scene.objects if obj.type == "FONT"]
        assert sorted(words) == ["1", "1 m", "2", "3"]


def seen_from(result: JobResult, *eyes: Viewpoint) -> JobResult:
    """The job with these viewpoints."""
    return replace(result, seams=replace(find_seams(result.carving, result.job), viewpoints=eyes))


def test_the_client_sees_the_viewpoints_of_the_job(monkeypatch: pytest.MonkeyPatch, tmp_path: object) -> None:
    monkeypatch.setattr(picture_scene, "WIDTH", 240)
    monkeypatch.setattr(picture_scene, "HEIGHT", 150)
    monkeypatch.setattr(picture_scene, "SAMPLES", 2)
    # From the +x end, along the bar: only that end shows, and no joint. From the side both joints show.
    end = Viewpoint.of_camera("the end", [[0, 0, 1, 12.0], [1, 0, 0, 0.5], [0, 1, 0, 0.5], [0, 0, 0, 1]], (0.3, 0.2))
    side = Viewpoint.of_camera(
        "<b>the side", [[1, 0, 0, 2.1], [0, 0, -1, -9], [0, 1, 0, 0.5], [0, 0, 0, 1]], (0.6, 0.4)
    )
    result = seen_from(sample_result(), end, side)
    made = pictures.render_pictures(result)
    signed = [name for name in made if name.startswith(SIGN_OFF)]
    assert [name[len(SIGN_OFF) + 1 :] for name in signed] == [
        "1-from the end with joints",
        "2-from the end without joints",
        "3-from <b>the side with joints",
        "4-from <b>the side without joints",
    ]
    with_end, end_bare, with_side, side_bare = (pixels(made[name], str(tmp_path))[..., :3] for name in signed)
    differs = [(np.abs(a - b).max(axis=2) > 0.3).sum() for a, b in ((with_end, end_bare), (with_side, side_bare))]
    assert differs[0] == 0
    assert differs[1] > 60
    # The joints at 1.0 and 3.4 m stand where the viewpoint's own camera has them.
    columns = np.flatnonzero((np.abs(with_side - side_bare).max(axis=2) > 0.3).sum(axis=0) > 10)
    for x in (1.0, 3.4):
        at = camera(side, 0.625).project([(x, 0.0, 0.5)])[0, 0]
        assert np.abs(columns - (at + 1.0) / 2.0 * 240).min() < 2.5
    page = sign_off_section(result, {name: picture(name, made[name]) for name in signed})
    assert "From the end with joints" in page
    assert "From &lt;b&gt;the side without joints" in page
    assert "from the viewpoints of the job" in page


def test_many_viewpoints_are_named_though_not_all_are_shown() -> None:
    eyes = [Viewpoint.of_camera(f"eye {k}", np.eye(4), (0.5, 0.4)) for k in range(MOST_VIEWPOINTS + 2)]
    result = seen_from(sample_result(), *eyes)
    assert len(shots(result, 0.625)) == 3 + 2 * MOST_VIEWPOINTS
    page = sign_off_section(result, {})
    assert f"Without a picture here: eye {MOST_VIEWPOINTS}, eye {MOST_VIEWPOINTS + 1}." in page
    assert "as no viewpoint is set" in sign_off_section(sample_result(), {})
    assert [shot.dress for shot in shots(sample_result(), 0.625)][3:] == ["joints", "bare"] * 2
