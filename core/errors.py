# SPDX-License-Identifier: GPL-3.0-or-later
"""Every error that the core raises on purpose, in one tree.

::

    SeamwrightError            root; catch this at the edge, let anything else show as a bug
    +-- InputError             a file cannot be used: missing, empty, not what its name says
    +-- JobError               a setting cannot be used: unknown key, wrong unit, value out of range
    +-- MeshError              triangles that are not a mesh: wrong shape, index out of range, nan
    |   +-- NotClosedError     the surface is not one closed skin; carries the edges
    +-- CutError               a joint cannot be applied: bad profile, a part point that lies in no body
    +-- Cancelled              the user stopped long work; nothing was changed

Every message says what is wrong, where, and what to do.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Progress = Callable[[float, str], None]
"""``progress(fraction, text)``: fraction 0..1 of the whole work, text for people. It may raise `Cancelled`."""


class SeamwrightError(Exception):
    """Root of all errors that the core raises on purpose."""


class InputError(SeamwrightError):
    """A file cannot be used; the message begins with its name."""


class JobError(SeamwrightError):
    """A job setting cannot be used; `key` is its dotted name, such as ``limits.piece_mass``."""

    def __init__(self, message: str, key: str = "") -> None:
        super().__init__(message)
        self.key = key


class MeshError(SeamwrightError):
    """Arrays that do not make a triangle mesh."""


class NotClosedError(MeshError):
    """The surface is not closed or not consistently wound.

    Attributes
    ----------
    edges : (k, 2) int64
        Vertex pairs of the edges at fault, lowest index first.
    """

    def __init__(self, message: str, edges: NDArray[np.int64]) -> None:
        super().__init__(message)
        self.edges = edges


class CutError(SeamwrightError):
    """A joint cannot be applied.

    Attributes
    ----------
    problem : the message without the joint's number, for those who know the joint by another name.
    joint : its place in the order of cuts, from 0; -1 where it is not one joint's fault.
    """

    def __init__(self, problem: str, joint: int = -1) -> None:
        super().__init__(problem if joint < 0 else f"joint {joint}: {problem}")
        self.problem = problem
        self.joint = joint


class Cancelled(SeamwrightError):
    """The user stopped long work. Nothing was changed."""
