# SPDX-License-Identifier: GPL-3.0-or-later
"""Questions about the fire rating that an indoor or public place brings. Questions only: nothing here is a verdict.

What they rest on: classes 1 to 4 of BS 476-7 and the class 0 of British guidance (engineered-composites.co.uk and a
maker's specification); a theatre's rule that decorative expanded polystyrene be enclosed in a non-combustible skin
(barntheatreoxted.co.uk); classes A1 to F with s1 to s3 and d0 to d2 of EN 13501-1 (from memory, unverified).
"""

from __future__ import annotations

from typing import Final

from ..findings import Finding, Severity
from ..job import Job

FIRE_PLACES: Final = ("indoors", "public")

_QUESTIONS: Final = (
    (
        "Which class of reaction to fire does the venue or its licensing authority ask for, and by which standard: "
        "EN 13501-1 (A1 to F, with s and d), BS 476-7 (1 to 4), or another?",
        "Ask in writing before materials are bought, and file the answer with the job.",
    ),
    (
        "Which document shows that class for this build-up, foam, {layers}, as one and at this thickness? A sheet for "
        "one of its materials alone does not.",
        "Ask makers for test or classification reports of the whole build-up, and the fire authority whether they do.",
    ),
    (
        "Does the place allow expanded polystyrene at all, and if so enclosed in what? Some theatres want a "
        "non-combustible skin kept undamaged; whether this skin counts as one is theirs to say.",
        "Ask the venue and the fire authority; agree who inspects the skin once it has travelled.",
    ),
)


FOAM_HEAT: Final = 40e6
"""Joules that a kilogram of expanded polystyrene gives off when it burns; from memory, unverified."""


def fire_load(foam_mass: float) -> float:
    """Heat in joules that this much foam, kg, gives off when it burns; the skin's resin comes on top."""
    return FOAM_HEAT * foam_mass


def fire_questions(job: Job, foam_mass: float) -> list[Finding]:
    """Notes with the questions to ask, where the work will stand indoors or in a public place.

    `foam_mass` : kg of all pieces.
    """
    where = [place for place in job.skin.place if place in FIRE_PLACES]
    if not where:
        return []
    named = [layer.name for layer in job.skin.layers]
    layers = ", ".join(named) if named else "no skin"
    said = " and ".join("in a public place" if place == "public" else place for place in where)
    heat = (
        f"How much heat may the work give off if it burns? Its foam, {foam_mass:.0f} kg, holds about "
        f"{fire_load(foam_mass) / 1e6:,.0f} MJ at {FOAM_HEAT / 1e6:.0f} MJ/kg, a figure that no source was found for; "
        "resin comes on top.",
        "Give the venue and the fire authority the masses of foam and resin in the take-off.",
    )
    return [
        Finding(
            "fire_rating",
            Severity.NOTE,
            f"The work will stand {said}. {question.format(layers=layers)}",
            f"{remedy} No fire class was checked here.",
        )
        for question, remedy in (*_QUESTIONS, heat)
    ]
