# SPDX-License-Identifier: GPL-3.0-or-later
"""The skin's part of a job: its layers, and what it costs to lay them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar, Final

from .errors import JobError
from .settings import Number, Quantity, Settings, Several, Text, a_length, setting
from .units import parse_quantity

FACES: Final = ("carved", "joint", "base", "back")
"""Names of the triangle classes 0 to 3 that a layer can lie on."""

PLACES: Final = ("outdoors", "indoors", "public")
"""Where the finished work may stand."""

GLASS_DENSITY: Final = 2560.0
"""kg/m3 of E-glass: handbook habit, from memory, unverified."""

RESIN_DENSITY: Final = 1200.0
"""kg/m3 of cured polyester resin: handbook habit, from memory, unverified."""


@dataclass(frozen=True)
class Layer(Settings):
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
    thickness: float | None = setting(None, a_length("2 mm"))
    glass: float | None = setting(None, Quantity("areal mass", '"450 g/m2"'))
    resin_ratio: float | None = setting(None, Number("2.5", without=(0.0,)))
    density: float | None = setting(None, Quantity("density", '"1750 kg/m3"'))
    faces: tuple[str, ...] = setting((), Several(FACES, '["carved"]'))
    edge_return: float = setting(0.0, a_length("50 mm", "not negative"))

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
class Skin(Settings):
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
    bridging: float = setting(0.03, a_length("30 mm", "not negative"))
    catalyst: float = setting(0.02, Number("0.02", high=0.1))
    place: tuple[str, ...] = setting(("outdoors",), Several(PLACES, '["outdoors"]'))


@dataclass(frozen=True)
class Labour(Settings):
    """Work that goes by area: its stage, hours a square metre, and the classes of face that it is done on."""

    TABLE: ClassVar[str] = "cost.labour"
    stage: str = field(metadata={"kind": Text('"laminate"')})
    hours: float = field(metadata={"kind": Number("0.8")})
    faces: tuple[str, ...] = setting(("carved",), Several(FACES, '["carved"]'))


@dataclass(frozen=True)
class Cost(Settings):
    """What is reckoned on top of materials: labour, then overhead and contingency as shares."""

    TABLE: ClassVar[str] = "cost"
    labour: tuple[Labour, ...] = field(default=(), metadata={"rows": Labour})
    overhead: float = setting(0.0, Number("0.15"))
    contingency: float = setting(0.0, Number("0.1"))
