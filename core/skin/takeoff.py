# SPDX-License-Identifier: GPL-3.0-or-later
"""Take-off: how much of each material the job needs."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..job import Job, Layer
from .mass import layer_area

GLASS_WASTE: Final = 0.15
"""Share of the glass that is cut off or overlapped; common practice, no source."""


@dataclass(frozen=True)
class TakeoffLine:
    """One material to buy.

    Attributes
    ----------
    item : what it is.
    basis : how the quantity was reckoned, in words.
    net_quantity : what ends up in the work, in `unit`.
    unit : as it is sold: ``roll``, ``bag``, ``billet``; ``h`` for labour.
    waste : share added for waste and laps.
    order_quantity : what to buy, in `unit`; whole sold units.
    unit_price, cost : None where no price is known; cost is rounded to the cent.
    stage : stage of the work that it belongs to.
    """

    item: str
    basis: str
    net_quantity: float
    unit: str
    waste: float
    order_quantity: float
    unit_price: float | None = None
    cost: float | None = None
    stage: str = ""


def take_off(areas: NDArray[np.float64] | Sequence[float], volume: float, job: Job) -> tuple[TakeoffLine, ...]:
    """Materials of the whole job, foam first, then the skin from the foam out.

    Parameters
    ----------
    areas : (4,) square metres by class (carved, joint, base, back), summed over all pieces; exact areas.
    volume : cubic metres of the carving before it is cut.
    job : its foam and skin are read.

    Notes
    -----
    Billets are counted by volume, which is a lower bound: foam that is carved away is not in it. Prices stay empty.
    """
    lines = [_billets(volume, job)]
    for layer in job.skin.layers:
        lines.extend(_layer_lines(layer, layer_area(areas, layer.faces)))
    return tuple(lines)


def _billets(volume: float, job: Job) -> TakeoffLine:
    length, width, height = job.foam.billet
    net = volume / (length * width * height)
    return TakeoffLine(
        item="foam billet",
        basis=f"lower bound: {volume:.4g} m3 of carving over {length * width * height:.4g} m3 a billet of "
        f"{length:.5g} x {width:.5g} x {height:.5g} m at {job.foam.density:.4g} kg/m3; foam carved away is not counted",
        net_quantity=net,
        unit="billet",
        waste=0.0,
        # A carving of exactly n billets must not need one more by rounding.
        order_quantity=float(math.ceil(net * (1.0 - 1e-12))),
    )


def _layer_lines(layer: Layer, area: float) -> Iterator[TakeoffLine]:
    where = f"{area:.4g} m2 exact area ({', '.join(layer.faces) or 'no faces'})"
    apart = f"; edge return of {layer.edge_return * 1000.0:.4g} mm not counted" if layer.edge_return > 0.0 else ""
    if layer.glass is not None and layer.resin_ratio is not None:
        net = layer.glass * area
        yield _line(
            f"{layer.name}: glass",
            f"{where} x {layer.glass:.5g} kg/m2{apart}; waste {GLASS_WASTE:.0%} is common practice, no source",
            net,
            "kg",
            GLASS_WASTE,
        )
        yield _line(
            f"{layer.name}: resin",
            f"{layer.resin_ratio:.4g} times the glass, so waste comes with the glass and is counted once",
            net * layer.resin_ratio,
            "kg",
            GLASS_WASTE,
        )
    elif layer.mass is not None and layer.thickness is not None:
        yield _line(layer.name, f"{where}; laps and offcuts not counted{apart}", area, "m2", 0.0)
    else:
        per_area = layer.areal_mass
        yield _line(
            layer.name, f"{where} x {per_area:.5g} kg/m2; losses not counted{apart}", per_area * area, "kg", 0.0
        )


def _line(item: str, basis: str, net: float, unit: str, waste: float) -> TakeoffLine:
    return TakeoffLine(item, basis, net, unit, waste, net * (1.0 + waste))
