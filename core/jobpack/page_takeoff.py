# SPDX-License-Identifier: GPL-3.0-or-later
"""Sections of the page about money and material: take-off, skin by class of face, costs by stage and by piece."""

from __future__ import annotations

from decimal import Decimal

from ..mesh.mesh import KIND_NAMES
from ..skin.cost import CostSheet
from ..skin.depth import rim_depth, skin_depth
from ..skin.mass import mass_per_area
from .page_parts import Column, Markup, number, powers, section, table
from .record import JobResult

_AREA = "m\u00b2"


def takeoff_section(result: JobResult) -> Markup:
    """Take-off: what to buy, what it costs, and the skin by class of face that it follows from."""
    if not result.takeoff:
        return section("take-off", "Take-off", "Nothing was taken off.")
    sheet = result.cost
    priced = sheet is not None and sheet.total is not None
    money = sheet.currency if priced and sheet is not None else ""
    columns = [
        Column("item"),
        Column("how it was reckoned"),
        Column("net", number=True),
        Column("waste", "%", True),
        Column("order", number=True),
        Column("unit"),
        *([Column("price a unit", money, True), Column("cost", money, True)] if priced else []),
    ]
    rows = [
        [
            line.item,
            powers(line.basis),
            number(line.net_quantity, 2),
            number(100.0 * line.waste, 0),
            number(line.order_quantity, 0 if float(line.order_quantity).is_integer() else 2),
            line.unit,
            *([number(line.unit_price, 2), number(line.cost, 2)] if priced else []),
        ]
        for line in result.takeoff
    ]
    total = ["all", "", "", "", "", "", "", _money(sheet.total)] if priced and sheet is not None else ()
    parts: list[str] = [table("Materials, from the foam out, and work", columns, rows, total)]
    if priced and sheet is not None:
        parts += _costs(result, sheet)
    else:
        parts.append("No prices are known to this job.")
    parts.append(_skin_by_face(result))
    if rim_depth(result.job) > skin_depth(result.job, "joint"):
        parts.append(
            f"Along the rim of a joint the edge returns come on top: {rim_depth(result.job) * 1000.0:.1f} mm on each "
            "face. The gap follows from that."
        )
    return section("take-off", "Take-off", *parts)


def _money(amount: Decimal | None) -> str:
    return "\u2013" if amount is None else f"{amount:.2f}"


def _costs(result: JobResult, sheet: CostSheet) -> list[str]:
    unit = sheet.currency
    stages = table(
        "Cost by stage",
        (Column("stage"), Column("cost", unit, True)),
        [[name, _money(cost)] for name, cost in sheet.stages.items()],
        ["all", _money(sheet.total)],
        fit=True,
    )
    rows = [
        [
            piece.mark,
            *(_money(own.get(name, Decimal(0))) for name in sheet.stages),
            _money(sum(own.values(), Decimal(0))),
        ]
        for piece, own in zip(result.pieces, sheet.pieces, strict=True)
    ]
    pieces = table(
        "Cost by piece",
        (Column("piece"), *(Column(name, unit, True) for name in sheet.stages), Column("all", unit, True)),
        rows,
        ["all", *(_money(cost) for cost in sheet.stages.values()), _money(sheet.total)],
    )
    words = (
        "Each line is order times price, rounded to the cent; a piece bears its share of what is bought, in whole "
        "cents, so that every row and column adds up."
    )
    missing = f"Without a price, and left out: {', '.join(sheet.unpriced)}." if sheet.unpriced else ""
    return [stages, pieces, words, *([missing] if missing else [])]


def _skin_by_face(result: JobResult) -> Markup:
    rows = []
    for k, name in enumerate(KIND_NAMES):
        exact = sum(piece.figures.areas[k] for piece in result.pieces)
        covered = sum(piece.figures.covered[k] for piece in result.pieces)
        layers = ", ".join(layer.name for layer in result.job.skin.layers if name in layer.faces)
        weight = mass_per_area(result.job, name)
        depth = skin_depth(result.job, name) * 1000.0
        rows.append(
            [
                name,
                layers or "bare",
                number(exact, 2),
                number(covered, 2),
                number(weight, 2),
                number(depth, 1),
                number(covered * weight, 1),
            ]
        )
    for k, layer in enumerate(result.job.skin.layers):
        area = sum(piece.figures.returns[k] for piece in result.pieces if piece.figures.returns)
        if layer.edge_return > 0.0:
            weight = layer.areal_mass
            depth = layer.depth * 1000.0
            said = f"{layer.name}, turned in {layer.edge_return * 1000.0:.4g} mm"
            rows.append(
                [
                    "edge return",
                    said,
                    "",
                    number(area, 2),
                    number(weight, 2),
                    number(depth, 1),
                    number(area * weight, 1),
                ]
            )
    columns = [
        Column("face"),
        Column("layers"),
        Column("exact area", _AREA, True),
        Column("covered", _AREA, True),
        Column("weight", "kg/m\u00b2", True),
        Column("thickness", "mm", True),
        Column("mass", "kg", True),
    ]
    return table("Skin by class of face", columns, rows, fit=True)
