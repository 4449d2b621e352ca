# SPDX-License-Identifier: GPL-3.0-or-later
"""Kinds of setting: how each is read from TOML, checked, and written back.

A settings class is a frozen dataclass, a `Settings`, whose fields are made by `setting`. `check_settings`, called from
its ``__post_init__``, checks every value however the object came about, so that no job with a meaningless value exists.
"""

from __future__ import annotations

import math
import unicodedata
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from datetime import date, time
from numbers import Integral, Real
from typing import Any, ClassVar, Final, TypeVar

from .errors import JobError
from .units import Dimension, format_quantity, parse_quantity, quoted, unit_factor, with_article

T = TypeVar("T")

BOX: Final = ("length", "width", "height")
OPENING: Final = ("width", "height")
"""Names of the sizes in a `Row`: of a box, and of what it passes through."""


class Kind(ABC):
    """What may stand at a key. `example` is TOML text that would be right."""

    example: str

    @abstractmethod
    def check(self, value: object, key: str) -> Any:
        """Return the value of a settings object, in its own type, or raise `JobError` naming `key`."""

    def read(self, raw: object, key: str) -> Any:
        """Return the checked value of what TOML gave, or raise `JobError` naming `key`."""
        return self.check(raw, key)

    @abstractmethod
    def write(self, value: Any) -> str:
        """TOML text that `read` turns into exactly this value."""

    def refuse(self, key: str, problem: str) -> JobError:
        """Make the error for this key: what is wrong, and what to write instead."""
        return JobError(f"{key}: {problem}; write for example {self.example}", key)


def setting(default: T, kind: Kind) -> T:
    """Make a dataclass field of this kind. A default of None makes the key one that may be absent."""
    return field(default=default, metadata={"kind": kind})


def check_settings(settings: Any, table: str) -> None:
    """Check and normalise every field of a settings object in place, from its ``__post_init__``.

    A field's metadata says what stands there: ``kind`` (a value), ``table`` (a settings class of its own) or ``rows``
    (a tuple of settings objects).
    """
    for item in fields(settings):
        key, value = f"{table}.{item.name}" if table else item.name, getattr(settings, item.name)
        if "table" in item.metadata or "rows" in item.metadata:
            rows = "rows" in item.metadata
            wanted: type[Any] = item.metadata["rows" if rows else "table"]
            if rows and isinstance(value, list | tuple):
                value = tuple(value)
                object.__setattr__(settings, item.name, value)
            elif rows:
                raise JobError(f"{key}: {describe(value)} stands where a tuple of {wanted.__name__} is needed", key)
            for one in value if rows else (value,):
                if not isinstance(one, wanted):
                    raise JobError(f"{key}: {describe(one)} stands where a {wanted.__name__} is needed", key)
        elif value is not None or item.default is not None:
            object.__setattr__(settings, item.name, item.metadata["kind"].check(value, key))


class Settings:
    """Settings that check themselves; `TABLE` is the name of their TOML table."""

    TABLE: ClassVar[str]

    def __post_init__(self) -> None:
        check_settings(self, self.TABLE)


def describe(value: object) -> str:
    """Name what was found, for a message."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f"the text {quoted(value)}"
    if isinstance(value, Real):
        return _describe_number(value)
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return "a list"
    if isinstance(value, date | time):
        return "a date or time"
    return f"something of type {type(value).__name__}"


def _describe_number(value: Real) -> str:
    try:
        number = float(value)
    except OverflowError:
        return "a number with hundreds of digits"
    return f"the number {value if abs(number) < 1e15 else format(number, 'g')}"


def _number(kind: Kind, value: object, key: str, what: str) -> float:
    if isinstance(value, bool) or not isinstance(value, Real):
        raise kind.refuse(key, f"{describe(value)} stands where {what} is needed")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise kind.refuse(key, "the number is not finite")
    return number + 0.0


@dataclass(frozen=True)
class Quantity(Kind):
    """A number with a unit, held in SI. `sign`: ``any``, ``not negative`` or ``positive``."""

    dimension: Dimension
    example: str
    sign: str = "positive"

    def check(self, value: object, key: str) -> float:
        """Take an SI number of the right sign."""
        number = _number(self, value, key, with_article(self.dimension))
        return self._signed(number, key, format_quantity(number, self.dimension))

    def read(self, raw: object, key: str) -> float:
        """Take a text with a unit; a bare zero passes where zero makes sense."""
        if isinstance(raw, str):
            try:
                number = parse_quantity(raw, self.dimension)
            except JobError as error:
                raise self.refuse(key, str(error)) from None
            return self._signed(number, key, quoted(raw))
        number = _number(self, raw, key, with_article(self.dimension))
        if number != 0.0:
            raise self.refuse(key, f"{describe(raw)} has no unit and no quotes")
        return self._signed(number, key, "0")

    def write(self, value: float) -> str:
        """Write in the SI unit, with as few digits as give the same float."""
        return f'"{format_quantity(value, self.dimension)}"'

    def _signed(self, number: float, key: str, shown: str) -> float:
        if self.sign != "any" and number < 0.0:
            raise self.refuse(key, f"{shown} is negative, which {with_article(self.dimension)} cannot be here")
        if self.sign == "positive" and number == 0.0:
            raise self.refuse(key, f"{shown} is nothing, and more than nothing is needed")
        return number


def a_length(example: str, sign: str = "positive") -> Quantity:
    """Make the kind of a length, in metres, from an example without quotes."""
    return Quantity("length", f'"{example}"', sign)


@dataclass(frozen=True)
class FileUnit(Quantity):
    """The length of one unit of a file: the bare name of a unit, or a length."""

    def read(self, raw: object, key: str) -> float:
        """Take metres per unit."""
        factor = unit_factor(raw.strip(), self.dimension) if isinstance(raw, str) else None
        return super().read(raw, key) if factor is None else float(factor)


@dataclass(frozen=True)
class Number(Kind):
    """A plain number from `low` to `high`, but none of `without`."""

    example: str
    low: float = 0.0
    high: float = math.inf
    without: tuple[float, ...] = ()

    def check(self, value: object, key: str) -> float:
        """Take a finite number in range."""
        number = _number(self, value, key, "a plain number")
        if not self.low <= number <= self.high or number in self.without:
            low = f"{'above' if self.low in self.without else 'from'} {self.low:g}"
            high = f" {'to under' if self.high in self.without else 'to'} {self.high:g}" if self.high < math.inf else ""
            raise self.refuse(key, f"{number!r} is out of range: a number {low}{high or ' up'}")
        return number

    def write(self, value: float) -> str:
        """Write the shortest digits that give the same float."""
        return repr(value)


@dataclass(frozen=True)
class Count(Kind):
    """A whole number, one or more."""

    example: str

    def check(self, value: object, key: str) -> int:
        """Take a whole number above zero."""
        if isinstance(value, bool) or not isinstance(value, Integral):
            raise self.refuse(key, f"{describe(value)} stands where a whole number without a unit is needed")
        number = int(value)
        if number < 1:
            raise self.refuse(key, f"{describe(number)} is out of range: one or more")
        return number

    def write(self, value: int) -> str:
        """Write decimal digits."""
        return str(value)


@dataclass(frozen=True)
class Flag(Kind):
    """True or false."""

    example: str = "true"

    def check(self, value: object, key: str) -> bool:
        """Take true or false, nothing like them."""
        if not isinstance(value, bool):
            raise self.refuse(key, f"{describe(value)} stands where true or false, without quotes, is needed")
        return value

    def write(self, value: bool) -> str:
        """Write TOML's own words."""
        return "true" if value else "false"


@dataclass(frozen=True)
class Text(Kind):
    """One line of text that can stand in any table, page or drawing (so no control characters)."""

    example: str

    def check(self, value: object, key: str) -> str:
        """Take a text that is not blank."""
        if not isinstance(value, str):
            raise self.refuse(key, f"{describe(value)} stands where a text in quotes is needed")
        if not value.strip():
            raise self.refuse(key, "the text is empty")
        for place, character in enumerate(value):
            if unicodedata.category(character) in ("Cc", "Cs") or character in "\ufffe\uffff":
                raise self.refuse(key, f"character {place + 1} (U+{ord(character):04X}) cannot be printed on one line")
        return value

    def write(self, value: str) -> str:
        """Write a basic string."""
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'


@dataclass(frozen=True)
class Choice(Kind):
    """One of some words."""

    words: tuple[str, ...]
    example: str

    def check(self, value: object, key: str) -> str:
        """Take one of the words."""
        if not isinstance(value, str) or value not in self.words:
            raise JobError(f"{key}: {describe(value)} is not a choice here; write {_listed(self.words)}", key)
        return value

    def write(self, value: str) -> str:
        """Write a basic string."""
        return f'"{value}"'


@dataclass(frozen=True)
class Several(Kind):
    """A list of some words, each once at most; empty only where `empty`."""

    words: tuple[str, ...]
    example: str
    empty: bool = False

    def check(self, value: object, key: str) -> tuple[str, ...]:
        """Take words, in the order given."""
        if not isinstance(value, list | tuple):
            raise self.refuse(key, f"{describe(value)} stands where a list in square brackets is needed")
        for place, word in enumerate(value):
            if not isinstance(word, str) or word not in self.words:
                at = f"{key}[{place}]"
                raise JobError(f"{at}: {describe(word)} is not a choice here; write {_listed(self.words)}", at)
            if word in value[:place]:
                raise self.refuse(key, f"{quoted(word)} stands in the list twice")
        if not value and not self.empty:
            raise self.refuse(key, f"the list is empty: one or more of {_listed(self.words, 'and')}")
        return tuple(value)

    def write(self, value: Sequence[str]) -> str:
        """Write an array of basic strings."""
        return "[" + ", ".join(f'"{word}"' for word in value) + "]"


@dataclass(frozen=True)
class Row(Kind):
    """A fixed number of values of one kind, each with a name, such as length, width and height."""

    item: Kind
    names: tuple[str, ...]
    example: str

    def check(self, value: object, key: str) -> tuple[Any, ...]:
        """Take one value for each name."""
        return tuple(self.item.check(one, f"{key}[{at}]") for at, one in enumerate(self._counted(value, key)))

    def read(self, raw: object, key: str) -> tuple[Any, ...]:
        """Take the same from a TOML array."""
        return tuple(self.item.read(one, f"{key}[{at}]") for at, one in enumerate(self._counted(raw, key)))

    def write(self, value: Sequence[Any]) -> str:
        """Write an array."""
        return "[" + ", ".join(self.item.write(one) for one in value) + "]"

    def _counted(self, value: object, key: str) -> Sequence[object]:
        if not isinstance(value, list | tuple):
            raise self.refuse(key, f"{describe(value)} stands where a list is needed ({', '.join(self.names)})")
        if len(value) != len(self.names):
            have = f"the list has {len(value)} value{'' if len(value) == 1 else 's'}"
            raise self.refuse(key, f"{have} where {len(self.names)} are needed ({', '.join(self.names)})")
        return value


@dataclass(frozen=True)
class Listed(Kind):
    """Any number of values of one kind, none included."""

    item: Kind
    example: str

    def check(self, value: object, key: str) -> tuple[Any, ...]:
        """Take them in the order given."""
        return tuple(self.item.check(one, f"{key}[{at}]") for at, one in enumerate(self._list(value, key)))

    def read(self, raw: object, key: str) -> tuple[Any, ...]:
        """Take the same from a TOML array."""
        return tuple(self.item.read(one, f"{key}[{at}]") for at, one in enumerate(self._list(raw, key)))

    def write(self, value: Sequence[Any]) -> str:
        """Write an array."""
        return "[" + ", ".join(self.item.write(one) for one in value) + "]"

    def _list(self, value: object, key: str) -> Sequence[object]:
        if not isinstance(value, list | tuple):
            raise self.refuse(key, f"{describe(value)} stands where a list in square brackets is needed")
        return value


def _listed(words: Sequence[str], last: str = "or") -> str:
    shown = [quoted(word) for word in words]
    return f"{', '.join(shown[:-1])} {last} {shown[-1]}" if len(shown) > 1 else shown[0]
