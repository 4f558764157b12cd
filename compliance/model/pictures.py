"""What the sheet's pictures are drawn from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from compliance.model.signals import Pair


@dataclass(frozen=True, slots=True)
class LevelPoint:
    """A neutral patch in the tracking chart; cd/m²."""

    name: str
    target: float
    measured: float
    low: float | None
    """Limits on luminance at this level, where a requirement bands it."""
    high: float | None
    guard_low: float | None = None
    """Limits drawn in by the guard band of 1.64 u: measured values between them are proven."""
    guard_high: float | None = None


@dataclass(frozen=True, slots=True)
class ColourPoint:
    """A coloured or white patch in the u'v' diagram."""

    name: str
    target: Pair
    measured: Pair


@dataclass(frozen=True, slots=True)
class DifferencePoint:
    """A distance of one patch from where it should lie."""

    name: str
    value: float
    limit: float | None
    bound: float | None = None
    """What the true value is below with 95 %, where that is known."""


@dataclass(frozen=True, slots=True)
class Differences:
    """The distances of several patches, all of one quantity."""

    patches: Literal["greys", "colours"]
    name: str
    """The quantity's short name, e.g. `ΔE ITP`."""
    points: tuple[DifferencePoint, ...]
    from_white: bool = False
    """Taken from the measured white, not from the target."""


@dataclass(frozen=True, slots=True)
class GreyPoint:
    """A neutral patch's offset from the measured white."""

    target: float
    """cd/m²"""
    du: float
    dv: float


@dataclass(frozen=True, slots=True)
class Charts:
    """What the sheet's pictures are drawn from; all computed, nothing to decide."""

    levels: tuple[LevelPoint, ...] = ()
    target_triangle: tuple[Pair, Pair, Pair] | None = None
    """u'v' of red, green, blue."""
    measured_triangle: tuple[Pair, Pair, Pair] | None = None
    target_white: Pair | None = None
    measured_white: Pair | None = None
    colours: tuple[ColourPoint, ...] = ()
    differences: tuple[Differences, ...] = ()
    """Of the greys, for each distance that the rule limits; then of the colours."""
    greys: tuple[GreyPoint, ...] = ()
    white_ellipse: tuple[Pair, ...] = ()
    """u'v' outline that holds the true white with 95 %; empty without uncertainty."""
    white_limit: tuple[Pair, ...] = ()
    """u'v' outline of the shall limit on the white's chromaticity; empty where there is none."""
