"""Readings, and the meter that took them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from compliance.model.signals import Array, Encoding, Integers, Triple


@dataclass(frozen=True, slots=True)
class ReplacedReading:
    """A row of a file whose patch was measured again: kept, shown and not used."""

    line: int
    codes: Triple
    position: str
    window: float
    """% of area; NaN if the file does not state it (then the rule's)."""
    xyz: tuple[float, float, float]
    """cd/m²"""
    reason: str


@dataclass(frozen=True, slots=True)
class Readings:
    """A meter's values in the order of the file; R rows, without those that were replaced."""

    encoding: Encoding
    codes: Integers
    """(R, 3)"""
    xyz: Array
    """(R, 3), cd/m²"""
    position: tuple[str, ...]
    window: Array
    """(R,), % of area; NaN if the file does not state it (then the rule's)."""
    pattern: tuple[str, ...]
    """Empty if the file does not state it."""
    background: tuple[str, ...]
    seconds: Array
    """(R,), s"""
    deviation: Array
    """(R,), standard deviation of the row's mean Y in %; NaN if not stated."""
    lines: tuple[int, ...]
    file: str
    """The file's name as the user gave it."""
    data: bytes
    """The file as read."""
    sha256: str
    form: str = "csv"
    """The file's format."""
    replaced: tuple[ReplacedReading, ...] = ()

    def __len__(self) -> int:
        return len(self.codes)

    @property
    def file_name(self) -> str:
        """The file's name without its folder."""
        return self.file.replace("\\", "/").rsplit("/", 1)[-1]


@dataclass(frozen=True, slots=True)
class LuminanceBand:
    start: float
    """cd/m² from which the band applies."""
    relative: float
    """Expanded, %."""


@dataclass(frozen=True, slots=True)
class ChromaticityBand:
    start: float
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class RepeatabilityBand:
    start: float
    relative: float
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Linearity:
    """The parts of the uncertainty that differ from level to level; expanded."""

    relative: float | None = None
    """Of luminance, %; None: all of it."""
    xy: float | None = None
    """Of x and of y; None: a third of it."""
    reference: str | None = None
    """What the levels were compared with."""


@dataclass(frozen=True, slots=True)
class Saturated:
    """Expanded uncertainty of saturated colours, on top of the bands."""

    x: float
    y: float
    relative: float | None = None
    """Of luminance, %; None: not stated."""


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """A meter's expanded uncertainties with coverage factor k; None: not stated."""

    k: float
    luminance: tuple[LuminanceBand, ...]
    linearity: Linearity
    dark: float | None
    """cd/m²"""
    resolution: float | None
    """The last digit, cd/m²"""
    chromaticity: tuple[ChromaticityBand, ...]
    saturated: Saturated | None
    correlation: float | None
    """of x and y"""
    repeatability: tuple[RepeatabilityBand, ...]


@dataclass(frozen=True, slots=True)
class Accreditation:
    """Of a calibration laboratory."""

    body: str
    """Who accredits it."""
    number: str


@dataclass(frozen=True, slots=True)
class Certificate:
    number: str | None = None
    laboratory: str | None = None
    issued: date | None = None
    due: date | None = None
    """The last day, which lasts to 24:00 UTC."""
    accreditation: Accreditation | None = None
    """The laboratory's."""


@dataclass(frozen=True, slots=True)
class Meter:
    name: str
    kind: str
    """`spectroradiometer` or `colorimeter`."""
    make: str | None
    model: str | None
    serial: str | None
    certificate: Certificate | None
    uncertainty: Uncertainty | None
    stated_lowest: float | None
    """The lowest cd/m² that it can distinguish from dark; None if not stated."""
    settle: float | None
    """s per patch"""
    reading_time: tuple[tuple[float, float], ...]
    """(from cd/m², seconds)"""
    correction: Mapping[str, Any] | None = field(hash=False)
    document: Mapping[str, Any] = field(hash=False)
    """The file as plain data."""
    file: str
    sha256: str

    @property
    def lowest(self) -> float:
        """The lowest cd/m² that it can distinguish from dark: as stated, else where its first band
        of luminance begins; 0 without either."""
        if self.stated_lowest is not None:
            return self.stated_lowest
        return self.uncertainty.luminance[0].start if self.uncertainty else 0.0

    @property
    def chromaticity_floor(self) -> float:
        """cd/m² below which no chromaticity is judged."""
        stated = self.uncertainty.chromaticity if self.uncertainty else ()
        return max(self.lowest, stated[0].start if stated else CHROMATICITY_FLOOR)


CHROMATICITY_FLOOR = 0.1
"""cd/m², if the meter's file states no other."""
