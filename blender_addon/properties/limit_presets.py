# SPDX-License-Identifier: GPL-3.0-or-later
"""A few ready sets of limits; sizes are round figures for a start (common practice, no source)."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ..core.handling.crew import team_limit
from ..core.job import Job

LIFT = 25.0
"""What one person lifts alone in the presets, kg."""


@dataclass(frozen=True)
class Preset:
    """A set of limits; None leaves a limit as it is. Lengths in metres, masses in kg."""

    name: str
    tip: str
    crew: int | None = None
    mass: float | None = None
    doorway: tuple[float, float] | None = None
    piece_size: tuple[float, float, float] | None = None
    load_size: tuple[float, float, float] | None = None
    load_door: tuple[float, float] | None = None

    def apply(self, job: Job) -> Job:
        """The job with these limits."""
        limits, space = job.limits, job.load_space
        if self.crew is not None:
            mass = round(team_limit([LIFT] * self.crew), 1) if self.mass is None else self.mass
            limits = replace(limits, crew=self.crew, person_lift=LIFT, piece_mass=mass)
        if self.doorway is not None:
            limits = replace(limits, doorway=self.doorway, piece_size=None)
        if self.piece_size is not None:
            limits = replace(limits, piece_size=self.piece_size)
        if self.load_size is not None and self.load_door is not None:
            space = replace(space, size=self.load_size, door=self.load_door)
            limits = replace(limits, piece_size=None)
        return replace(job, limits=limits, load_space=space)


PRESETS = {
    "two": Preset("Two Carry", "What two people lift together by the published team rule, 25 kg each", crew=2),
    "three": Preset("Three Carry", "What three people lift together by the published team rule, 25 kg each", crew=3),
    "four": Preset(
        "Four Carry",
        "50 kg for four people, common practice, no source: the published team rule stops at three",
        crew=4,
        mass=50.0,
    ),
    "door": Preset("Through a House Door", "A doorway 0.8 m wide and 2.0 m high", doorway=(0.8, 2.0)),
    "gate": Preset("Through a Double Door", "A doorway 1.6 m wide and 2.1 m high", doorway=(1.6, 2.1)),
    "van": Preset(
        "In a Long Van",
        "A load space of 4.0 x 1.7 x 1.8 m with a door of 1.5 x 1.7 m",
        load_size=(4.0, 1.7, 1.8),
        load_door=(1.5, 1.7),
    ),
    "lorry": Preset(
        "In a Box Lorry",
        "A load space of 7.0 x 2.4 x 2.4 m with a door of 2.3 x 2.3 m",
        load_size=(7.0, 2.4, 2.4),
        load_door=(2.3, 2.3),
    ),
}
