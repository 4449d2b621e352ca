# SPDX-License-Identifier: GPL-3.0-or-later
"""What a piece or a whole job needs of each material, before anything is rounded to what is sold."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from ..job import Job, Layer
from .mass import layer_area

CATALYST_CHART: Final = "4 % at 5 to 13 C, 3 % at 13 to 16 C, 2 % at 16 to 20 C, 1 % at 20 to 35 C"
"""Catalyst (MEKP) by temperature as printed in a supplier's chart (East Coast Fibreglass); a cross-reading of other
guides: over 4 % may fail to cure. 1 kg of resin at 2 % takes 20 ml there, so a millilitre counts as a gram."""


@dataclass(frozen=True)
class Need:
    """An amount of one material.

    Attributes
    ----------
    item : what it is.
    stage : stage of the work that uses it: the layer's name, or ``foam``, ``adhesive``, ``resin``, ``touch-up``.
    kind : key of `stock.USUAL` that says how it is usually sold.
    measures : the same amount in each unit that it can be reckoned in: ``m2``, ``kg``, ``l``, ``m``, ``each``.
    basis : how it was reckoned, in words.
    follows : items whose waste this one shares, each with how much goes with it: resin is wasted with its glass.
    """

    item: str
    stage: str
    kind: str
    measures: Mapping[str, float]
    basis: str
    follows: tuple[tuple[str, float], ...] = ()


def skin_needs(areas: Sequence[float], returns: Sequence[float], job: Job) -> tuple[Need, ...]:
    """Materials of the skin, from the foam out.

    Parameters
    ----------
    areas : (4,) square metres by class that are covered: carved, joint, base, back (see `covering_shares`).
    returns : square metres of edge return of each layer (see `return_areas`); as many as the job has layers.
    job : its skin is read.
    """
    rows = [
        (layer, layer_area(areas, layer.faces) + float(strip), float(strip))
        for layer, strip in zip(job.skin.layers, returns, strict=True)
    ]
    needs = [_of_layer(*row) for row in rows]
    last = max((k for k, layer in enumerate(job.skin.layers) if layer.glass is not None), default=-1)
    # All laminates are wetted from the same drums: resin and catalyst stand once, after the last of them.
    return (*needs[: last + 1], *_resin(rows, job), *needs[last + 1 :])


def _resin(rows: Sequence[tuple[Layer, float, float]], job: Job) -> Iterator[Need]:
    parts = [
        (f"{layer.name}: glass", layer.glass * area * layer.resin_ratio, layer.resin_ratio)
        for layer, area, _ in rows
        if layer.glass is not None and layer.resin_ratio is not None
    ]
    if not parts:
        return
    resin = sum(amount for _, amount, _ in parts)
    share = job.skin.catalyst
    follows = tuple((item, amount) for item, amount, _ in parts)
    ratios = ", ".join(f"{ratio:.4g} times the {item}" for item, _, ratio in parts)
    yield Need(
        "resin",
        "resin",
        "resin",
        {"kg": resin},
        f"{resin:.4g} kg: {ratios}; waste comes with the glass and is counted once",
        follows,
    )
    yield Need(
        "catalyst",
        "resin",
        "catalyst",
        {"l": resin * share, "kg": resin * share},
        f"{share:.3g} of the resin, a millilitre to a gram; by temperature one printed chart has {CATALYST_CHART}: the "
        "resin's data sheet decides",
        follows,
    )


def foam_need(volume: float, job: Job) -> Need:
    """Billets for `volume` cubic metres: a lower bound, as foam that is carved away is not in it."""
    length, width, height = job.foam.billet
    one = length * width * height
    return Need(
        "foam billet",
        "foam",
        "billet",
        {"each": volume / one, "kg": volume * job.foam.density},
        f"lower bound: {volume:.4g} m3 of carving over {one:.4g} m3 a billet of {length:.5g} x {width:.5g} x "
        f"{height:.5g} m at {job.foam.density:.4g} kg/m3; foam carved away is not counted",
    )


def billets_need(bought: int, places: int, job: Job) -> Need:
    """Billets of a block-up: those that are bought, part billets and offcuts used again counted."""
    length, width, height = job.foam.billet
    return Need(
        "foam billet",
        "foam",
        "billet",
        {"each": float(bought), "kg": bought * length * width * height * job.foam.density},
        f"block-up: {bought} billets of {length:.5g} x {width:.5g} x {height:.5g} m for its {places} places",
    )


def glue_need(area: float) -> Need:
    """Adhesive of a block-up: the area of its glue lines."""
    return Need(
        "adhesive",
        "adhesive",
        "adhesive",
        {"m2": area},
        f"block-up: {area:.4g} m2 of glue line",
    )


def adhesive_need(volume: float, job: Job) -> Need:
    """Adhesive to bond the billets: one bonded face to a course, so volume over the height of a billet."""
    area = volume / job.foam.billet[2]
    return Need(
        "adhesive",
        "adhesive",
        "adhesive",
        {"m2": area},
        f"estimate: {area:.4g} m2 of bonded faces, one to a course ({volume:.4g} m3 over {job.foam.billet[2]:.4g} m); "
        "upright glue lines and foam carved away are not counted",
    )


def touch_up_need(length: float) -> Need:
    """What closes `length` metres of visible joint line on site."""
    return Need("touch-up", "touch-up", "touch-up", {"m": length}, f"{length:.4g} m of joint line on carved faces")


def _of_layer(layer: Layer, area: float, strip: float) -> Need:
    where = f"{area:.4g} m2 covered ({', '.join(layer.faces) or 'no faces'}"
    if layer.edge_return > 0.0:
        where += f"; {strip:.4g} m2 of it edge return of {layer.edge_return * 1000.0:.4g} mm"
    where += ")"
    if layer.glass is not None:
        basis = f"{where} x {layer.glass:.5g} kg/m2"
        return Need(f"{layer.name}: glass", layer.name, "glass", {"kg": layer.glass * area, "m2": area}, basis)
    per_area = layer.areal_mass
    measures = {"kg": per_area * area, "m2": area}
    if layer.density is not None:
        return Need(layer.name, layer.name, "coat", measures, f"{where} x {per_area:.5g} kg/m2")
    return Need(layer.name, layer.name, "paint" if layer.thickness is None else "sheet", measures, where)
