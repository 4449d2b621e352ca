# SPDX-License-Identifier: GPL-3.0-or-later
"""Which of the two hues, light or deep, each piece is shown in, so that neighbours differ."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .record import JobResult

TONES = 4
"""Two hues in two depths: 0 first hue, 1 second hue, 2 first hue deep, 3 second hue deep."""


def piece_tones(pieces: int, pairs: Sequence[tuple[int, int]]) -> list[int]:
    """A tone 0..3 for each piece; pieces that touch differ wherever four tones allow it.

    Parameters
    ----------
    pieces : how many there are.
    pairs : indices of pieces that touch.

    Notes
    -----
    Greedy, in order of the pieces: the hue least used among the neighbours coloured so far, and of that hue the depth
    least used. Stacked pieces so alternate between two hues as a rule and use the depths only where three meet.
    """
    beside: list[set[int]] = [set() for _ in range(pieces)]
    for a, b in pairs:
        if a != b:
            beside[a].add(b)
            beside[b].add(a)
    tones: list[int] = []
    for piece in range(pieces):
        near = [tones[other] for other in beside[piece] if other < piece]
        tones.append(min(range(TONES), key=lambda tone: (near.count(tone), sum(t % 2 == tone % 2 for t in near), tone)))
    return tones


def touching_tones(result: JobResult) -> list[int]:
    """A tone for each piece of a finished job; pieces that share a joint count as touching."""
    at = {piece.mark: k for k, piece in enumerate(result.pieces)}
    pairs = [
        (at[contact.piece_a], at[contact.piece_b])
        for contact in result.contacts
        if contact.piece_a in at and contact.piece_b in at
    ]
    return piece_tones(len(at), pairs)
