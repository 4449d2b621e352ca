# SPDX-License-Identifier: GPL-3.0-or-later
"""The job: every setting, in SI numbers, read from and written to TOML.

Attribute names are the TOML keys; ``Job()`` has all defaults. Every value is checked when a settings object is made,
by whatever way: a meaningless one raises `JobError` with the dotted key. All classes are frozen and hashable.
Those of the skin and of the site are written in `job_skin` and `job_site`, and imported from here all the same.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar, Final

from .errors import JobError
from .job_site import Build, Datum, KeepClear, KeepClearBody, Marking, Pin, SettingOut, WayPoint
from .job_skin import FACES, PLACES, Cost, Labour, Layer, Skin
from .job_template import job_template
from .job_text import read_job, write_job
from .settings import (
    BOX,
    OPENING,
    Choice,
    Count,
    FileUnit,
    Flag,
    Listed,
    Number,
    Quantity,
    Row,
    Settings,
    Several,
    Text,
    a_length,
    setting,
)

__all__ = [
    "FACES",
    "MEND_STEPS",
    "PLACES",
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

MEND_STEPS: Final = ("weld", "doubles", "split", "orient", "floor", "crumbs", "fill", "remesh")
"""Steps that mend a scan, in the order in which they help each other."""

SMALL_STEPS: Final = ("weld", "doubles", "split", "orient", "crumbs", "fill")
"""What loses nothing that a carver would see: corners move by a tenth of a millimetre at most; loose scraps under the
crumb size and triangles without area go; holes no wider than the fill size get a patch."""


@dataclass(frozen=True)
class Taped(Settings):
    """A taped distance: the points `a` and `b` of the scan, m, after unit and up and before scaling; the length, m."""

    TABLE: ClassVar[str] = "carving.taped"
    a: tuple[float, float, float] = field(
        metadata={"kind": Row(a_length("0 m", "any"), ("x", "y", "z"), '["0.4 m", "0 m", "1.1 m"]')}
    )
    b: tuple[float, float, float] = field(
        metadata={"kind": Row(a_length("0 m", "any"), ("x", "y", "z"), '["2.9 m", "0.1 m", "1.2 m"]')}
    )
    length: float = field(metadata={"kind": a_length("2500 mm")})


@dataclass(frozen=True)
class Carving(Settings):
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
    fill: float = setting(0.03, a_length("30 mm", "not negative"))
    deviation: float = setting(0.005, a_length("5 mm"))
    taped: tuple[Taped, ...] = field(default=(), metadata={"rows": Taped})


@dataclass(frozen=True)
class Foam(Settings):
    """The foam: billet (length, width, height) m, density kg/m3, kerf m."""

    TABLE: ClassVar[str] = "foam"
    billet: tuple[float, float, float] = setting(
        (2.44, 1.22, 0.61), Row(a_length("610 mm"), BOX, '["2440 mm", "1220 mm", "610 mm"]')
    )
    density: float = setting(15.0, Quantity("density", '"15 kg/m3"'))
    kerf: float = setting(0.003, a_length("3 mm", "not negative"))


@dataclass(frozen=True)
class BlockUp(Settings):
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
    picked : points on glue lines that show, three or more of one line together, metres, job coordinates; a block-up
        ``as-given`` is moved onto them, one line after another.
    margin : m of foam to leave outside the carving when blocking out.
    can_covers : m2 of glue line that one can of adhesive bonds.
    """

    TABLE: ClassVar[str] = "blockup"
    built: str = setting("unknown", Choice(("unknown", "planned", "as-given"), '"unknown"'))
    origin: tuple[float, float, float] = setting(
        (0.0, 0.0, 0.0), Row(a_length("0 m", "any"), ("x", "y", "z"), '["0 m", "0 m", "0 m"]')
    )
    rotation: float = setting(0.0, Quantity("angle", '"0 deg"', "any"))
    stagger: float = setting(0.5, Number("0.5", high=1.0, without=(1.0,)))
    position: str = setting("fewest", Choice(("fewest", "given"), '"fewest"'))
    offsets: tuple[tuple[float, float], ...] = setting(
        (), Listed(Row(a_length("0 m", "any"), ("along", "across"), '["1.22 m", "0 m"]'), '[["0 m", "0 m"]]')
    )
    heights: tuple[float, ...] = setting((), Listed(a_length("610 mm"), '["610 mm", "300 mm"]'))
    picked: tuple[tuple[tuple[float, float, float], ...], ...] = setting(
        (),
        Listed(
            Listed(
                Row(a_length("0 m", "any"), ("x", "y", "z"), '["0.4 m", "-0.6 m", "0.61 m"]'),
                '[["0.4 m", "-0.6 m", "0.61 m"], ["1.9 m", "-0.7 m", "0.61 m"], ["1.2 m", "0.6 m", "0.61 m"]]',
            ),
            '[[["0.4 m", "-0.6 m", "0.61 m"], ["1.9 m", "-0.7 m", "0.61 m"], ["1.2 m", "0.6 m", "0.61 m"]]]',
        ),
    )
    margin: float = setting(0.02, a_length("20 mm", "not negative"))
    can_covers: float = setting(10.0, Quantity("area", '"10 m2"'))


@dataclass(frozen=True)
class Limits(Settings):
    """What a piece may be.

    Attributes
    ----------
    piece_mass : kg, the workshop's own limit.
    crew, person_lift : people, and kg for each.
    doorway : (width, height) m of the narrowest opening on the way.
    hand_room : m to leave at each side of the doorway.
    min_thickness : m of foam.
    wire_length : m, the longest straight stretch of wire in foam (common practice, no source).
    within_billet : every piece must come out of one billet. Where the block-up is known (`BlockUp.built`) a piece must
        lie within one billet of it; where it is unknown its box of foam must go into a billet, turned as you like.
    any_pose : a piece may be carried and loaded lying or tipped.
    piece_size : (length, width, height) m of the finished piece; None: see `Job.size_limit`.
    """

    TABLE: ClassVar[str] = "limits"
    piece_mass: float = setting(50.0, Quantity("mass", '"50 kg"'))
    crew: int = setting(4, Count("4"))
    person_lift: float = setting(25.0, Quantity("mass", '"25 kg"'))
    doorway: tuple[float, float] = setting((3.0, 3.0), Row(a_length("3.0 m"), OPENING, '["3.0 m", "3.0 m"]'))
    hand_room: float = setting(0.05, a_length("50 mm", "not negative"))
    min_thickness: float = setting(0.075, a_length("75 mm", "not negative"))
    wire_length: float = setting(1.5, a_length("1.5 m"))
    within_billet: bool = setting(False, Flag())
    any_pose: bool = setting(False, Flag())
    piece_size: tuple[float, float, float] | None = setting(
        None, Row(a_length("1.2 m"), BOX, '["2.4 m", "1.2 m", "1.2 m"]')
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
class Joints(Settings):
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
    compare_planes : plan with planes alone too, and say what profiles gain.
    allowance : ``trim``: the gap takes the room for the skin off both faces; ``grow``: only the kerf is lost, and the
        finished job is longer.
    """

    TABLE: ClassVar[str] = "joints"
    kinds: tuple[str, ...] = setting(("plane", "profile"), Several(("plane", "profile"), '["plane", "profile"]'))
    fit: float = setting(0.005, a_length("5 mm", "not negative"))
    seams: tuple[str, ...] = setting(
        ("crevice", "marked", "glue line"),
        Several(("crevice", "marked", "glue line"), '["crevice", "marked", "glue line"]', empty=True),
    )
    seam_tolerance: float = setting(0.025, a_length("25 mm"))
    on_seam_note: float = setting(0.6, Number("0.6", high=1.0))
    on_seam_warn: float = setting(0.35, Number("0.35", high=1.0))
    sliver: float = setting(0.06, a_length("60 mm", "not negative"))
    allowance: str = setting("trim", Choice(("trim", "grow"), '"trim"'))
    hidden: float = setting(0.5, Number("0.5", high=1.0))
    pieces: int | None = setting(None, Count("20"))
    compare_planes: bool = setting(False, Flag())


@dataclass(frozen=True)
class LoadSpace(Settings):
    """The load space: size (length, width, height) m, door (width, height) m, payload kg."""

    TABLE: ClassVar[str] = "load_space"
    size: tuple[float, float, float] = setting(
        (12.0, 2.33, 2.35), Row(a_length("2.35 m"), BOX, '["12.0 m", "2.33 m", "2.35 m"]')
    )
    door: tuple[float, float] = setting((2.28, 2.26), Row(a_length("2.28 m"), OPENING, '["2.28 m", "2.26 m"]'))
    payload: float = setting(20000.0, Quantity("mass", '"20000 kg"'))


@dataclass(frozen=True)
class Job(Settings):
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
