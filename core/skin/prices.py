# SPDX-License-Identifier: GPL-3.0-or-later
"""The user's own price list: a CSV of what things cost and how they are sold."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Final

from ..errors import InputError
from .stock import MEASURES, Stock

COLUMNS: Final = (
    "item",
    "sold_as",
    "contents",
    "unit",
    "price",
    "waste",
    "width_m",
    "overlap_m",
    "coverage_m2",
    "coats",
    "source",
)
"""Columns of a price list; item, contents, unit and price must be there."""

_NEEDED: Final = ("item", "contents", "unit", "price")
_PRICE: Final = re.compile(r"price(?:[ _](.{1,12}))?", re.IGNORECASE)
_NUMBER: Final = re.compile(r"[0-9]{1,15}(?:\.[0-9]{1,9})?")


@dataclass(frozen=True)
class PriceList:
    """Prices by item.

    Attributes
    ----------
    currency : as it stands in the head of the price column (``price_GBP`` or ``price EUR``); empty where none does.
    rows : each row, by the item's name in lower case.
    name : of the file, for messages.
    """

    currency: str
    rows: Mapping[str, Stock]
    name: str = "price list"

    def get(self, item: str) -> Stock | None:
        """The row of an item; letter case and spaces at the ends do not matter."""
        return self.rows.get(_plain(item))


def read_prices(text: str, name: str = "price list") -> PriceList:
    """Read a price list.

    Parameters
    ----------
    text : CSV with a header row; comma or semicolon between cells, a dot as the decimal sign. ``item`` is a name of
        the take-off or ``labour`` or ``labour: STAGE``; ``sold_as`` the word for one sold unit; ``contents`` and
        ``unit`` what one holds (m2, m, kg, l, h, each); ``price`` of one; an empty price is not known. A currency may
        stand behind the word price in the head, such as ``price_GBP``; ``source`` is a word on where the row comes
        from, which the take-off shows.
    name : for messages.

    Raises
    ------
    InputError
        No table of that kind; a cell that is not a number, with its row and column; an item that comes twice.
    """
    text = text.removeprefix("\ufeff")
    head = text.partition("\n")[0]
    cells = csv.reader(io.StringIO(text, newline=""), delimiter=";" if head.count(";") > head.count(",") else ",")
    try:
        table = [row for row in cells if any(cell.strip() for cell in row)]
    except csv.Error as error:
        raise InputError(f"{name}: is not a table in CSV: {error}") from None
    if not table:
        raise InputError(f"{name}: is empty; the first row names the columns: {', '.join(COLUMNS)}")
    columns, currency = _columns(table[0], name)
    rows: dict[str, Stock] = {}
    for number, row in enumerate(table[1:], 2):
        if len(row) > len(columns):
            raise InputError(f"{name}: row {number} has {len(row)} cells under {len(columns)} columns")
        stock = _stock(dict(zip(columns, (cell.strip() for cell in row), strict=False)), f"{name}: row {number}")
        if _plain(stock.item) in rows:
            raise InputError(f'{name}: row {number}: "{stock.item}" stands in the list twice; keep one')
        rows[_plain(stock.item)] = stock
    return PriceList(currency, rows, name)


def _plain(item: str) -> str:
    return " ".join(item.split()).casefold()


def _columns(head: list[str], name: str) -> tuple[list[str], str]:
    columns, currency = [], ""
    for cell in head:
        word = cell.strip().lower()
        match = _PRICE.fullmatch(cell.strip())
        if match:
            word, currency = "price", (match.group(1) or "").strip()
        if word not in COLUMNS:
            raise InputError(f'{name}: unknown column "{cell.strip()[:40]}"; known are: {", ".join(COLUMNS)}')
        if word in columns:
            raise InputError(f'{name}: column "{word}" stands there twice')
        columns.append(word)
    missing = [word for word in _NEEDED if word not in columns]
    if missing:
        raise InputError(f"{name}: column {missing[0]} is missing; needed are: {', '.join(_NEEDED)}")
    return columns, currency


def _stock(row: dict[str, str], at: str) -> Stock:
    item = row.get("item", "")
    if not item or not item.isprintable():
        raise InputError(f"{at}: has no item's name; write what the take-off calls it")
    unit = row.get("unit", "")
    if unit not in MEASURES:
        raise InputError(f'{at}: "{item}" has the unit "{unit[:20]}"; one of: {", ".join(MEASURES)}')
    contents = _number(row, "contents", at)
    if contents is None or contents <= 0:
        raise InputError(f'{at}: "{item}" has no contents; write how many {unit} one sold unit holds')
    width, overlap = _number(row, "width_m", at), _number(row, "overlap_m", at)
    if overlap and (width is None or overlap >= width):
        raise InputError(f'{at}: "{item}" laps by {overlap} m and needs a width_m above that')
    coverage, coats = _number(row, "coverage_m2", at), _number(row, "coats", at)
    if coverage == 0 or (coats is not None and (coats < 1 or coats != int(coats))):
        raise InputError(f'{at}: "{item}" needs a coverage_m2 above 0 and a whole number of coats')
    return Stock(
        item,
        row.get("sold_as", "") or unit,
        float(contents),
        unit,
        float(_number(row, "waste", at) or 0),
        None if width is None else float(width),
        None if overlap is None else float(overlap),
        None if coverage is None else float(coverage),
        1 if coats is None else int(coats),
        _number(row, "price", at),
        _source(row, at),
    )


def _source(row: dict[str, str], at: str) -> str:
    text = row.get("source", "")
    if text and not text.isprintable():
        raise InputError(f"{at}: source has signs that cannot be printed on one line")
    return text


def _number(row: dict[str, str], column: str, at: str) -> Decimal | None:
    text = row.get(column, "")
    if not text:
        return None
    if _NUMBER.fullmatch(text) is None:
        hint = "the decimal sign is a dot, nothing stands between thousands" if "," in text else "write a plain number"
        raise InputError(f'{at}: {column} is "{text[:20]}"; {hint}')
    try:
        return Decimal(text)
    except InvalidOperation:
        raise InputError(f'{at}: {column} is "{text[:20]}"; write a plain number') from None
