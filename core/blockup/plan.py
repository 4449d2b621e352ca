# SPDX-License-Identifier: GPL-3.0-or-later
"""The block-up of a job: its billets, glue lines and glue, as planned or as given."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..errors import JobError, Progress
from ..job import BlockUp, Job
from ..mesh.mass import volume
from ..mesh.mesh import Mesh
from .billets import Billet, glue_lines, least_overlap, make_billets, unsupported
from .fit_points import FittedLayout, fit_to_points
from .glue_lines import GlueLines
from .held import Held, held_billets
from .layout import Cell, Layout
from .packing import count_billets, fewest_by_volume, fewest_for
from .search import search_position

NEIGHBOURS = ((0, -1), (0, 1), (1, -1), (1, 1))
"""Axis and way to the level neighbours of a billet."""


@dataclass(frozen=True, eq=False)
class BlockUpPlan:
    """A block-up.

    Attributes
    ----------
    built : ``planned`` or ``as-given``.
    layout : where its billets lie.
    billets : those that hold some carving, course by course.
    glue : where they meet.
    bought : billets bought, part billets and offcuts used again counted.
    fewest_here : a proved lower bound on that at this position.
    fewest : a proved lower bound at any position, by the carving's volume.
    tried : positions searched; 0 where it was given.
    margin : metres of foam wanted outside the carving.
    bare : (place of a billet, metres left) where less than the margin is left between the carving and the outer end of
        a whole row: job coordinates of the middle of that end.
    hanging : billets that stand on no other.
    overlap : least distance between end joints of two courses, metres; infinite where there are none.
    fitted : the layout after each glue line that it was moved onto; empty where none was picked.
    """

    built: str
    layout: Layout
    billets: tuple[Billet, ...]
    glue: GlueLines
    bought: int
    fewest_here: int
    fewest: int
    tried: int
    margin: float
    bare: tuple[tuple[str, float, tuple[float, float, float]], ...]
    hanging: tuple[Billet, ...]
    overlap: float
    fitted: tuple[FittedLayout, ...] = ()

    @property
    def courses(self) -> tuple[int, ...]:
        """Courses with billets, from the lowest."""
        return tuple(sorted({billet.cell[0] for billet in self.billets}))

    @property
    def glue_area(self) -> float:
        """Area of all glue lines, square metres."""
        return math.fsum(self.glue.area.tolist())

    @property
    def names(self) -> dict[Cell, str]:
        """Marks of the billets by their place."""
        return {billet.cell: billet.mark for billet in self.billets}

    def cans(self, covers: float) -> int:
        """Cans of adhesive, each for so many square metres of glue line."""
        return math.ceil(self.glue_area / covers * (1.0 - 1e-12))


def plan_blockup(mesh: Mesh, job: Job, progress: Progress | None = None) -> BlockUpPlan | None:
    """The block-up that a job's settings ask for; None where nothing is known of it.

    Parameters
    ----------
    mesh : the carving, closed; metres, job coordinates.
    job : its foam and blockup are read.
    progress : told the share done; may raise `Cancelled`.

    Raises
    ------
    JobError
        A course higher than a billet, or picked points that make no glue line.
    MeshError
        The carving has no triangles, or takes over a million billets.
    """
    settings = job.blockup
    if settings.built == "unknown":
        return None
    layout, tried = Layout.of_job(job), 0
    if settings.built == "planned" and settings.position == "fewest":
        found = search_position(mesh, layout, settings.margin, job.foam.kerf, progress=progress)
        layout, tried = found.layout, found.tried
    fitted: list[FittedLayout] = []
    if settings.built == "as-given":
        for row, points in enumerate(settings.picked):
            key = f"blockup.picked[{row}]"
            try:
                fitted.append(fit_to_points(layout, points))
            except JobError as error:
                raise JobError(f"{key}: {error}", key) from None
            layout = fitted[-1].layout
    held = held_billets(mesh, layout)
    billets = make_billets(held, layout, settings.margin, job.foam.kerf)
    return BlockUpPlan(
        built=settings.built,
        layout=layout,
        billets=billets,
        glue=glue_lines(billets, layout),
        bought=count_billets([billet.cutting for billet in billets]),
        fewest_here=fewest_for([billet.size for billet in billets], layout.billet),
        fewest=fewest_by_volume(volume(mesh), layout.billet),
        tried=tried,
        margin=settings.margin,
        bare=_bare(held, layout, settings.margin, billets),
        hanging=unsupported(billets, layout),
        overlap=least_overlap(billets, layout),
        fitted=tuple(fitted),
    )


def settings_at(settings: BlockUp, layout: Layout) -> BlockUp:
    """Block-up settings with the position of a layout, taken as given from now on: what was picked is used up."""
    return replace(settings, origin=layout.origin, rotation=layout.rotation, position="given", picked=())


def _bare(
    held: Held, layout: Layout, margin: float, billets: tuple[Billet, ...]
) -> tuple[tuple[str, float, tuple[float, float, float]], ...]:
    """Outer ends of the block-up with less than the margin to carve off."""
    cells = set(held.cells)
    out = []
    for row, (course, i, j) in enumerate(held.cells):
        low = layout.corner((course, i, j))
        high = low + layout.size((course, i, j))
        for axis, way in NEIGHBOURS:
            beside = (course, i + way, j) if axis == 0 else (course, i, j + way)
            left = float(held.low[row, axis] - low[axis] if way < 0 else high[axis] - held.high[row, axis])
            if beside in cells or left >= margin - 1e-9:
                continue
            at = 0.5 * (np.array(held.low[row]) + held.high[row])
            at[axis] = low[axis] if way < 0 else high[axis]
            x, y, z = layout.to_job([at])[0].tolist()
            out.append((billets[row].mark, max(left, 0.0), (x, y, z)))
    return tuple(out)
