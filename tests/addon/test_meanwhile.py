# SPDX-License-Identifier: GPL-3.0-or-later
"""The scene changes while long work goes on; carvings that were deleted; jobs that are linked; letters in the view."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import bpy
import panel_job as pj
import pytest
from seamwright import job_tree, joint_letters
from seamwright.core.planning.equal import equal_stations
from seamwright.long_work import Dropped, sentence
from seamwright.operators import joints as joint_operators
from seamwright.operators import mending as mending_operators
from seamwright.operators.carving import SEAMWRIGHT_OT_carving_check
from seamwright.operators.cut import SEAMWRIGHT_OT_cut
from seamwright.operators.joints import SEAMWRIGHT_OT_joints_equal, SEAMWRIGHT_OT_joints_propose
from seamwright.operators.mending import SEAMWRIGHT_OT_carving_mend
from seamwright.voxel_skin import voxel_skin
from shapes import rock

pytestmark = list(pj.WITH_EXTENSION)


def move_joint() -> None:
    pj.joints()[0].location.x += 0.05


def remove_joint() -> None:
    bpy.data.objects.remove(pj.joints()[0])


def change_limit() -> None:
    pj.job().seamwright.piece_mass = 12.0


def move_vertex() -> None:
    pj.job().seamwright.carving.data.vertices[3].co.z += 0.01


def delete_carving() -> None:
    carving = pj.job().seamwright.carving
    carving.hide_set(False)
    with bpy.context.temp_override(selected_objects=[carving], active_object=carving):
        bpy.ops.object.delete()


def rename_job() -> None:
    pj.job().name = "another"


def remove_job() -> None:
    bpy.data.collections.remove(pj.job())


EVERYTHING = [
    (move_joint, "joints changed"),
    (remove_joint, "joints changed"),
    (change_limit, "settings changed"),
    (move_vertex, "carving changed"),
    (delete_carving, "carving was removed"),
    (rename_job, "removed or renamed"),
    (remove_job, "removed or renamed"),
]


def held() -> list[tuple[str, str]]:
    """What the file holds that long work makes."""
    return sorted((obj.name, obj.data.name if obj.data else "") for obj in bpy.data.objects) + sorted(
        (mesh.name, "") for mesh in bpy.data.meshes if mesh.users
    )


class Asked(SimpleNamespace):
    """Stands for an operator, which Blender alone can make; what was not asked is off."""

    def __getattr__(self, name: str) -> bool:
        return False


def go_on(cls: Any, at: int, change: Callable[[], None], **values: Any) -> str:
    """Drive long work as the window does, and change something after so many steps."""
    steps = cls.steps(Asked(**values), bpy.context, False)
    for _ in range(at):
        next(steps)
    change()
    after = held()
    try:
        while True:
            next(steps)
            time.sleep(0.01)  # else the thread beside gets no turn
    except StopIteration as done:
        return str(done.value)
    except Dropped:
        assert held() == after
        assert not [mesh for mesh in bpy.data.meshes if not mesh.users and mesh.name.startswith("piece")]
        raise


EQUAL = {"parts": 4, "square_to": "LONG"}


@pytest.mark.parametrize(
    ("cls", "values", "change", "word"),
    [
        *((SEAMWRIGHT_OT_cut, {}, change, word) for change, word in EVERYTHING),
        (SEAMWRIGHT_OT_joints_propose, {}, *EVERYTHING[0]),
        (SEAMWRIGHT_OT_joints_equal, EQUAL, *EVERYTHING[1]),
    ],
    ids=lambda value: getattr(value, "__name__", ""),
)
def test_a_change_meanwhile_drops_the_result(
    cls: Any, values: dict[str, Any], change: Callable[[], None], word: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def slowly(*given: Any) -> Any:
        time.sleep(0.3)  # stations are found at once: the change must still come before they are there
        return equal_stations(*given)

    monkeypatch.setattr(joint_operators, "equal_stations", slowly)
    pj.start(rock(2))
    with pytest.raises(Dropped, match=word):
        go_on(cls, 3, change, **values)


@pytest.mark.parametrize("at", [1, 2, 4])
def test_a_cut_is_dropped_wherever_the_change_falls(at: int) -> None:
    pj.start(rock(2))
    if at == 1:
        assert "3 pieces" in go_on(SEAMWRIGHT_OT_cut, at, move_joint)
    else:
        with pytest.raises(Dropped):
            go_on(SEAMWRIGHT_OT_cut, at, move_joint)


def test_a_check_does_not_mind_the_joints() -> None:
    pj.start(rock(2))
    assert "solid" in go_on(SEAMWRIGHT_OT_carving_check, 2, move_joint)
    with pytest.raises(Dropped, match="carving changed"):
        go_on(SEAMWRIGHT_OT_carving_check, 2, move_vertex)


@pytest.mark.parametrize(
    ("change", "word", "skin"), [*((*one, False) for one in EVERYTHING[2:]), (move_vertex, "carving changed", True)]
)
def test_a_mended_copy_is_of_the_carving_as_it_is(change: Callable[[], None], word: str, skin: bool) -> None:
    pj.start(rock(2)).seamwright.deviation = 0.1
    with pytest.raises(Dropped, match=word):
        go_on(SEAMWRIGHT_OT_carving_mend, 2, change, skin=skin)


def test_nothing_changed_is_taken() -> None:
    pj.start(rock(2))
    assert "3 pieces" in go_on(SEAMWRIGHT_OT_cut, 3, lambda: None)
    assert len(pj.pieces()) == 3


def test_a_deleted_carving_is_told() -> None:
    pj.start(rock(2))
    delete_carving()
    assert not job_tree.is_held(pj.job(), pj.job().seamwright.carving)
    for call in (pj.ops.cut, pj.ops.carving_check, pj.ops.joints_propose, pj.ops.joint_add):
        with pytest.raises(RuntimeError, match="carving was deleted"):
            call()


def test_a_linked_job_is_looked_at_and_not_changed(tmp_path: Path) -> None:
    job = pj.start(rock(2))
    pj.ops.cut()
    name = job.name
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "job.blend"))
    pj.fresh()
    with bpy.data.libraries.load(str(tmp_path / "job.blend"), link=True) as (_, here):
        here.collections = [name]
    bpy.context.scene.collection.children.link(here.collections[0])
    assert len(pj.pieces()) == 3
    for call in (
        pj.ops.cut, pj.ops.carving_check, pj.ops.joints_propose, pj.ops.joints_equal, pj.ops.joint_add,
        pj.ops.limits_preset, pj.ops.joints_clear, pj.ops.pack_export, pj.ops.settings_read,
    ):  # fmt: skip
        with pytest.raises(RuntimeError, match="linked from another file"):
            call()


def test_letters_are_those_of_the_joints_in_sight() -> None:
    pj.start(rock(2), parts=4)
    assert [(mark, obj.name) for mark, obj in joint_letters.letters(bpy.context)] == [
        (obj["mark"], obj.name) for obj in pj.joints()
    ]
    pj.joints()[1].name = "through the bow"
    pj.joints()[0].hide_set(True)
    assert [mark for mark, _ in joint_letters.letters(bpy.context)] == ["B", "C"]


def test_a_name_at_the_beginning_keeps_its_letters() -> None:
    assert sentence(Dropped("bad.stl: this is\nno STL")) == "bad.stl: this is no STL"
    assert sentence(Dropped("the joints changed")) == "The joints changed"


def test_a_new_skin_is_laid_in_the_windows_own_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    """Blender's modifier may be called there only; the core that asks for it goes on beside."""
    threads = []

    def skin(*words: Any) -> Any:
        threads.append(threading.current_thread())
        return voxel_skin(*words)

    monkeypatch.setattr(mending_operators, "voxel_skin", skin)
    pj.start(rock(3), parts=1)
    pj.job().seamwright.deviation = 0.05
    text = go_on(SEAMWRIGHT_OT_carving_mend, 0, lambda: None, skin=True)
    assert text.startswith("scan mended: ")
    assert set(threads) == {threading.main_thread()}


def test_a_core_that_waits_for_the_window_is_let_go() -> None:
    pj.start(rock(3), parts=1)
    steps = SEAMWRIGHT_OT_carving_mend.steps(Asked(skin=True), bpy.context, False)
    while not (step := next(steps)).idle:
        time.sleep(0.01)
    assert step.locked
    before = held()
    steps.close()
    end = time.monotonic() + 20.0
    while any(thread.name == "seamwright" for thread in threading.enumerate()):
        assert time.monotonic() < end
        time.sleep(0.01)
    assert held() == before
