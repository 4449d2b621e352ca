# SPDX-License-Identifier: GPL-3.0-or-later
"""The recipe: named steps that mend a scan, each of which says what it changed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ..errors import JobError, MeshError, Progress
from ..job import MEND_STEPS, SMALL_STEPS, Carving
from .cracks import weld_open
from .crumbs import drop_crumbs
from .doubles import drop_doubles
from .draft import Change, Draft
from .fill import fill_holes
from .floor import cut_floor, find_floor
from .orient import turn_outwards
from .remesh import Remeshed, Remesher, remesh
from .split import split_edges
from .table import EdgeTable
from .words import length

_ALL_HOLES: Final = 1e6


_CARVING: Final = Carving()


@dataclass(frozen=True)
class Recipe:
    """What to mend, and how far.

    Attributes
    ----------
    steps : names out of `MEND_STEPS`, done in this order.
    crumb : cubic metres; a smaller loose body is a crumb.
    fill : metres; wider holes are not filled.
    deviation : metres that a new skin may lie from the scan, for the step ``remesh``.
    base : whether an open base is closed afterwards; then its level rim is no hole.
    """

    steps: tuple[str, ...] = SMALL_STEPS
    crumb: float = _CARVING.crumb
    fill: float = _CARVING.fill
    deviation: float = _CARVING.deviation
    base: bool = True

    @classmethod
    def of(cls, carving: Carving) -> Recipe | None:
        """The recipe of a job; None where it mends nothing."""
        if carving.mend == "none":
            return None
        steps = carving.steps if carving.mend == "steps" else SMALL_STEPS
        return cls(steps, carving.crumb, carving.fill, carving.deviation, carving.base == "close")


@dataclass(frozen=True, eq=False)
class Mended:
    """A mesh after the recipe.

    Attributes
    ----------
    draft : the mesh and where its triangles come from.
    changes : what was changed, step by step; steps that found nothing to do are left out.
    remeshed : the new skin and its deviation where there was one.
    """

    draft: Draft
    changes: tuple[Change, ...]
    remeshed: Remeshed | None


def mend(draft: Draft, recipe: Recipe, remesher: Remesher | None = None, progress: Progress | None = None) -> Mended:
    """Do the steps of a recipe.

    Parameters
    ----------
    draft : metres, z up.
    recipe : the steps. The same mesh and recipe give the same result.
    remesher : for the step ``remesh``.
    progress : told before each step; may raise `Cancelled`.

    Raises
    ------
    JobError
        A step that is not known.
    MeshError
        The step ``remesh`` without a remesher, or nothing closed came of it; nothing is left of the mesh.
    """
    changes: list[Change] = []
    remeshed: Remeshed | None = None
    for row, step in enumerate(recipe.steps):
        if progress:
            progress(row / len(recipe.steps), f"mending: {step}")
        made: tuple[Change, ...]
        if step == "weld":
            draft, made = weld_open(draft)
        elif step == "doubles":
            draft, made = drop_doubles(draft)
        elif step == "split":
            draft, made = split_edges(draft)
        elif step == "orient":
            draft, made = turn_outwards(draft)
        elif step == "floor":
            draft, made = _floor(draft)
        elif step == "crumbs":
            draft, made = drop_crumbs(draft, recipe.crumb)
        elif step == "fill":
            draft, made = fill_holes(draft, recipe.fill, recipe.base)
        elif step == "remesh":
            draft, made, remeshed = _remesh(draft, recipe, remesher)
        else:
            raise JobError(f'"{step}" is no step of mending; steps are: {", ".join(MEND_STEPS)}', "carving.steps")
        changes += made
        if not len(draft.mesh.triangles):
            raise MeshError(f"nothing of the mesh is left after the step {step}; check its unit and the crumb size")
    return Mended(draft, tuple(changes), remeshed)


def _floor(draft: Draft) -> tuple[Draft, tuple[Change, ...]]:
    floor = find_floor(draft.mesh, EdgeTable.of(draft.mesh.triangles))
    return (draft, ()) if floor is None else cut_floor(draft, floor)


def _remesh(
    draft: Draft, recipe: Recipe, remesher: Remesher | None
) -> tuple[Draft, tuple[Change, ...], Remeshed | None]:
    if remesher is None:
        raise MeshError("the step remesh needs Blender, which makes the new skin; run the job there, or leave it out")
    filled, changes = fill_holes(draft, _ALL_HOLES, False)
    made = remesh(filled.mesh, recipe.deviation, remesher)
    text = f"a new skin was laid over it with voxels of {length(made.voxel)}: {made.deviation.text()}"
    if not made.near_enough:
        text += f"; {length(made.wanted)} was asked for and not reached"
    elif made.deviation.largest_to > made.wanted:
        text += "; what is further lay inside, or is thinner than a voxel"
    change = Change("remesh", text, len(made.mesh.triangles))
    new = Draft.of(made.mesh)
    return Draft(new.mesh, new.source * 0 - 1, new.turned), (*changes, change), made
