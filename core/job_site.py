# SPDX-License-Identifier: GPL-3.0-or-later
"""The site's part of a job: build order, marks, setting-out, and what the carving must keep clear of."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar, Final

from .errors import JobError
from .settings import (
    BOX,
    Choice,
    Count,
    FileUnit,
    Flag,
    Listed,
    Quantity,
    Row,
    Settings,
    Text,
    a_length,
    setting,
)

MOST_PREFIX: Final = 8
"""Characters: more would not fit beside a number that is read from a few metres."""


@dataclass(frozen=True)
class Pin(Settings):
    """A piece, by a point inside it (m, job coordinates), and its place in the build order, from 1."""

    TABLE: ClassVar[str] = "build.pins"
    part: tuple[float, float, float] = field(
        metadata={"kind": Row(a_length("0 m", "any"), ("x", "y", "z"), '["1.2 m", "0.4 m", "0.3 m"]')}
    )
    place: int = field(metadata={"kind": Count("1")})


@dataclass(frozen=True)
class Build(Settings):
    """How the pieces are put together: places in the build order that the user wants."""

    TABLE: ClassVar[str] = "build"
    pins: tuple[Pin, ...] = field(default=(), metadata={"rows": Pin})


@dataclass(frozen=True)
class Marking(Settings):
    """How pieces are numbered and marked.

    Attributes
    ----------
    numbering : ``build order``, or round the ``footprint``.
    start, clockwise : where counting round the footprint begins, and which way it goes seen from above.
    prefix : before each number; None: nothing.
    reading : m from which marks should be read.
    """

    TABLE: ClassVar[str] = "marking"
    numbering: str = setting("build order", Choice(("build order", "footprint"), '"build order"'))
    start: str = setting("-x", Choice(("+x", "+y", "-x", "-y"), '"-x"'))
    clockwise: bool = setting(False, Flag())
    prefix: str | None = setting(None, Text('"W-"'))
    reading: float = setting(5.0, a_length("5 m"))

    def __post_init__(self) -> None:
        """Check each value, and that the prefix can stand in a file name."""
        super().__post_init__()
        plain = self.prefix is None or all(c.isascii() and (c.isalnum() or c in "-_") for c in self.prefix)
        if not plain or len(self.prefix or "") > MOST_PREFIX:
            raise JobError(
                f"marking.prefix: {self.prefix!r} cannot stand before a number in a file name; write up to "
                f'{MOST_PREFIX} letters, digits, - or _, for example "W-"',
                "marking.prefix",
            )


@dataclass(frozen=True)
class Datum(Settings):
    """A datum mark: its name; where the scan has it and where it was measured on site, m; whether on the floor."""

    TABLE: ClassVar[str] = "setting_out.marks"
    name: str = field(metadata={"kind": Text('"F1"')})
    scan: tuple[float, float, float] = field(
        metadata={"kind": Row(a_length("0 m", "any"), ("x", "y", "z"), '["0.4 m", "0 m", "0 m"]')}
    )
    site: tuple[float, float, float] = field(
        metadata={"kind": Row(a_length("0 m", "any"), ("x", "y", "z"), '["2.412 m", "0.3 m", "0 m"]')}
    )
    floor: bool = setting(True, Flag())


@dataclass(frozen=True)
class SettingOut(Settings):
    """Setting-out: most m between points along a joint's line, and datum marks; without any they are proposed."""

    TABLE: ClassVar[str] = "setting_out"
    spacing: float = setting(0.25, a_length("250 mm"))
    marks: tuple[Datum, ...] = field(default=(), metadata={"rows": Datum})


_POINT: Final = Row(a_length("0 m", "any"), ("x", "y", "z"), '["4.35 m", "1.74 m", "0 m"]')
_HEIGHTS: Final = Listed(a_length("0 m", "any"), '["0 m", "300 mm", "0 m", "0 m"]')


@dataclass(frozen=True)
class KeepClearBody(Settings):
    """A thing that the carving must not touch: a mesh file or a built-in envelope, and how it stands.

    Attributes
    ----------
    name : what it is called.
    file : mesh (STL, PLY or OBJ), its path relative to the job file; x forward, y left, z up.
    unit : metres per unit of the file's own numbers.
    envelope, size : a built-in one in place of a file, and its (length, width, height) m.
    wheelbase, track, front_overhang, ground_clearance : m, of a vehicle.
    at : (x, y, z) m where the origin of its axes stands; with supports z is the floor under them.
    heading : radians from x towards y.
    supports : (x, y) m of the contact points, body axes; empty: the four wheels of a vehicle, none of others.
    heights : m over the floor of each contact point's pad; empty: all 0.
    stance : on four pads and more ``springs`` or ``rigid``. centre_of_gravity : (x, y, z) m, body axes, for ``rigid``.
    pitch, roll : radians, nose up and left side up, of a body without supports.
    moves : whether it comes along the way in; False: it stands there before.
    """

    TABLE: ClassVar[str] = "keep_clear.bodies"
    name: str = field(metadata={"kind": Text('"boat"')})
    file: str | None = setting(None, Text('"boat.ply"'))
    unit: float = setting(1.0, FileUnit("length", '"mm" or "23.6 mm"'))
    envelope: str | None = setting(None, Choice(("vehicle", "hull", "box"), '"vehicle"'))
    size: tuple[float, float, float] | None = setting(None, Row(a_length("1.6 m"), BOX, '["4.6 m", "1.9 m", "1.6 m"]'))
    wheelbase: float | None = setting(None, a_length("2.9 m"))
    track: float | None = setting(None, a_length("1.5 m"))
    front_overhang: float | None = setting(None, a_length("0.8 m", "not negative"))
    ground_clearance: float = setting(0.2, a_length("200 mm", "not negative"))
    at: tuple[float, float, float] = setting((0.0, 0.0, 0.0), _POINT)
    heading: float = setting(0.0, Quantity("angle", '"90 deg"', "any"))
    supports: tuple[tuple[float, float], ...] = setting(
        (), Listed(Row(a_length("1 m", "any"), ("x", "y"), '["1 m", "0.4 m"]'), '[["1 m", "0.4 m"], ["1 m", "-0.4 m"]]')
    )
    heights: tuple[float, ...] = setting((), _HEIGHTS)
    stance: str = setting("springs", Choice(("springs", "rigid"), '"springs"'))
    centre_of_gravity: tuple[float, float, float] | None = setting(None, _POINT)
    pitch: float = setting(0.0, Quantity("angle", '"6 deg"', "any"))
    roll: float = setting(0.0, Quantity("angle", '"6 deg"', "any"))
    moves: bool = setting(True, Flag())

    def __post_init__(self) -> None:
        """Check each value, and that there is exactly one shape with the dimensions that it needs."""
        super().__post_init__()
        needed = {"vehicle": ("size", "wheelbase", "track", "front_overhang"), "hull": ("size",), "box": ("size",)}
        missing = [key for key in needed.get(self.envelope or "", ()) if getattr(self, key) is None]
        problem = ""
        if (self.file is None) == (self.envelope is None):
            problem = 'has to be either a file or an envelope; write file = "boat.ply" or envelope = "vehicle"'
        elif missing:
            problem = f"is the envelope of a {self.envelope} and lacks {' and '.join(missing)}; write them too"
        elif self.supports and len(self.supports) < 3:
            problem = f"stands on {len(self.supports)} supports; write three or more, or none"
        elif self.heights and len(self.heights) != len(
            self.supports or (4 if self.envelope == "vehicle" else 0) * (0,)
        ):
            problem = f"has {len(self.heights)} heights; write one for each of its supports"
        elif (self.supports or self.envelope == "vehicle") and (self.pitch or self.roll):
            problem = "stands on supports, which give its pitch and roll; write heights instead"
        if problem:
            raise JobError(f'{self.TABLE}: "{self.name}" {problem}', self.TABLE)


@dataclass(frozen=True)
class WayPoint(Settings):
    """A pose on the way in: where the origin of the first body that moves lies, m, and how it is turned there.

    Attributes
    ----------
    at : (x, y, z) m; with supports z is the floor under them.
    heading : radians; None: by `KeepClear.steer`.
    heights : m of each contact point's pad there; empty: as pitch and roll say.
    pitch, roll : radians.
    """

    TABLE: ClassVar[str] = "keep_clear.way_in"
    at: tuple[float, float, float] = field(metadata={"kind": _POINT})
    heading: float | None = setting(None, Quantity("angle", '"90 deg"', "any"))
    heights: tuple[float, ...] = setting((), _HEIGHTS)
    pitch: float = setting(0.0, Quantity("angle", '"6 deg"', "any"))
    roll: float = setting(0.0, Quantity("angle", '"6 deg"', "any"))


@dataclass(frozen=True)
class KeepClear(Settings):
    """What the carving must never touch; without bodies nothing is checked.

    Attributes
    ----------
    clearance : least m from the finished surface (from memory, unverified).
    close_fit : (from, to) m that count as a close fit. facing : m; carved surface farther than this faces nothing.
    tolerance : m by which a least distance on the way may be too large.
    approach : m of a straight way in, in the pose at rest, along the heading; 0: none, or `way_in`.
    way_in : poses before the one at rest, the outermost first.
    steer : headings on the way that are not given: ``kept`` as at rest, or ``along`` the way.
    roll, bounce, sideways : what may come on top at every place of the way, to either side: radians, m, m.
    boards : m between gauge boards; 0: only those of `stations`.
    stations : m forward of the first body's origin at which a gauge board is drawn, besides.
    bodies : what must be kept clear.
    """

    TABLE: ClassVar[str] = "keep_clear"
    clearance: float = setting(0.05, a_length("50 mm", "not negative"))
    close_fit: tuple[float, float] = setting(
        (0.05, 0.12), Row(a_length("50 mm", "not negative"), ("from", "to"), '["50 mm", "120 mm"]')
    )
    facing: float = setting(0.3, a_length("300 mm"))
    tolerance: float = setting(0.001, a_length("1 mm"))
    approach: float = setting(0.0, a_length("6 m", "not negative"))
    steer: str = setting("kept", Choice(("kept", "along"), '"along"'))
    roll: float = setting(0.0, Quantity("angle", '"0.5 deg"', "not negative"))
    bounce: float = setting(0.0, a_length("20 mm", "not negative"))
    sideways: float = setting(0.0, a_length("30 mm", "not negative"))
    boards: float = setting(0.5, a_length("500 mm", "not negative"))
    stations: tuple[float, ...] = setting((), Listed(a_length("0.4 m", "any"), '["-1.2 m", "0.4 m"]'))
    way_in: tuple[WayPoint, ...] = field(default=(), metadata={"rows": WayPoint})
    bodies: tuple[KeepClearBody, ...] = field(default=(), metadata={"rows": KeepClearBody})

    def __post_init__(self) -> None:
        """Check each value, and that there is one way in and a band."""
        super().__post_init__()
        if self.approach > 0.0 and self.way_in:
            raise JobError(
                "keep_clear.approach: there is a way_in as well; write one of the two", "keep_clear.approach"
            )
        if self.close_fit[0] >= self.close_fit[1]:
            raise JobError(
                f"keep_clear.close_fit: {self.close_fit[0]:g} m to {self.close_fit[1]:g} m is no band; write the "
                "smaller first",
                "keep_clear.close_fit",
            )
