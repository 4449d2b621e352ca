# SPDX-License-Identifier: GPL-3.0-or-later
"""TOML text into settings and back, driven by the fields of the settings classes (see `check_settings`)."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import MISSING, fields
from typing import Any, Final, TypeVar

from .errors import JobError
from .settings import Kind, describe
from .units import quoted

T = TypeVar("T")

_BARE: Final = re.compile(r"[A-Za-z0-9_-]{1,60}")
_PLACE: Final = re.compile(r"^(.*?)\s*\(at (?:line (\d+), column (\d+)|end of document)\)$", re.DOTALL)


def read_job(cls: type[T], text: str) -> T:
    """Make a settings object of class `cls`, the job, from TOML text.

    Raises
    ------
    JobError
        The text is not TOML, has an unknown key, or a value that cannot be used.
    """
    text = text.removeprefix("\ufeff")
    try:
        table = tomllib.loads(text)
    except RecursionError:
        raise JobError("not valid TOML: brackets nested too deep; a job needs two levels") from None
    except tomllib.TOMLDecodeError as error:
        raise JobError(_toml_problem(str(error), text)) from None
    except ValueError:  # Python's own limit on the digits of an int
        raise JobError("not valid TOML: a number in it has thousands of digits; write fewer") from None
    return _read_table(cls, cls, table, "")


def write_job(job: Any) -> str:
    """TOML text with every key of `job` that has a value; `read_job` makes an equal object of it."""
    lines: list[str] = []
    for item in fields(job):
        value = getattr(job, item.name)
        if "table" in item.metadata:
            lines += ["", f"[{item.name}]", *_lines(value)]
        else:
            lines.append(f"{item.name} = {item.metadata['kind'].write(value)}")
    return "\n".join(lines) + "\n"


def _lines(settings: Any) -> Iterator[str]:
    for item in fields(settings):
        value = getattr(settings, item.name)
        if "rows" in item.metadata:
            yield f"{item.name} = ["
            yield from (f"  {{ {', '.join(_lines(row))} }}," for row in value)
            yield "]"
        elif value is not None:
            yield f"{item.name} = {item.metadata['kind'].write(value)}"


def _read_table(root: type[Any], cls: type[T], table: Mapping[str, object], path: str) -> T:
    """Make settings of class `cls` from a TOML table that stands at `path` ("" for the whole text)."""
    known = {item.name: item for item in fields(cls)}  # type: ignore[arg-type]
    for key, raw in table.items():
        if key not in known:
            raise _unknown(root, cls, key, raw, path)
    values: dict[str, object] = {}
    for name, item in known.items():
        at = f"{path}.{name}" if path else name
        if name not in table:
            if item.default is MISSING:
                kind: Kind = item.metadata["kind"]
                raise JobError(f"{path}: {name} is missing; write for example {name} = {kind.example}", at)
            continue
        raw = table[name]
        if "table" in item.metadata:
            if not isinstance(raw, dict):
                raise JobError(f"{at}: {describe(raw)} stands where a table is needed; write [{at}]", at)
            values[name] = _read_table(root, item.metadata["table"], raw, at)
        elif "rows" in item.metadata:
            if not isinstance(raw, list) or not all(isinstance(row, dict) for row in raw):
                found = describe(raw) if not isinstance(raw, list) else "a list of something else"
                message = f"{at}: {found} stands where a list of tables is needed; write [ {{ name = ... }}, ... ]"
                raise JobError(message, at)
            rows = enumerate(raw)
            values[name] = tuple(_read_table(root, item.metadata["rows"], row, f"{at}[{n}]") for n, row in rows)
        else:
            values[name] = item.metadata["kind"].read(raw, at)
    try:
        return cls(**values)
    except JobError as error:  # how values fit together: the object does not know its place in a list
        general = path.partition("[")[0]
        message, key = (text.replace(general, path, 1) for text in (str(error), error.key))
        raise JobError(message, key) from None


def _unknown(root: type[Any], cls: type[Any], key: str, raw: object, path: str) -> JobError:
    """Make the error for a key that no setting has; it names the nearest one, of the same table if two are as near."""
    is_table = isinstance(raw, dict)
    best, best_score = "", -1.0
    for table, owner in _tables(root):
        for item in fields(owner):
            if is_table != ("table" in item.metadata):
                continue
            bonus = 0.25 if owner is cls else 0.0  # a slip of the pen is likelier than a wrong table
            score = difflib.SequenceMatcher(None, key, item.name).ratio() + bonus
            if score > best_score:
                place = f" in [{table}]" if table else " at the top, before the first table"
                best, best_score = f"[{item.name}]" if is_table else f"{quoted(item.name)}{place}", score
    name = key if _BARE.fullmatch(key) else quoted(key)
    at = f"{path}.{name}" if path else name
    where = f" in [{path}]" if path else " at the top"
    what = f"unknown table [{at}]" if is_table else f"unknown key {quoted(key)}{where}"
    here = ", ".join(item.name for item in fields(cls))
    return JobError(f"{at}: {what}; the nearest known one is {best}; known{where}: {here}", at)


def _tables(root: type[Any]) -> Iterator[tuple[str, type[Any]]]:
    """Every settings class with the name of its table, the whole job first."""
    yield "", root
    for item in fields(root):
        inner = item.metadata.get("table")
        if inner is not None:
            yield item.name, inner
            for row in fields(inner):
                if "rows" in row.metadata:
                    yield f"{item.name}.{row.name}", row.metadata["rows"]


def _toml_problem(message: str, text: str) -> str:
    match = _PLACE.match(message)
    if match is None:
        return f"not valid TOML: {message}"
    problem, line, column = match.groups()
    place = f"line {line}, column {column}" if line else f"line {len(text.rstrip().splitlines()) or 1}, at the end"
    return f"{place}: not valid TOML: {problem}; texts and quantities stand in double quotes"
