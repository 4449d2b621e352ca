# SPDX-License-Identifier: GPL-3.0-or-later
"""Ready schedules: skins to begin with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from ..job import Layer, Skin


@dataclass(frozen=True)
class Schedule:
    """A skin with a name and a word on what it is for."""

    name: str
    tip: str
    skin: Skin


SCHEDULES: Final[Mapping[str, Schedule]] = {
    "outdoor": Schedule(
        "Outdoor Rock",
        "Foil, heavy laminate turned in over the rims, light laminate on joints, cement coat, paint",
        Skin(),
    ),
    "indoor": Schedule(
        "Indoor Set Piece",
        "Foil and a light laminate on what is seen, turned in over the rims, and paint; brings the fire questions",
        Skin(
            layers=(
                Layer("barrier foil", mass=0.17, thickness=0.0001, faces=("carved",), edge_return=0.05),
                Layer("laminate", glass=0.45, resin_ratio=2.5, faces=("carved",), edge_return=0.03),
                Layer("paint", mass=0.4, faces=("carved",)),
            ),
            place=("indoors",),
        ),
    ),
    "bare": Schedule("Bare Dry Fit", "No skin at all: pieces as sawn, for fitting them together", Skin(layers=())),
}
"""Weights of foil, glass and paint as in the default skin (see ``job.py``: from memory, unverified, where it says so);
which layers go together: common practice, no source.."""
