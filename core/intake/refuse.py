# SPDX-License-Identifier: GPL-3.0-or-later
"""The clear no: what keeps a mended mesh from being a solid, where, and what to do about it."""

from __future__ import annotations

import numpy as np

from ..errors import NotClosedError
from ..mesh.mesh import Mesh, bounds
from ..mesh.topology import EdgeReport
from .floor import find_floor
from .guess import likely_up
from .loops import find_holes
from .mend import Recipe
from .table import EdgeTable
from .words import coordinates, count, length, place


def still_open(mesh: Mesh, report: EdgeReport, recipe: Recipe, base_problem: str) -> NotClosedError:
    """The error for a mesh that the recipe did not close.

    Parameters
    ----------
    mesh : after mending; metres, z up.
    report : its edges at fault, at least one.
    recipe : what was tried.
    base_problem : why the base could not be closed, where that was tried; else empty.
    """
    low, high = bounds(mesh.vertices)

    def where(edges: np.ndarray[tuple[int, ...], np.dtype[np.int64]]) -> str:
        middle = mesh.vertices[edges].reshape(-1, 3).mean(axis=0)
        return f"{place(middle, low, high)}, near {coordinates(middle)}"

    parts, remedies = [], []
    table = EdgeTable.of(mesh.triangles)
    if len(report.boundary):
        holes = find_holes(mesh.vertices, table.open_edges())
        up = likely_up(mesh, table)
        if up is not None and up.word != "z":
            remedies.append(f"if it stands on its side towards {_away(up.word)}, set up to match ({up.reason})")
        floor = "floor" not in recipe.steps and find_floor(mesh, table) is not None
        if floor:
            remedies.append('a scrap of floor was scanned along: add "floor" to the steps before "crumbs"')
        wide = [hole for hole in holes if hole.across > recipe.fill]
        largest = holes[0]
        which = "" if len(holes) == 1 else ", the widest"
        are = "is" if len(holes) == 1 else "are"
        parts.append(
            f"{count(len(holes), 'hole')}{which} {length(largest.across)} across, {where(largest.edges)}, {are} no "
            f"open base ({count(len(report.boundary), 'open edge')})"
        )
        if floor:
            pass  # its rim is the widest hole, which nobody wants patched
        elif "fill" not in recipe.steps:
            remedies.append('add "fill" to the steps')
        elif wide and len(wide) == len(holes):
            remedies.append(
                f"raise fill from {length(recipe.fill)} to over {length(largest.across)} to have it patched"
            )
        elif wide:
            remedies.append(f"raise fill from {length(recipe.fill)} to over {length(largest.across)}")
        if len(wide) < len(holes) and not floor:
            remedies.append("some have rims that no patch spans: take the triangles round them away, or remesh")
    if len(report.non_manifold):
        parts.append(
            f"{count(len(report.non_manifold), 'non-manifold edge')} (in more than two triangles), "
            f"{where(report.non_manifold)}"
        )
        remedies.append("part the surfaces there" if "split" in recipe.steps else 'add "split" to the steps')
    if len(report.misoriented):
        parts.append(
            f"{count(len(report.misoriented), 'misoriented edge')} (triangles face against each other), "
            f"{where(report.misoriented)}"
        )
        remedies.append(
            "a one-sided band runs there: cut it open" if "orient" in recipe.steps else 'add "orient" to the steps'
        )
    if base_problem and "cannot be closed" in base_problem:
        parts.append(base_problem.split(". ")[0])
        remedies.append("cut the base off straight")
    remedies.append("or close it in the program that made it")
    return NotClosedError(
        f"the surface is not closed: {'; '.join(parts)}. {_sentence(', '.join(remedies))}.",
        np.concatenate([report.boundary, report.non_manifold, report.misoriented]),
    )


def _away(word: str) -> str:
    return word[1:] if word.startswith("-") else f"-{word}"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
