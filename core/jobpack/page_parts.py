# SPDX-License-Identifier: GPL-3.0-or-later
"""Small parts of a printable page: escaped text, numbers, tables, sections, pictures."""

from __future__ import annotations

import base64
import html
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from ..errors import InputError

_PNG = b"\x89PNG\r\n\x1a\n"


class Markup(str):
    """Text that is HTML already and is put in as it is; any other text is escaped."""

    __slots__ = ()


@dataclass(frozen=True)
class Column:
    """Head of a column: its words, its unit, and whether it holds numbers (set to the right)."""

    label: str
    unit: str = ""
    number: bool = False


def escape(text: str) -> Markup:
    """Text made harmless for any place in a page, attributes included."""
    return text if isinstance(text, Markup) else Markup(html.escape(text, quote=True))


def powers(text: str) -> str:
    """Square and cubic metres of plain text as they are written by hand: 12.3 m2, 15 kg/m3."""
    return re.sub(
        r"(?<=[0-9] )m([23])\b|(?<=/)m([23])\b", lambda m: "m" + {"2": "\u00b2", "3": "\u00b3"}[m[1] or m[2]], text
    )


def number(value: float | None, decimals: int) -> str:
    """A number for people, with fixed decimals; a dash where there is none. Never ``-0``."""
    if value is None:
        return "\u2013"
    text = f"{value:.{decimals}f}"
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def table(
    caption: str,
    columns: Sequence[Column],
    rows: Iterable[Sequence[str]],
    total: Sequence[str] = (),
    fit: bool = False,
    cards: bool | None = None,
) -> Markup:
    """A table with its caption, its columns' units in the head, and a row of totals where one is given.

    `fit` keeps a table of short cells narrow, so that the eye finds the number beside its name. `cards`: on a phone
    each row becomes a card, as the table would run off its side; None: where it has `_WIDE` columns or more.
    """
    heads = "".join(
        f'<th scope="col"{_number_class(c)}>{escape(c.label)}'
        + (f'<span class="unit">{escape(c.unit)}</span>' if c.unit else "")
        + "</th>"
        for c in columns
    )
    body = "".join(_row(columns, row) for row in rows)
    foot = f"<tfoot>{_row(columns, total)}</tfoot>" if total else ""
    wide = len(columns) >= _WIDE if cards is None else cards
    names = " ".join(word for word, on in (("fit", fit), ("cards", wide)) if on)
    kind = f' class="{names}"' if names else ""
    return Markup(
        f'<div class="wide"><table{kind}><caption>{escape(caption)}</caption><thead><tr>{heads}</tr></thead>'
        f"<tbody>{body}</tbody>{foot}</table></div>\n"
    )


_WIDE: Final = 6
"""Columns from which a table is wider than a phone."""


def _row(columns: Sequence[Column], cells: Sequence[str]) -> str:
    pairs = zip(columns, cells, strict=True)
    said = (f'<td{_cell_class(c, cell)} data-head="{escape(_head(c))}">{escape(cell)}</td>' for c, cell in pairs)
    return f"<tr>{''.join(said)}</tr>"


def _head(column: Column) -> str:
    return f"{column.label} ({column.unit})" if column.unit else column.label


_LONG: Final = 24
"""Letters in a cell from which it takes the whole width of a card."""


def _cell_class(column: Column, cell: str) -> str:
    if column.label == "piece":
        return ' class="name"'
    long = len(cell) >= _LONG and not column.number and not isinstance(cell, Markup)
    return ' class="long"' if long else _number_class(column)


def _number_class(column: Column) -> str:
    return ' class="n"' if column.number else ""


def section(ident: str, title: str, *parts: str) -> Markup:
    """A section with its heading; parts that are not markup become paragraphs."""
    body = "".join(part if isinstance(part, Markup) else f"<p>{escape(part)}</p>\n" for part in parts)
    return Markup(f'<section id="{escape(ident)}"><h2>{escape(title)}</h2>\n{body}</section>\n')


def facts(pairs: Iterable[tuple[str, str, str]]) -> Markup:
    """A grid of facts: what, the figure, a line of detail."""
    cells = "".join(
        f"<div><dt>{escape(name)}</dt><dd><b>{escape(value)}</b><span>{escape(detail)}</span></dd></div>"
        for name, value, detail in pairs
    )
    return Markup(f'<dl class="facts">{cells}</dl>\n')


def status(word: str) -> Markup:
    """A status or severity word, marked by weight and hatching as the page's key says."""
    return Markup(f'<span class="status {escape(word)}">{escape(word)}</span>')


def picture(name: str, png: bytes) -> Markup:
    """A picture inside the page itself, with its name for a caption.

    Raises
    ------
    InputError
        The bytes are not a PNG.
    """
    if not png.startswith(_PNG) or len(png) < 24:
        raise InputError(f"picture {name!r} is not a PNG; give the bytes of a PNG file")
    width, height = (int.from_bytes(png[at : at + 4], "big") for at in (16, 20))
    words = caption(name)
    data = base64.b64encode(png).decode("ascii")
    return Markup(
        f'<figure><img alt="{escape(words)}" width="{width}" height="{height}" src="data:image/png;base64,{data}">'
        f"<figcaption>{escape(words)}</figcaption></figure>\n"
    )


def caption(name: str) -> str:
    """Words for a picture's name: ``01-all-pieces.png`` reads *All pieces*."""
    stem = name[:-4] if name.lower().endswith(".png") else name
    words = stem.removeprefix("sign-off-").lstrip("0123456789").replace("-", " ").replace("_", " ").strip() or stem
    return words[:1].upper() + words[1:]
