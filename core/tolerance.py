# SPDX-License-Identifier: GPL-3.0-or-later
"""Tolerances, scaled to the carving; each number with its reason."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Tolerance:
    """Lengths under which two places count as one, metres.

    Attributes
    ----------
    on_joint : a vertex this near to a joint's surface counts as lying on it. 1e-11 of the size is a thousand times
        the rounding of the distance itself and ten thousand times below anything a carver could see; far from the
        origin the spacing of the coordinates takes over (8 steps).
    floor : a corner this near to the lowest level counts as standing on the floor: 0.1 mm, which is finer than any
        scan, or 1e-6 of the size where that is larger.
    """

    on_joint: float
    floor: float

    @classmethod
    def of(cls, vertices: NDArray[np.float64]) -> Tolerance:
        """Tolerances for a body with these vertices, (n, 3) in metres; any frame."""
        if len(vertices) == 0:
            return cls(on_joint=0.0, floor=1e-4)
        # Column by column: numpy reduces a long thin array along its length ten times slower.
        low = np.array([column.min() for column in vertices.T])
        high = np.array([column.max() for column in vertices.T])
        size = float(np.linalg.norm(high - low))
        step = float(np.spacing(max(np.abs(low).max(), np.abs(high).max())))
        return cls(on_joint=max(1e-11 * size, 8.0 * step), floor=max(1e-4, 1e-6 * size))
