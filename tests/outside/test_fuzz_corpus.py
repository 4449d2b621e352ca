# SPDX-License-Identifier: GPL-3.0-or-later
"""Cuts that once failed, by their number: each is made again and must hold everything."""

from __future__ import annotations

import pytest
from fuzz_cases import check_case, make_case

CORPUS = {
    61: "a joint triangle without height was parted from its body",
    132: "thousands of vertices nearer together than an outline can order; two triangles for a body",
    134: "an outline that touches itself at two vertices in one place",
    241: "joint triangles folded back on themselves: an edge with four triangles was left",
    385: "two joint triangles back to back, no foam between",
    431: "the same, along the kink of a profile",
    446: "a body thinner than the tolerance was left out instead of going to its neighbour",
    573: "a joint's border that runs one edge twice",
    611: "a body thinner than the tolerance",
    622: "wedges linked round both ends of a pinched edge: the search for a way to part them did not end",
    1011: "a sliver along an edge, thinner than the tolerance",
    3850: "an outline that no sweep across its longer side could follow; the last resort turned a face over",
    4339: "a region of nothing but slits",
}


@pytest.mark.parametrize("number", CORPUS)
def test_corpus(number: int) -> None:
    check_case(make_case(number))
