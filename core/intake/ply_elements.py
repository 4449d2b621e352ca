# SPDX-License-Identifier: GPL-3.0-or-later
"""The body of a PLY file: elements with scalar and list properties, as columns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..mesh.mesh import IntArray
from .numerals import BadNumber, parse_reals

AnyArray: TypeAlias = NDArray[Any]


@dataclass(frozen=True)
class Property:
    """A property of an element: numpy codes without byte order for its values and, if a list, for its length."""

    name: str
    type: str
    count_type: str


@dataclass(frozen=True)
class Element:
    """An element of the header: its name, how many there are and their properties in order."""

    name: str
    count: int
    properties: tuple[Property, ...]


@dataclass(frozen=True, eq=False)
class ListColumn:
    """A list property: (n,) int64 lengths, and all values in one row."""

    counts: IntArray
    values: AnyArray


Column: TypeAlias = AnyArray | ListColumn


def read_elements(
    name: str, data: bytes, start: int, order: str, elements: list[Element]
) -> tuple[dict[str, dict[str, Column]], int]:
    """Read the elements that follow a header.

    Parameters
    ----------
    name : the file's name, for messages.
    data, start : the file's bytes and where its body begins.
    order : ``<`` or ``>``, the byte order; empty for text.
    elements : from the header.

    Returns
    -------
    By element the columns by property, and the number of bytes left over.

    Raises
    ------
    InputError
        The body ends before the elements do, or a word of the text is not a number.
    """
    # A text body is read as rows of float64, so that one walk serves both: every value then has the same width.
    source: AnyArray
    if order:
        source = np.frombuffer(data, dtype=np.uint8, offset=start)
    else:
        try:
            source = parse_reals(data[start:])
        except BadNumber as error:
            line = data[:start].count(b"\n") + error.line + 1
            raise InputError(f"{name}: line {line}: '{error.word}' is not a number; export it again") from None
        source = source.view(np.uint8)
        order = "="
        elements = [_widened(element) for element in elements]
    found: dict[str, dict[str, Column]] = {}
    at = 0
    for element in elements:
        least = element.count * sum(np.dtype(p.count_type or p.type).itemsize for p in element.properties)
        if least > len(source) - at:
            raise _cut_off(name, element)
        columns, at = _read(name, source, at, order, element)
        found[element.name] = columns
    return found, len(source) - at


def _widened(element: Element) -> Element:
    wide = tuple(Property(p.name, "f8", "f8" if p.count_type else "") for p in element.properties)
    return Element(element.name, element.count, wide)


def _cut_off(name: str, element: Element) -> InputError:
    return InputError(
        f"{name}: the file is cut off: it promises {element.count} of element '{element.name}' but ends before the "
        "last; copy or export it again"
    )


def _record(order: str, element: Element, lengths: tuple[int, ...]) -> np.dtype[Any]:
    """Layout of one record whose lists have these lengths."""
    fields: list[tuple[str, str] | tuple[str, str, tuple[int]]] = []
    lists = iter(lengths)
    for number, item in enumerate(element.properties):
        if item.count_type:
            fields.append((f"n{number}", order + item.count_type))
            fields.append((f"v{number}", order + item.type, (next(lists),)))
        else:
            fields.append((f"v{number}", order + item.type))
    return np.dtype(fields)


def _read(name: str, source: AnyArray, at: int, order: str, element: Element) -> tuple[dict[str, Column], int]:
    lists = [number for number, item in enumerate(element.properties) if item.count_type]
    if not element.count or not element.properties:
        return {
            item.name: ListColumn(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=item.type))
            if item.count_type
            else np.zeros(0, dtype=item.type)
            for item in element.properties
        }, at
    # Nearly always all lists are as long as the first ones.
    lengths = _lengths(name, source, at, order, element)
    record = _record(order, element, lengths)
    end = at + element.count * record.itemsize
    if end <= len(source):
        rows = source[at:end].view(record)
        if all((rows[f"n{number}"] == size).all() for number, size in zip(lists, lengths, strict=True)):
            return _columns(element, [(np.arange(element.count), rows)]), end
    elif not lists:
        raise _cut_off(name, element)
    starts, shapes, end = _walk(name, source, at, order, element)
    number_of = {shape: number for number, shape in enumerate(sorted(set(shapes)))}
    numbers = np.fromiter((number_of[shape] for shape in shapes), dtype=np.int64, count=element.count)
    by_shape = np.split(np.argsort(numbers, kind="stable"), np.cumsum(np.bincount(numbers))[:-1])
    groups = []
    for shape, which in zip(number_of, by_shape, strict=True):
        record = _record(order, element, shape)
        picked = source[starts[which][:, None] + np.arange(record.itemsize)]
        groups.append((which, np.ascontiguousarray(picked).view(record).reshape(-1)))
    return _columns(element, groups), end


def _lengths(name: str, source: AnyArray, at: int, order: str, element: Element) -> tuple[int, ...]:
    """List lengths of the record that begins at a byte."""
    lengths: list[int] = []
    for item in element.properties:
        width = np.dtype(item.type).itemsize
        if item.count_type:
            count_type = np.dtype(order + item.count_type)
            raw = source[at : at + count_type.itemsize]
            if len(raw) < count_type.itemsize:
                raise _cut_off(name, element)
            value = raw.view(count_type)[0]
            if not 0 <= value <= len(source) or value != int(value):
                raise InputError(
                    f"{name}: a list of element '{element.name}' promises {value:g} values; "
                    "the file is damaged, export it again"
                )
            lengths.append(int(value))
            at += count_type.itemsize + int(value) * width
        else:
            at += width
    if at > len(source):
        raise _cut_off(name, element)
    return tuple(lengths)


def _walk(
    name: str, source: AnyArray, at: int, order: str, element: Element
) -> tuple[IntArray, list[tuple[int, ...]], int]:
    """Where each record begins, the lengths of its lists, and where the last one ends."""
    starts = np.empty(element.count, dtype=np.int64)
    shapes: list[tuple[int, ...]] = []
    sizes: dict[tuple[int, ...], int] = {}
    first, widths = element.properties[0], [np.dtype(item.type).itemsize for item in element.properties]
    text = first.count_type == "f8"
    one_list = bool(first.count_type) and not any(item.count_type for item in element.properties[1:])
    if one_list and (text or first.count_type in ("u1", "i1")):
        # The common case, one list with its length in front, walked without a call for each record.
        raw = source[at:].view(np.float64).tolist() if text else source[at:].tobytes()
        unit = 8 if text else 1
        each, fixed, here = widths[0] // unit, (sum(widths[1:]) + unit) // unit, 0
        for number in range(element.count):
            starts[number] = at + here * unit
            length = raw[here] if here < len(raw) else -1
            shape = (int(length),) if 0 <= length < 128 else _lengths(name, source, at + here * unit, order, element)
            shapes.append(shape)
            here += fixed + each * shape[0]
        at += here * unit
    else:
        for number in range(element.count):
            starts[number] = at
            shape = _lengths(name, source, at, order, element)
            if shape not in sizes:
                sizes[shape] = _record(order, element, shape).itemsize
            shapes.append(shape)
            at += sizes[shape]
    if at > len(source):
        raise _cut_off(name, element)
    return starts, shapes, at


def _columns(element: Element, groups: list[tuple[IntArray, AnyArray]]) -> dict[str, Column]:
    """Put the records of each shape back in order, property by property."""
    columns: dict[str, Column] = {}
    for number, item in enumerate(element.properties):
        key = f"v{number}"
        if not item.count_type:
            if len(groups) == 1:
                columns[item.name] = groups[0][1][key]
                continue
            scalar = np.empty(element.count, dtype=item.type)
            for which, rows in groups:
                scalar[which] = rows[key]
            columns[item.name] = scalar
            continue
        counts = np.empty(element.count, dtype=np.int64)
        for which, rows in groups:
            counts[which] = rows[key].shape[1]
        if len(groups) == 1:
            columns[item.name] = ListColumn(counts, rows[key].reshape(-1))
            continue
        values = np.empty(int(counts.sum()), dtype=item.type)
        begins = np.cumsum(counts) - counts
        for which, rows in groups:
            length = rows[key].shape[1]
            values[begins[which][:, None] + np.arange(length)] = rows[key]
        columns[item.name] = ListColumn(counts, values)
    return columns
