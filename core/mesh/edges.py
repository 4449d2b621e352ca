# SPDX-License-Identifier: GPL-3.0-or-later
"""The edges of triangles, each once."""

from __future__ import annotations

import numpy as np

from .mesh import IntArray


def triangle_edges(triangles: IntArray) -> tuple[IntArray, IntArray]:
    """All edges, and which of them begins at each corner.

    Parameters
    ----------
    triangles : (m, 3) vertex numbers, none twice in one triangle.

    Returns
    -------
    (k, 2), (m, 3)
        Edges in rising order with the lower vertex first; the row of the edge from each corner to the next.
    """
    after = np.roll(triangles, -1, axis=1)
    low, high = np.minimum(triangles, after), np.maximum(triangles, after)
    count = int(triangles.max(initial=-1)) + 1
    keys, rows = np.unique((low * count + high).ravel(), return_inverse=True)
    return np.column_stack(np.divmod(keys, max(count, 1))), rows.reshape(-1, 3).astype(np.int64)
