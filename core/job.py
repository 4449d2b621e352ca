# SPDX-License-Identifier: GPL-3.0-or-later
"""The job: every setting, in SI numbers, read from and written to TOML.

Attribute names are the TOML keys; ``Job()`` has all defaults. Every value is checked when a settings object is made,
by whatever way: a meaningless one raises `JobError` with the dotted key. All classes are frozen and hashable.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar, Final

from .errors import JobError
from .job_template import job_template
from .job_text import read_job, write_job
from .settings import (
    Choice,
    Count,
    FileUnit,
    Flag,
    Listed,
    Number,
    Quantity,
    Row,
    Several,
    Text,
    check_settings,
    setting,
)
from .units import parse_quantity

__all__ = [
    "FACES",
    "MEND_STEPS",
    "SMALL_STEPS",
    "BlockUp",
    "Build",
    "Carving",
    "Cost",
    "Datum",
    "Foam",
    "Job",
    "Joints",
    "KeepClear",
    "KeepClearBody",
    "Labour",
    "Layer",
    "Limits",
    "LoadSpace",
    "Marking",
    "Pin",
    "SettingOut",
    "Skin",
    "Taped",
    "WayPoint",
    "job_template",
]

FACES: Final = ("carved", "joint", "base", "back")
"""Names of the triangle classes 0 to 3 that a layer can lie on."""

PLACES: Final = ("outdoors", "indoors", "public")
"""Where the finished work may stand."""

GLASS_DENSITY: Final = 2560.0
"""kg/m3 of E-glass: handbook habit, from memory, unverified."""

RESIN_DENSITY: Final = 1200.0
"""kg/m3 of cured polyester resin: handbook habit, from memory, unverified."""

MEND_STEPS: Final = ("weld", "doubles", "split", "orient", "floor", "crumbs", "fill", "remesh")
"""Steps that mend a scan, in the order in which they help each other."""

SMALL_STEPS: Final = ("weld", "doubles", "split", "orient", "crumbs", "fill")
"""What loses nothing that a carver would see: corners move by a tenth of a millimetre at most; loose scraps under the
crumb size and triangles without area go; holes no wider than the fill size get a patch."""

MOST_PREFIX: Final = 8
"""Characters: more would not fit beside a number that is read from a few metres."""

_BOX: Final = ("length", "width", "height")
_OPENING: Final = ("width", "height")


class _Settings:
    """Settings that check themselves; `TABLE` is the name of their TOML table."""

    TABLE: ClassVar[str]

    def __post_init__(self) -> None:
        check_settings(self, self.TABLE)


def _length(example: str, sign: str = "positive") -> Quantity:
    return Quantity("length", f'"{example}"', sign)


@dataclass(frozen=True)
class Taped(_Settings):
    """A taped distance: the points `a` and `b` of the scan, m, after unit and up and before scaling; the length, m."""

    TABLE: ClassVar[str] = "carving.taped"
    a: tuple[float, float, float] = field(
        metadata={"kind": Row(_length("0 m", "any"), ("x", "y", "z"), '["0.4 m", "0 m", "1.1 m"]')}
    )
    b: tuple[float, float, float] = field(
        metadata={"kind": Row(_length("0 m", "any"), ("x", "y", "z"), '["2.9 m", "0.1 m", "1.2 m"]')}
    )
    length: float = field(metadata={"kind": _length("2500 mm")})


@dataclass(frozen=True)
class Carving(_Settings):
    """How to read the carving's file, and what to mend in it.

    Attributes
    ----------
    unit : metres per unit of the file's own numbers.
    up : the file's axis that points up.
    base : ``close`` an open base, or take it ``as-is`` (then an open base is refused).
    mend : ``small``: what loses nothing that a carver would see (`SMALL_STEPS`); ``none``: refuse what is not a solid;
        ``steps``: those of `steps`.
    steps : names out of `MEND_STEPS`, in the order in which they are done; read where `mend` is ``steps``.
    crumb : m3; a smaller body is a crumb.
    fill : m; the widest hole that is filled.
    deviation : m that a new skin may lie from the scan, for the step ``remesh``.
    taped : taped distances, by which the scan is scaled.
    """

    TABLE: ClassVar[str] = "carving"
    unit: float = setting(1.0, FileUnit("length", '"mm" or "23.6 mm"'))
    up: str = setting("z", Choice(("x", "y", "z", "-x", "-y", "-z"), '"z"'))
    base: str = setting("close", Choice(("close", "as-is"), '"close"'))
    mend: str = setting("small", Choice(("small", "none", "steps"), '"small"'))
    steps: tuple[str, ...] = setting(SMALL_STEPS, Several(MEND_STEPS, '["weld", "orient", "fill"]'))
    crumb: float = setting(1e-3, Quantity("volume", '"1 l"', "not negative"))
    fill: float = setting(0.03, _length("30 mm", "not negative"))
    deviation: float = setting(0.005, _length("5 mm"))
    taped: tuple[Taped, ...] = field(default=(), metadata={"rows": Taped})


@dataclass(frozen=True)
class Foam(_Settings):
    """The foam: billet (length, width, height) m, density kg/m3, kerf m."""

    TABLE: ClassVar[str] = "foam"
    billet: tuple[float, float, float] = setting(
        (2.44, 1.22, 0.61), Row(_length("610 mm"), _BOX, '["2440 mm", "1220 mm", "610 mm"]')
    )
    density: float = setting(15.0, Quantity("density", '"15 kg/m3"'))
    kerf: float = setting(0.003, _length("3 mm", "not negative"))


@dataclass(frozen=True)
class BlockUp(_Settings):
    """How the billets were stacked.

    Attributes
    ----------
    built : ``unknown``, ``planned`` or ``as-given``.
    origin : (x, y, z) of a corner of the first course, metres, job coordinates.
    rotation : about z, radians.
    stagger : share of a billet's length from course to course, 0 to under 1.
    position : of a planned block-up: ``fewest`` searches origin and rotation for fewest billets, ``given`` takes them.
    offsets : (along, across) metres of each course from the first up, over again; empty: by stagger.
    heights : metres of each course from the first up, the last for all above; empty: that of the billet.
    margin : m of foam to leave outside the carving when blocking out.
    can_covers : m2 of glue line that one can of adhesive bonds.
    """

    TABLE: ClassVar[str] = "blockup"
    built: str = setting("unknown", Choice(("unknown", "planned", "as-given"), '"unknown"'))
    origin: tuple[float, float, float] = setting(
        (0.0, 0.0, 0.0), Row(_length("0 m", "any"), ("x", "y", "z"), '["0 m", "0 m", "0 m"]')
    )
    rotation: float = setting(0.0, Quantity("angle", '"0 deg"', "any"))
    stagger: float = setting(0.5, Number("0.5", high=1.0, without=(1.0,)))
    position: str = setting("fewest", Choice(("fewest", "given"), '"fewest"'))
    offsets: tuple[tuple[float, float], ...] = setting(
        (), Listed(Row(_length("0 m", "any"), ("along", "across"), '["1.22 m", "0 m"]'), '[["0 m", "0 m"]]')
    )
    heights: tuple[float, ...] = setting((), Listed(_length("610 mm"), '["610 mm", "300 mm"]'))
    margin: float = setting(0.02, _length("20 mm", "not negative"))
    can_covers: float = setting(10.0, Quantity("area", '"10 m2"'))


@dataclass(frozen=True)
class Layer(_Settings):
    """One layer of the skin. It gives its mass in exactly one way: mass; glass and resin_ratio; density and thickness.

    Attributes
    ----------
    name : what it is called in the take-off.
    mass : kg/m2.
    thickness : m; beside mass or glass it may stand too, as the measured thickness.
    glass : kg/m2 of dry glass fibre.
    resin_ratio : resin to glass by mass.
    density : kg/m3.
    faces : classes of face that it lies on, of `FACES`.
    edge_return : how far it is turned in over the rim of a joint face, m.
    """

    TABLE: ClassVar[str] = "skin.layers"
    name: str = field(metadata={"kind": Text('"paint"')})
    mass: float | None = setting(None, Quantity("areal mass", '"0.4 kg/m2"'))
    thickness: float | None = setting(None, _length("2 mm"))
    glass: float | None = setting(None, Quantity("areal mass", '"450 g/m2"'))
    resin_ratio: float | None = setting(None, Number("2.5", without=(0.0,)))
    density: float | None = setting(None, Quantity("density", '"1750 kg/m3"'))
    faces: tuple[str, ...] = setting((), Several(FACES, '["carved"]'))
    edge_return: float = setting(0.0, _length("50 mm", "not negative"))

    def __post_init__(self) -> None:
        """Check each value, and that the mass is given in one way."""
        super().__post_init__()
        given = [key for key in ("mass", "glass", "resin_ratio", "density") if getattr(self, key) is not None]
        ways = "write one of: mass; glass and resin_ratio; density and thickness"
        if given not in (["mass"], ["glass", "resin_ratio"], ["density"]):
            have = " and ".join(given) if given else "nothing"
            raise JobError(f'{self.TABLE}: "{self.name}" has {have} to give its mass by; {ways}', self.TABLE)
        if self.density is not None and self.thickness is None:
            raise JobError(f'{self.TABLE}: "{self.name}" has a density and no thickness; {ways}', self.TABLE)

    @property
    def areal_mass(self) -> float:
        """Mass of the finished layer, kg/m2."""
        if self.mass is not None:
            return self.mass
        if self.glass is not None and self.resin_ratio is not None:
            return self.glass * (1.0 + self.resin_ratio)
        if self.density is not None and self.thickness is not None:
            return self.density * self.thickness
        raise JobError(f'{self.TABLE}: "{self.name}" has no mass', self.TABLE)

    @property
    def depth(self) -> float:
        """Thickness of the finished layer, m: as given; for a laminate by the rule of mixtures, without voids.

        A layer given by mass alone, such as paint, counts as 0. With glass share w = 1 / (1 + resin_ratio) the
        laminate's density is 1 / (w / `GLASS_DENSITY` + (1 - w) / `RESIN_DENSITY`).
        """
        if self.thickness is not None:
            return self.thickness
        if self.glass is None or self.resin_ratio is None:
            return 0.0
        return self.glass / GLASS_DENSITY + self.glass * self.resin_ratio / RESIN_DENSITY


_DEFAULT_LAYERS: Final = (
    Layer("barrier foil", mass=0.17, thickness=0.0001, faces=FACES),
    Layer(
        "laminate", glass=parse_quantity("4 oz/ft2", "areal mass"), resin_ratio=2.5, faces=("carved",), edge_return=0.05
    ),
    Layer("light laminate", glass=0.45, resin_ratio=2.5, faces=("joint", "back")),
    Layer("cement coat", density=1750.0, thickness=0.002, faces=("carved",)),
    Layer("paint", mass=0.4, faces=("carved",)),
)
"""Masses of foil and paint: from memory, unverified. Cement coat: middle of a maker's 1.7 to 1.8 kg/m2 a millimetre.
Resin ratio: printed figures run from 2.0 to 3.3. The rest: common practice, no source."""


@dataclass(frozen=True)
class Skin(_Settings):
    """Everything over the foam.

    Attributes
    ----------
    layers : from the foam out.
    bridging : scale of the covering area, m; 0: exact.
    catalyst : share of the resin's mass.
    place : where the work will stand; ``indoors`` and ``public`` bring questions about its fire rating, ``outdoors``
        the wind.
    """

    TABLE: ClassVar[str] = "skin"
    layers: tuple[Layer, ...] = field(default=_DEFAULT_LAYERS, metadata={"rows": Layer})
    bridging: float = setting(0.03, _length("30 mm", "not negative"))
    catalyst: float = setting(0.02, Number("0.02", high=0.1))
    place: tuple[str, ...] = setting(("outdoors",), Several(PLACES, '["outdoors"]'))


@dataclass(frozen=True)
class Limits(_Settings):
    """What a piece may be.

    Attributes
    ----------
    piece_mass : kg, the workshop's own limit.
    crew, person_lift : people, and kg for each.
    doorway : (width, height) m of the narrowest opening on the way.
    hand_room : m to leave at each side of the doorway.
    min_thickness : m of foam.
    wire_length : m, the longest straight stretch of wire in foam (common practice, no source).
    within_billet : every piece must come out of one billet.
    any_pose : a piece may be carried and loaded lying or tipped.
    piece_size : (length, width, height) m of the finished piece; None: see `Job.size_limit`.
    """

    TABLE: ClassVar[str] = "limits"
    piece_mass: float = setting(50.0, Quantity("mass", '"50 kg"'))
    crew: int = setting(4, Count("4"))
    person_lift: float = setting(25.0, Quantity("mass", '"25 kg"'))
    doorway: tuple[float, float] = setting((3.0, 3.0), Row(_length("3.0 m"), _OPENING, '["3.0 m", "3.0 m"]'))
    hand_room: float = setting(0.05, _length("50 mm", "not negative"))
    min_thickness: float = setting(0.075, _length("75 mm", "not negative"))
    wire_length: float = setting(1.5, _length("1.5 m"))
    within_billet: bool = setting(False, Flag())
    any_pose: bool = setting(False, Flag())
    piece_size: tuple[float, float, float] | None = setting(
        None, Row(_length("1.2 m"), _BOX, '["2.4 m", "1.2 m", "1.2 m"]')
    )

    def __post_init__(self) -> None:
        """Check each value, and that a piece can pass the doorway at all."""
        super().__post_init__()
        if 2.0 * self.hand_room >= min(self.doorway):
            raise JobError(
                f"limits.hand_room: twice {self.hand_room:g} m leaves nothing of a doorway {self.doorway[0]:g} m wide "
                f"and {self.doorway[1]:g} m high; write less hand_room or a larger doorway",
                "limits.hand_room",
            )


@dataclass(frozen=True)
class Joints(_Settings):
    """How joints are made and judged.

    Attributes
    ----------
    kinds : kinds of joint to propose.
    fit : m, part of the gap.
    seams : what a joint may follow.
    seam_tolerance : m from a seam that still count as on it.
    on_seam_note, on_seam_warn : shares of the visible line, 0 to 1, under which a joint is noted or warned about.
    sliver : m, least distance to a glue plane that is not followed; 0: not checked.
    hidden : what proposed joints aim at: 0 few pieces, 1 well hidden joints.
    pieces : how many pieces to propose, where that many can be made; None: as few as the plan comes to.
    allowance : ``trim``: the gap takes the room for the skin off both faces; ``grow``: only the kerf is lost, and the
        finished job is longer.
    """

    TABLE: ClassVar[str] = "joints"
    kinds: tuple[str, ...] = setting(("plane", "profile"), Several(("plane", "profile"), '["plane", "profile"]'))
    fit: float = setting(0.005, _length("5 mm", "not negative"))
    seams: tuple[str, ...] = setting(
        ("crevice", "marked", "glue line"),
        Several(("crevice", "marked", "glue line"), '["crevice", "marked", "glue line"]', empty=True),
    )
    seam_tolerance: float = setting(0.025, _length("25 mm"))
    on_seam_note: float = setting(0.6, Number("0.6", high=1.0))
    on_seam_warn: float = setting(0.35, Number("0.35", high=1.0))
    sliver: float = setting(0.06, _length("60 mm", "not negative"))
    allowance: str = setting("trim", Choice(("trim", "grow"), '"trim"'))
    hidden: float = setting(0.5, Number("0.5", high=1.0))
    pieces: int | None = setting(None, Count("20"))


@dataclass(frozen=True)
class LoadSpace(_Settings):
    """The load space: size (length, width, height) m, door (width, height) m, payload kg."""

    TABLE: ClassVar[str] = "load_space"
    size: tuple[float, float, float] = setting(
        (12.0, 2.33, 2.35), Row(_length("2.35 m"), _BOX, '["12.0 m", "2.33 m", "2.35 m"]')
    )
    door: tuple[float, float] = setting((2.28, 2.26), Row(_length("2.28 m"), _OPENING, '["2.28 m", "2.26 m"]'))
    payload: float = setting(20000.0, Quantity("mass", '"20000 kg"'))


@dataclass(frozen=True)
class Labour(_Settings):
    """Work that goes by area: its stage, hours a square metre, and the classes of face that it is done on."""

    TABLE: ClassVar[str] = "cost.labour"
    stage: str = field(metadata={"kind": Text('"laminate"')})
    hours: float = field(metadata={"kind": Number("0.8")})
    faces: tuple[str, ...] = setting(("carved",), Several(FACES, '["carved"]'))


@dataclass(frozen=True)
class Cost(_Settings):
    """What is reckoned on top of materials: labour, then overhead and contingency as shares."""

    TABLE: ClassVar[str] = "cost"
    labour: tuple[Labour, ...] = field(default=(), metadata={"rows": Labour})
    overhead: float = setting(0.0, Number("0.15"))
    contingency: float = setting(0.0, Number("0.1"))


@dataclass(frozen=True)
class Pin(_Settings):
    """A piece, by a point inside it (m, job coordinates), and its place in the build order, from 1."""

    TABLE: ClassVar[str] = "build.pins"
    part: tuple[float, float, float] = field(
        metadata={"kind": Row(_length("0 m", "any"), ("x", "y", "z"), '["1.2 m", "0.4 m", "0.3 m"]')}
    )
    place: int = field(metadata={"kind": Count("1")})


@dataclass(frozen=True)
class Build(_Settings):
    """How the pieces are put together: places in the build order that the user wants."""

    TABLE: ClassVar[str] = "build"
    pins: tuple[Pin, ...] = field(default=(), metadata={"rows": Pin})


@dataclass(frozen=True)
class Marking(_Settings):
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
    reading: float = setting(5.0, _length("5 m"))

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
class Datum(_Settings):
    """A datum mark: its name; where the scan has it and where it was measured on site, m; whether on the floor."""

    TABLE: ClassVar[str] = "setting_out.marks"
    name: str = field(metadata={"kind": Text('"F1"')})
    scan: tuple[float, float, float] = field(
        metadata={"kind": Row(_length("0 m", "any"), ("x", "y", "z"), '["0.4 m", "0 m", "0 m"]')}
    )
    site: tuple[float, float, float] = field(
        metadata={"kind": Row(_length("0 m", "any"), ("x", "y", "z"), '["2.412 m", "0.3 m", "0 m"]')}
    )
    floor: bool = setting(True, Flag())


@dataclass(frozen=True)
class SettingOut(_Settings):
    """Setting-out: most m between points along a joint's line, and datum marks; without any they are proposed."""

    TABLE: ClassVar[str] = "setting_out"
    spacing: float = setting(0.25, _length("250 mm"))
    marks: tuple[Datum, ...] = field(default=(), metadata={"rows": Datum})


_POINT: Final = Row(_length("0 m", "any"), ("x", "y", "z"), '["4.35 m", "1.74 m", "0 m"]')
_HEIGHTS: Final = Listed(_length("0 m", "any"), '["0 m", "300 mm", "0 m", "0 m"]')


@dataclass(frozen=True)
class KeepClearBody(_Settings):
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
    size: tuple[float, float, float] | None = setting(None, Row(_length("1.6 m"), _BOX, '["4.6 m", "1.9 m", "1.6 m"]'))
    wheelbase: float | None = setting(None, _length("2.9 m"))
    track: float | None = setting(None, _length("1.5 m"))
    front_overhang: float | None = setting(None, _length("0.8 m", "not negative"))
    ground_clearance: float = setting(0.2, _length("200 mm", "not negative"))
    at: tuple[float, float, float] = setting((0.0, 0.0, 0.0), _POINT)
    heading: float = setting(0.0, Quantity("angle", '"90 deg"', "any"))
    supports: tuple[tuple[float, float], ...] = setting(
        (), Listed(Row(_length("1 m", "any"), ("x", "y"), '["1 m", "0.4 m"]'), '[["1 m", "0.4 m"], ["1 m", "-0.4 m"]]')
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
class WayPoint(_Settings):
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
class KeepClear(_Settings):
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
    clearance: float = setting(0.05, _length("50 mm", "not negative"))
    close_fit: tuple[float, float] = setting(
        (0.05, 0.12), Row(_length("50 mm", "not negative"), ("from", "to"), '["50 mm", "120 mm"]')
    )
    facing: float = setting(0.3, _length("300 mm"))
    tolerance: float = setting(0.001, _length("1 mm"))
    approach: float = setting(0.0, _length("6 m", "not negative"))
    steer: str = setting("kept", Choice(("kept", "along"), '"along"'))
    roll: float = setting(0.0, Quantity("angle", '"0.5 deg"', "not negative"))
    bounce: float = setting(0.0, _length("20 mm", "not negative"))
    sideways: float = setting(0.0, _length("30 mm", "not negative"))
    boards: float = setting(0.5, _length("500 mm", "not negative"))
    stations: tuple[float, ...] = setting((), Listed(_length("0.4 m", "any"), '["-1.2 m", "0.4 m"]'))
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


@dataclass(frozen=True)
class Job(_Settings):
    """All settings of a job. Change one with `dataclasses.replace`."""

    TABLE: ClassVar[str] = ""
    title: str = setting("Wrenlow Skerry outcrop", Text('"Wrenlow Skerry outcrop"'))
    carving: Carving = field(default=Carving(), metadata={"table": Carving})
    foam: Foam = field(default=Foam(), metadata={"table": Foam})
    blockup: BlockUp = field(default=BlockUp(), metadata={"table": BlockUp})
    skin: Skin = field(default=Skin(), metadata={"table": Skin})
    limits: Limits = field(default=Limits(), metadata={"table": Limits})
    joints: Joints = field(default=Joints(), metadata={"table": Joints})
    load_space: LoadSpace = field(default=LoadSpace(), metadata={"table": LoadSpace})
    cost: Cost = field(default=Cost(), metadata={"table": Cost})
    build: Build = field(default=Build(), metadata={"table": Build})
    marking: Marking = field(default=Marking(), metadata={"table": Marking})
    setting_out: SettingOut = field(default=SettingOut(), metadata={"table": SettingOut})
    keep_clear: KeepClear = field(default=KeepClear(), metadata={"table": KeepClear})

    @property
    def size_limit(self) -> tuple[float, float, float]:
        """Largest finished piece (length, width, height), metres.

        ``limits.piece_size``, or else the load space's length and, in width and in height, the smaller of its door
        and the doorway less hand room at both sides.
        """
        if self.limits.piece_size is not None:
            return self.limits.piece_size
        room = 2.0 * self.limits.hand_room
        width, height = (
            min(door, way - room) for door, way in zip(self.load_space.door, self.limits.doorway, strict=True)
        )
        return self.load_space.size[0], width, height

    @classmethod
    def from_toml(cls, text: str) -> Job:
        """Read a job; an absent key means its default.

        Raises
        ------
        JobError
            Not TOML (with the line), an unknown key (with the nearest known one), or a value that cannot be used
            (with its dotted key, and what to write instead).
        """
        return read_job(cls, text)

    def to_toml(self) -> str:
        """TOML from which `from_toml` makes an equal job: every key, in SI units, shortest digits."""
        return write_job(self)
