# SPDX-License-Identifier: GPL-3.0-or-later
"""Plans made with the help of other processes: the same as without, whatever becomes of those."""

from __future__ import annotations

import io
import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from seamwright.core.cutting.joint import Plane, Profile
from seamwright.core.errors import Cancelled, CutError
from seamwright.core.job import Job
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.planning import hands as others
from seamwright.core.planning import search
from seamwright.core.planning.carry_out import _cut, _measured
from seamwright.core.planning.hands import Crew, Hand, Undone, gathered, hands
from seamwright.core.planning.post import Post
from seamwright.core.planning.propose import Proposal, propose
from seamwright.core.planning.trails import Trail
from seamwright.core.planning.wished import Wish
from shapes import rock, torus

JOB = Job.from_toml('[limits]\npiece_mass = "40 kg"\nany_pose = true\n')
ROCK = rock(4, 3, size=(4.0, 2.2, 1.6))


def plan(progress: Any = None) -> Proposal:
    return propose(ROCK, JOB, 0.004, wish=Wish(hidden=0.5, compare=True), progress=progress)


def words(found: Proposal) -> list[str]:
    """Everything about each joint, to the last bit."""
    return [repr({name: np.asarray(value).tolist() for name, value in vars(one).items()}) for one in found.joints]


@pytest.fixture(scope="module")
def alone() -> Proposal:
    assert len(ROCK.triangles) < others._MANY
    return plan()


@pytest.fixture
def helped(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Has other processes help with however little; the steps that they did."""
    monkeypatch.setattr(others, "_MANY", 0)
    monkeypatch.setattr(others.os, "cpu_count", lambda: 3)
    done: list[str] = []
    ask = Hand.ask

    def asked(self: Hand, task: Any, *given: object) -> Any:
        out = ask(self, task, *given)
        done.append(task.__name__)
        return out

    monkeypatch.setattr(Hand, "ask", asked)
    return done


@pytest.fixture
def hand() -> Iterator[Hand]:
    one = Hand()
    begun: list[Hand] = []
    one.begin(begun.append)
    _until(lambda: bool(begun))
    yield one
    one.close()


def _until(done: Any, most: float = 60.0) -> None:
    end = time.monotonic() + most
    while not done():
        assert time.monotonic() < end, "it does not begin"
        time.sleep(0.01)


def test_the_plan_is_the_same_to_the_last_bit(alone: Proposal, helped: list[str]) -> None:
    found = plan()
    assert words(found) == words(alone)
    assert (found.text, found.quality, found.looked) == (alone.text, alone.quality, alone.looked)
    assert {"looked", "parted", "_cut"} <= set(helped), "the other processes were not asked"


@pytest.fixture
def elsewhere(monkeypatch: pytest.MonkeyPatch, helped: list[str]) -> list[str]:
    """Has every step done in another process."""

    def left_to_another(self: Crew, step: Any, *given: object) -> Any:
        if not self._hands:
            return step(self.known, *given)
        _until(lambda: self._hands[0] in self._free)
        return self._hands[0].ask(step, *given)

    monkeypatch.setattr(Crew, "do", left_to_another)
    return helped


def test_every_step_comes_to_the_same_in_another_process(monkeypatch: pytest.MonkeyPatch, elsewhere: list[str]) -> None:
    small = rock(3, 5, size=(2.6, 1.6, 1.2))
    t = np.linspace(0.0, 2.0 * np.pi, 73)
    ring = np.column_stack([0.1 * np.sin(3.0 * t), 0.8 * np.cos(t), 0.6 * np.sin(t)])
    trails = [Trail.along(f"crevice {x}", ring + np.array([x, 0.0, 0.0])) for x in (-0.5, 0.0, 0.5)]

    def found() -> Proposal:
        return propose(small, JOB, 0.004, trails=trails, locked=[Plane((0.0, 0.0, 0.1), (0.0, 0.0, 1.0))])

    there = found()
    assert {*elsewhere} - {"begun"} == {"_measured", "_found", "looked", "parted", "_laid_anew", "_cut"}
    monkeypatch.setattr(others, "_MANY", 10**9)
    here = found()
    assert any(isinstance(joint, Profile) for joint in here.joints)
    assert words(there) == words(here)
    assert (there.text, there.quality, there.looked) == (here.text, here.quality, here.looked)


def test_limbs_are_sought_the_same_in_another_process(monkeypatch: pytest.MonkeyPatch, elsewhere: list[str]) -> None:
    monkeypatch.setattr(search, "_LARGE", 0)
    job = replace(JOB, joints=replace(JOB.joints, kinds=("plane",)))
    ring = torus(64, 16, 1.3, 0.3)
    there = propose(ring, job, 0.004)
    assert {*elsewhere} == {"_measured", "_found", "looked", "limbs_looked", "begun", "parted", "_cut"}
    monkeypatch.setattr(others, "_MANY", 10**9)
    here = propose(ring, job, 0.004)
    assert any(joint.limb is not None for joint in here.joints)
    assert words(there) == words(here)
    # It makes no difference whether a series is split at once or bit by bit.
    monkeypatch.setattr(search, "_LARGE", 10**9)
    assert words(propose(ring, job, 0.004)) == words(here)


def test_a_crew_runs_what_asks_for_nothing_that_is_known(elsewhere: list[str]) -> None:
    with gathered(10**6) as crew:
        assert crew.map([partial(crew.run, np.add, k, 1) for k in range(5)]) == [1, 2, 3, 4, 5]
    assert elsewhere == ["_run"] * 5
    with gathered(0) as crew:
        assert crew.run(np.add, 1, 1) == 2


def test_a_process_that_is_killed_changes_nothing(
    alone: Proposal, helped: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    ask = Hand.ask

    def killed(self: Hand, task: Any, *given: object) -> Any:
        if len(helped) > 3:
            self._process.kill()
        return ask(self, task, *given)

    monkeypatch.setattr(Hand, "ask", killed)
    found = plan()
    assert words(found) == words(alone)
    assert len(helped) > 3


def test_stopping_leaves_the_best_so_far_and_no_process(helped: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    begun: list[Hand] = []
    begin = Hand.begin

    def noted(self: Hand, ready: Any) -> None:
        begun.append(self)
        begin(self, ready)

    monkeypatch.setattr(Hand, "begin", noted)
    steps: list[float] = []

    def heed(share: float, text: str) -> None:
        steps.append(share)
        if len(steps) > 12:
            raise Cancelled

    found = plan(heed)
    assert not found.complete
    assert len(begun) == 2
    assert all(one._process.poll() is not None for one in begun)


def test_none_is_begun_where_there_is_no_python_to_begin(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    with hands(False) as found:
        assert not found
    for name in ("blender", "", str(tmp_path / "python3")):
        monkeypatch.setattr(sys, "executable", name)
        with hands(True) as found:
            assert not found


def test_one_that_never_begins_is_never_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(others.os, "cpu_count", lambda: 2)
    monkeypatch.setattr(others.boot, "__file__", __file__)
    with hands(True) as found, Crew(found) as crew:
        assert len(found) == 1
        assert [crew.do(_given, k) for k in range(5)] == list(range(5))


def test_one_that_never_begins_keeps_nothing_that_was_replaced(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(others.os, "cpu_count", lambda: 2)
    monkeypatch.setattr(others.boot, "__file__", __file__)
    with hands(True) as found, Crew(found) as crew:
        old = Mesh(ROCK.vertices, ROCK.triangles)
        before = sys.getrefcount(old)
        crew.know({"mesh": old, "other": 1})
        assert sys.getrefcount(old) > before
        crew.know({"mesh": ROCK})
        assert sys.getrefcount(old) == before


def _given(known: dict[str, Any], value: Any) -> Any:
    return value


def test_what_a_step_raises_is_raised_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(others.os, "cpu_count", lambda: 2)
    with hands(True) as found, Crew(found) as crew:
        _until(lambda: len(crew._free) == 2)
        # What is done here first leaves the second to the other process.
        crew._free.remove(None)
        with pytest.raises(AttributeError, match="limits"):
            crew.do(_measured, ROCK, None, None)
        assert crew._free == list(found), "it goes on afterwards"
        assert crew.do(_measured, ROCK, JOB, None) == _measured({}, ROCK, JOB, None)


def test_a_process_that_is_gone_is_not_asked_again(hand: Hand) -> None:
    assert hand.ask(_measured, ROCK, JOB, None) == _measured({}, ROCK, JOB, None)
    hand._process.kill()
    for _ in range(2):
        with pytest.raises(Undone):
            hand.ask(_cut, ROCK, [], 0.0, 0.0, False)
        assert hand.lost


def test_one_that_was_ended_is_no_longer_waited_for(hand: Hand) -> None:
    hand.close()
    with pytest.raises(Undone):
        hand.ask(_measured, ROCK, JOB, None)


def test_an_answer_that_was_not_waited_for_is_given_to_no_one(hand: Hand, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted() -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as here:
        here.setattr(hand._post, "receive", interrupted)
        with pytest.raises(KeyboardInterrupt):
            hand.ask(partial(eval, "1"))
    with pytest.raises(Undone):
        hand.ask(_measured, ROCK, JOB, None)


def test_what_is_printed_without_python_knowing_gets_into_no_answer(hand: Hand) -> None:
    # What it is called with first, the dictionary of what is known, is where the words look names up.
    loud = partial(eval, "__import__('os').write(1, b'hello')")
    assert [hand.ask(loud), hand.ask(loud)] == [5, 5]


@pytest.mark.parametrize("task", [partial(eval, "lambda: 0"), lambda known: 0], ids=["answer", "task"])
def test_what_cannot_be_sent_is_done_here(task: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(others.os, "cpu_count", lambda: 2)
    with hands(True) as found, Crew(found) as crew:
        _until(lambda: len(crew._free) == 2)
        crew._free.remove(None)
        crew.do(task)
        assert found[0].lost
        assert not crew._free


def test_one_that_says_something_else_first_is_not_begun(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    errors: list[Any] = []
    monkeypatch.setattr(threading, "excepthook", errors.append)
    odd = tmp_path / "odd.py"
    odd.write_text("print('Welcome! ' * 99, flush=True)\ninput()\n")
    monkeypatch.setattr(others.boot, "__file__", str(odd))
    one = Hand()
    begun: list[Hand] = []
    one.begin(begun.append)
    _until(lambda: one.lost)
    one.close()
    assert not begun
    assert not errors


@pytest.mark.skipif(os.name != "posix", reason="the script is one for a shell")
def test_what_one_leaves_behind_is_not_waited_for(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    script, note, ended = tmp_path / "python3", tmp_path / "left", tmp_path / "ended"
    waits = f"k=0; while [ $k -lt 200 ]; do sleep 0.1; k=$((k + 1)); done; : > '{ended}'"
    script.write_text(f"#!/bin/sh\n({waits}) &\necho $! > '{note}.new'\nmv '{note}.new' '{note}'\nwait\n")
    script.chmod(0o755)
    monkeypatch.setattr(others.os, "cpu_count", lambda: 2)
    monkeypatch.setattr(sys, "executable", str(script))
    with hands(True) as found, Crew(found):
        _until(note.exists)
    assert not ended.exists()
    os.kill(int(note.read_text()), signal.SIGTERM)
    _until(lambda: found[0]._process.stdout.closed)


def test_post_brings_arrays_as_they_were_and_names_for_what_is_known() -> None:
    pipe = io.BytesIO()
    there, here = Post(io.BytesIO(), pipe), Post(pipe, io.BytesIO())
    mesh = Mesh(ROCK.vertices, ROCK.triangles)
    big = np.arange(2_000_000).reshape(1000, 2000)
    messages = [{"a": big, "b": big[::2, ::3], "empty": np.zeros((0, 3))}, mesh, None, CutError("no")]
    for message in messages:
        there.send(message)
    there.know({"mesh": mesh})
    here.know({"mesh": "the mesh"})
    size = pipe.tell()
    there.send((mesh, mesh))
    assert pipe.tell() - size < 200
    there.lend([big])
    here.lend(["lent"])
    there.send([big, mesh])
    # Another takes its number: it is sent whole again.
    there.lend([mesh])
    there.send(big)
    pipe.seek(0)
    first, second, third, fourth = (here.receive() for _ in messages)
    assert all((first[name] == messages[0][name]).all() for name in messages[0])  # type: ignore[index]
    first["a"][0, 0] = 7
    assert (second.vertices == mesh.vertices).all()
    assert third is None
    assert isinstance(fourth, CutError)
    assert str(fourth) == "no"
    assert here.receive() == ("the mesh", "the mesh")
    assert here.receive() == ["lent", "the mesh"]
    assert (here.receive() == big).all()
    with pytest.raises(EOFError):
        here.receive()
