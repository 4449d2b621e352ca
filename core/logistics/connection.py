# SPDX-License-Identifier: GPL-3.0-or-later
"""Pieces that hold others together: without one of them the rest falls into more parts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence, Set


def cut_pieces(beside: Sequence[Set[int]], left: Iterable[int]) -> set[int]:
    """Those of `left` without which the others of it, joined through joints, fall into more parts than now.

    Parameters
    ----------
    beside : for each piece those that it shares a joint with.

    Notes
    -----
    One walk along the joints: a piece holds others together if from what was reached through it no joint leads back to
    what was reached before it (J. Hopcroft and R. Tarjan, Communications of the ACM 16, 1973; from memory, unverified).
    """
    there = sorted(left)
    inside = set(there)
    reached: dict[int, int] = {}
    back: dict[int, int] = {}
    found: set[int] = set()
    for start in there:
        if start in reached:
            continue
        reached[start] = back[start] = len(reached)
        branches = 0
        walk = [(start, start, iter(sorted(beside[start])))]
        while walk:
            here, origin, ways = walk[-1]
            onward = next((k for k in ways if k in inside and k != origin), None)
            if onward is None:
                walk.pop()
                if walk:
                    back[origin] = min(back[origin], back[here])
                    if origin == start:
                        branches += 1
                    elif back[here] >= reached[origin]:
                        found.add(origin)
            elif onward in reached:
                back[here] = min(back[here], reached[onward])
            else:
                reached[onward] = back[onward] = len(reached)
                walk.append((onward, here, iter(sorted(beside[onward]))))
        if branches > 1:
            found.add(start)
    return found
