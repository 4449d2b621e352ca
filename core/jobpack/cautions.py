# SPDX-License-Identifier: GPL-3.0-or-later
"""Cautions for the work that a job pack leads to, and what the checks in it did and did not look at.

Facts behind them, with what they rest on: fumes of heated polystyrene rise steeply with wire temperature (a maker's
table to DIN 53436); 40 % MEKP solution causes severe eye damage (CCOHS); crystalline silica in cement dust (OSHA);
polystyrene softens near 100 C and drips as it burns (makers' sheets). Breathing protection classes, the pause in gusts
and the word on cobalt are common practice, no source.
"""

from __future__ import annotations

import math
from typing import Final

from ..handling.carry import ELBOW_ROOM
from ..handling.checks import REACH, REACH_LOW
from ..handling.crew import TEAM_SHARE
from ..handling.handled_checks import GALE, LEAST_TILT
from ..handling.one_billet import SHAVED, by_place, by_size
from ..job import Job

DEFER: Final = (
    "These are the usual cautions, not instructions. Local codes, the data sheets of the materials in hand and the "
    "people competent for each kind of work decide; where they differ from this page, they stand."
)

CAUTIONS: Final[tuple[tuple[str, str], ...]] = (
    (
        "Hot wire",
        "Heated polystyrene gives off styrene and carbon monoxide, and far more of both as the wire gets hotter: run "
        "the wire no hotter than it needs to cut, with extraction or a strong draught. The wire burns skin and sets "
        "fire to foam that it rests in. Use an isolated low-voltage supply, never leave a live wire alone, keep a "
        "means of putting out fire within reach. A wire can snag or break at a glue film: look where the glue lies "
        "first.",
    ),
    (
        "Resin and hardener",
        "Polyester resin gives off styrene and dissolves polystyrene wherever the barrier has a pinhole. Peroxide "
        "hardener destroys eyes and feeds fire: goggles and gloves on, water for the eyes at hand. Never bring "
        "hardener and cobalt accelerator together neat. Mixed resin heats up by itself: keep batches small, and put "
        "leftovers where they can.",
    ),
    (
        "Dust",
        "Sanded laminate gives glass dust, cement coats may give silica dust, rasped foam gives dust that charges "
        "and floats. Extract at the tool, wear fitted breathing protection (FFP3 or P100 is usual) and goggles, and "
        "keep foam dust away from solvent vapour and sparks.",
    ),
    (
        "Lifting and carrying",
        "Foam work is bulky and poor to grip, and a big piece acts as a sail. One person leads the lift, the way is "
        "walked first, handholds are fitted. Out of doors, wait for gusts to pass. Masses here are reckoned, not "
        "weighed: weigh the first finished piece of each kind before the others are planned on it.",
    ),
    (
        "Load on a vehicle",
        "Straps crush bare foam and go slack. Block the load, fill its gaps and spread every strap; driver and "
        "operator answer for it. No load restraint was worked out here.",
    ),
    (
        "Fire",
        "Foam of this kind softens near the heat of boiling water, burns with dense smoke and drips. A glass-fibre "
        "skin does not make it non-combustible. No fire class is stated here: ask the venue and the fire authority "
        "what they want to see before the material is bought.",
    ),
    (
        "Steel, wind, public",
        "Frames, lifting points, ballast, wind load and anything that people may climb on need a structural "
        "engineer. None of it was checked here.",
    ),
)


def checked_rules(job: Job) -> tuple[tuple[str, str], ...]:
    """What the checks of single pieces compare with what, by name of the check: (check, sentence)."""
    limits = job.limits
    length, width, height = job.size_limit
    pose = "in any pose" if limits.any_pose else "its up kept up"
    shares = ", ".join(f"{share:.0%} for {count}" for count, share in TEAM_SHARE.items() if count > 1)
    return (
        (
            "piece_mass",
            f"Finished mass of each piece (foam at {job.foam.density:.4g} kg/m3, skin by the area that a laminate "
            f"covers which bridges {job.skin.bridging * 1000.0:.4g} mm, edge returns included) against the workshop's "
            f"own limit of {limits.piece_mass:.4g} kg.",
        ),
        (
            "piece_size",
            f"Handling box of each piece, {pose}, skin included, against {length:.2f} x {width:.2f} x {height:.2f} m.",
        ),
        *_billet_rule(job),
        (
            "doorway",
            f"End of the handling box against a doorway of {limits.doorway[0]:.2f} x {limits.doorway[1]:.2f} m less "
            f"{limits.hand_room * 1000.0:.4g} mm for hands on each side.",
        ),
        (
            "crew",
            f"Finished mass against {limits.person_lift:.4g} kg a person and the published team rule (share of the "
            f"sum: {shares}; it has none for more, and nothing is carried over). It is a guide for planning; slopes, "
            "stairs, grip and distance are not in it, and a competent person judges the carry.",
        ),
        (
            "reach",
            f"Depth from front to back against {REACH:.2f} m ({REACH_LOW:.2f} m if lifted from below 0.25 m), the "
            "depth at which the revised NIOSH lifting equation recommends no load for one person.",
        ),
        (
            "tipping",
            f"Tilt at which the finished piece, set down upright by itself, falls, against "
            f"{math.degrees(LEAST_TILT):.0f} degrees (as appliances are tilted; from memory, unverified).",
        ),
        (
            "hands",
            f"Hand places of the crew on the outline seen from above, {ELBOW_ROOM:.2f} m apart or more (common "
            "practice, no source).",
        ),
        (
            "person_lift",
            f"Largest share of one person against the workshop's own {limits.person_lift:.4g} kg.",
        ),
        (
            "weight_filter",
            "Largest share against the weight filter of INDG143 between knuckle and elbow at arm's length, "
            "which is a filter and no limit.",
        ),
        (
            "lifting",
            "Mass of a piece that one person carries against the revised NIOSH lifting equation at its best height, "
            "lifted every five minutes or rarer.",
        ),
        (
            "wind",
            f"Where it stands outdoors: wind that slides or tips the piece by the plain formula against {GALE:g} m/s, "
            "where a gale begins (from memory, unverified). An indication: an engineer decides.",
        ),
    )


def _billet_rule(job: Job) -> tuple[tuple[str, str], ...]:
    """What is compared where pieces must come out of one billet."""
    stock = " x ".join(f"{side:.2f}" for side in job.foam.billet)
    if by_size(job):
        words = f"Box of foam of each piece, turned as you like, against a billet of {stock} m (block-up unknown)."
    elif by_place(job):
        words = f"Place of each piece in the block-up: within one of its billets, {SHAVED * 1000.0:.4g} mm left aside."
    else:
        return ()
    return (("within_billet", words),)
