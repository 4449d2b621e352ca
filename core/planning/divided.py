# SPDX-License-Identifier: GPL-3.0-or-later
"""A plan brought to more pieces, where more are asked for."""

from __future__ import annotations

from .nodes import Plan
from .options import Rules
from .sheaf import Sheaf
from .ways import ways


def divided(plan: Plan, pieces: int, rules: Rules, sheaf: Sheaf) -> Plan:
    """The plan with its heaviest pieces cut again until there are so many, where that can be done."""
    whole_pieces: set[int] = set()
    while plan.pieces < pieces:
        leaves = [step for step in plan if step.option is None and id(step) not in whole_pieces]
        if not leaves:
            break
        leaf = max(leaves, key=lambda step: step.part.mass)
        found = [way.make() for way in ways(leaf.part, rules, sheaf)]
        most = 1 + pieces - plan.pieces
        options = [option for option in found if option is not None and len(option.parts) <= most]
        if not options:
            whole_pieces.add(id(leaf))
            continue
        best = min(
            options,
            key=lambda way: way.cost + sum(float(rules.need.leaf(part.mass, rules.worth)) for part in way.parts),
        )
        plan = _exchanged(plan, leaf, Plan(leaf.part, best, tuple(Plan(part, None) for part in best.parts)))
    return plan


def _exchanged(plan: Plan, old: Plan, new: Plan) -> Plan:
    if plan is old:
        return new
    return (
        Plan(plan.part, plan.option, tuple(_exchanged(step, old, new) for step in plan.plans)) if plan.plans else plan
    )
