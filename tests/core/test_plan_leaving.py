# SPDX-License-Identifier: GPL-3.0-or-later
"""The wire of a planned joint through one limb leaves the foam: told on samples, against the exact cut."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from grid_plans import blocks, grid
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.wire import FEW, ROOM, lay_wire, rim_of
from seamwright.core.job import Job
from seamwright.core.marking.cutting_order import CutStep, cutting_order
from seamwright.core.mesh.mass import mass_properties
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.planning.blocks import Blocks
from seamwright.core.planning.leaving import bound_share
from seamwright.core.planning.limb_split import Limb, split_limbs
from seamwright.core.planning.limbs import series
from seamwright.core.planning.need import Need
from seamwright.core.planning.part import Sheet, whole
from seamwright.core.planning.propose import propose
from seamwright.core.planning.samples import take_samples
from seamwright.core.planning.sheaf import Sheaf
from seamwright.core.planning.trails import Trail
from seamwright.core.planning.wished import Wish
from seamwright.core.planning.worth import Worth

THICK, HIGH, LEAN = 0.5, 0.9, np.radians(30.0)
JOB = Job.from_toml(
    """
    [foam]
    kerf = "0 mm"
    [skin]
    bridging = "0 mm"
    layers = [{ name = "skin", mass = "6 kg/m2", faces = ["carved", "joint", "base", "back"] }]
    [limits]
    piece_mass = "32 kg"
    piece_size = ["2.4 m", "1.2 m", "1.3 m"]
    [joints]
    fit = "0 mm"
    """
)


def close_limbs(air: float) -> Mesh:
    """A U lying flat, 4.8 m long, with so much air between its limbs."""
    mesh = blocks(grid(1, 3, 1) | grid(6, 1, 1) | grid(6, 1, 1, (0, 2, 0)), (0.8, 1.0, HIGH))
    at = mesh.vertices.copy()
    at[:, 1] = np.array([0.0, THICK, THICK + air, 2.0 * THICK + air])[np.rint(at[:, 1]).astype(int)]
    return Mesh(at, mesh.triangles)


def wall(x: float, lean: float) -> Sheet:
    """A wavy sheet across the limbs; its wire leans so far from upright, towards +y."""
    u = np.array([0.0, np.cos(lean), -np.sin(lean)])
    at = np.linspace(-2.0, 3.0, 60)
    return Sheet(u, np.array([1.0, 0.0, 0.0]), np.column_stack([at, x + 0.05 * np.sin(8.0 * at)]), False)


@pytest.mark.parametrize("air", [0.1, 0.2, 0.4])
@pytest.mark.parametrize("lean", [0.0, 30.0, 60.0, 90.0])
def test_as_on_the_exact_cut(air: float, lean: float) -> None:
    mesh = close_limbs(air)
    limb = Limb(wall(2.6, np.radians(lean)), np.array([2.6, THICK / 2.0, HIGH / 2.0]))
    (bound,) = split_limbs(whole(take_samples(mesh, JOB, 0.0)), [limb]).bound
    joint = limb.joint(None)
    pieces = cut(mesh, [joint]).pieces
    rim = np.concatenate([rim_of(body, joint, 0) for body in pieces])
    wire = lay_wire(joint, rim, [body.mesh for body in pieces], 0.0, 1.5)
    # Closed form: of a section b by h what leaves by the side, h sin(lean) of it, and climbs less than what is left.
    sine, cosine = np.sin(np.radians(lean)), np.cos(np.radians(lean))
    climbs = air * cosine / max(sine, 1e-12)
    known = max(HIGH - climbs, 0.0) * sine / (THICK * cosine + HIGH * sine) if air < ROOM * sine else 0.0
    assert wire.bound == pytest.approx(known, abs=0.02)
    # Cells tell it to about one of them.
    assert bound == pytest.approx(known if known > FEW else 0.0, abs=0.08)


def test_flat_joints_and_joints_through_everything_are_free() -> None:
    part = whole(take_samples(close_limbs(0.1), JOB, 0.0))
    level = wall(2.6, np.pi / 2.0)
    place = np.array([2.6, THICK / 2.0, HIGH / 2.0])
    flat = Sheet(level.u, level.w, np.array([[0.0, 2.6]]), True)
    assert split_limbs(part, [Limb(level, place)]).bound[0] > 0.9
    assert split_limbs(part, [Limb(flat, place)]).bound == (0.0,)
    assert split_limbs(part, [Limb(level, None)]).bound == (0.0,)
    assert bound_share(level, np.zeros((0, 3)), np.ones((4, 3)), 0.03) == 0.0


def wavy(x: float, low: float, phase: float) -> np.ndarray:
    """A line round a limb that a sheet with a leaning wire follows."""
    t = np.linspace(0.0, 1.0, 41)[:, None]
    corners = np.array([[low, 0.0], [low + THICK, 0.0], [low + THICK, HIGH], [low, HIGH], [low, 0.0]])
    p = np.concatenate([a + (b - a) * t for a, b in pairwise(corners)])
    along = p[:, 0] * np.cos(LEAN) - p[:, 1] * np.sin(LEAN)
    return np.column_stack([x + 0.05 * np.sin(along * 2.0 * np.pi / 0.4 + phase), p])


def trails_round(air: float) -> list[Trail]:
    """Seams round both limbs, those of one between those of the other."""
    out = []
    for k, x in enumerate(np.arange(0.9, 4.8, 0.45).tolist()):
        out += [Trail.along(f"one {k}", wavy(x, 0.0, k)), Trail.along(f"two {k}", wavy(x + 0.22, THICK + air, k))]
    return out


def cuts(saw: float, monkeypatch: pytest.MonkeyPatch) -> tuple[CutStep, ...]:
    """The cuts of a plan where seams ask for joints whose wire runs into the next limb."""
    air = 0.12
    mesh, worth = close_limbs(air), replace(Worth.of(0.6), saw=saw)
    monkeypatch.setattr(Worth, "of", lambda _: worth)
    proposal = propose(mesh, JOB, 0.0, trails=trails_round(air), wish=Wish(hidden=0.6))
    assert not proposal.over
    found = cut(mesh, proposal.joints)
    solids = [mass_properties(body.mesh) for body in found.pieces]
    return cutting_order(
        proposal.joints,
        found.lines,
        found.contacts,
        found.pieces,
        [solid.volume for solid in solids],
        [solid.centroid for solid in solids],
        JOB.foam.density,
        0.0,
        JOB.limits.wire_length,
    )


def test_without_the_charge_seams_lead_to_joints_that_no_wire_cuts() -> None:
    air = 0.12
    part = whole(take_samples(close_limbs(air), JOB, 0.0, trails_round(air)))
    need = Need.of(JOB, part.of.face_mass, 0.988, part.of.grow)
    worth = Worth.of(0.6)
    sheaf = Sheaf.of_body(part.of, worth, False, True)
    every = np.arange(0, len(sheaf.fan), 6)
    blocks = Blocks.make(part)
    found = [series(part, blocks, sheaf, every, need, replace(worth, saw=saw), 1.5) for saw in (0.0, worth.saw)]
    bound = []
    for along in found:
        assert along is not None
        bound.append(max(max(split_limbs(part, [limb]).bound) for limb in along.limbs))
    assert bound[0] > 0.3
    assert bound[1] <= FEW


def test_a_joint_that_no_wire_cuts_is_not_taken_where_others_will_do(monkeypatch: pytest.MonkeyPatch) -> None:
    assert all(step.wire.bound <= FEW for step in cuts(Worth.of(0.6).saw, monkeypatch))
