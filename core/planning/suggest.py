# SPDX-License-Identifier: GPL-3.0-or-later
"""Suggest how a plan made by hand hides better: joints moved a little, square to themselves."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..cutting.joint import Joint, Plane
from ..intake.words import side
from ..job import Job
from .limb_split import Limb, split_limbs
from .need import Need
from .part import Part, Sheet, shown, split, whole
from .samples import Samples

_STEP: Final = 0.01
"""Metres between the places that are tried: less than half a seam's tolerance."""

_REACH: Final = 0.1
"""Metres that a joint may be moved: further is another joint."""

_WORTH: Final = 0.1
"""Share of its line that must come to lie on seams by it."""

_TRIES: Final = 3
"""Shifts of a joint that are tried on all joints after it."""

_SLACK: Final = 0.01
"""Share of a limit: samples weigh to about so much, so that a piece just under it may come out over."""


_UPRIGHT: Final = 0.7
"""Sine of its rise from which a shift leads up or down rather than to a side."""

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Suggestion:
    """A joint that hides better a little way off.

    Attributes
    ----------
    joint : its place in the order of cuts.
    shift : metres along its normal (a profile's w).
    before, after : share of its visible line on seams, by the samples.
    towards : the side that it is shifted to, in words.
    """

    joint: int
    shift: float
    before: float
    after: float
    towards: str

    def text(self, mark: str) -> str:
        """Such as ``Shift joint C by 40 mm towards +x: about 74% of its line then runs along seams, now 31%``."""
        return (
            f"Shift joint {mark} by {abs(self.shift) * 1000.0:.0f} mm {self.towards}: about {self.after:.0%} of its "
            f"line then runs along seams, now {self.before:.0%}"
        )


def sheet_of(joint: Joint) -> Sheet:
    """A joint as the planner has it."""
    if isinstance(joint, Plane):
        other = np.eye(3)[int(np.argmin(np.abs(joint.normal)))]
        u = np.cross(joint.normal, other)
        u /= np.linalg.norm(u)
        return Sheet(u, joint.normal, np.array([[float(joint.point @ u), float(joint.point @ joint.normal)]]), True)
    shift = np.array([float(joint.origin @ joint.u), float(joint.origin @ joint.w)])
    return Sheet(joint.u, joint.w, joint.points + shift, False)


def suggest(
    samples: Samples, joints: Sequence[Joint], job: Job, which: Collection[int] | None = None
) -> tuple[Suggestion, ...]:
    """Shifts of single joints that bring more of their lines on to seams and put no further piece over a limit.

    Parameters
    ----------
    samples : of the carving, with its seams; see `take_samples`.
    joints : in the order of cuts. job : its limits are read. which : the joints that are looked at; None: all.

    Returns
    -------
    tuple of Suggestion
        The best shift of each joint that is worth it, all others staying; in the order of joints.
    """
    need = Need.of(job, samples.face_mass, 1.0 - _SLACK, samples.grow)
    # stages[j]: the parts that joint j meets among those that joints before it have made.
    stages = [[whole(samples)]]
    for joint in joints:
        stages.append(_cut(stages[-1], joint))
    now = _over(stages[-1], need)
    out = []
    for j, joint in enumerate(joints):
        if (which is not None and j not in which) or joint.limb is not None:
            # A joint through one limb stays: its point says which limb, and not how far along.
            continue
        there = _met(stages[j], joint)
        sheet = sheet_of(joint)
        before = _share(there, sheet)
        shifts = np.arange(1, round(_REACH / _STEP) + 1) * _STEP
        ways = [(_share(there, sheet.moved(way)), -abs(way), way) for way in (*(-shifts).tolist(), *shifts.tolist())]
        for share, _, way in sorted(ways, reverse=True)[:_TRIES]:
            if share < before + _WORTH:
                break
            parts = _cut(stages[j], sheet.moved(way).joint(joint.part))
            for later in joints[j + 1 :]:
                parts = _cut(parts, later)
            if _over(parts, need) <= now:
                out.append(Suggestion(j, way, before, share, _towards(sheet.w * way)))
                break
    return tuple(out)


def shifted(joint: Joint, by: float) -> Joint:
    """The joint `by` metres further along its normal (a profile's w)."""
    if isinstance(joint, Plane):
        return replace(joint, point=joint.point + by * joint.normal)
    return replace(joint, origin=joint.origin + by * joint.w)


def _towards(way: FloatArray) -> str:
    """Where a shift leads, in words."""
    x, y, z = (way / np.linalg.norm(way)).tolist()
    if abs(z) > _UPRIGHT:
        return "upwards" if z > 0.0 else "downwards"
    return f"towards {side(x, y)}"


def _share(parts: Sequence[Part], sheet: Sheet) -> float:
    """Share of a sheet's visible line that lies on seams, over the parts that it cuts."""
    line = missed = 0.0
    for part in parts:
        one, off, _ = shown(part, sheet)
        line, missed = line + one, missed + off
    return 1.0 - missed / line if line > 0.0 else 1.0


def _met(parts: Sequence[Part], joint: Joint) -> list[Part]:
    """The parts that a joint cuts."""
    point = joint.limb if joint.part is None else joint.part
    if point is None or not parts:
        return list(parts)
    cell = int(parts[0].of.cells.at(point[None, :])[0])
    return [part for part in parts if (part.cells == cell).any()]


def _cut(parts: Sequence[Part], joint: Joint) -> list[Part]:
    """Parts after a joint has cut those that it meets."""
    cut = _met(parts, joint)
    sheet = sheet_of(joint)
    out = [part for part in parts if not any(part is other for other in cut)]
    for part in cut:
        out += split(part, sheet)[0] if joint.limb is None else split_limbs(part, [Limb(sheet, joint.limb)]).parts
    return out


def _over(parts: Sequence[Part], need: Need) -> int:
    return sum(not part.is_piece(need) for part in parts)
