"""The words of the domain as frozen data: no input or output, no arithmetic.

Units everywhere: luminance in cd/m², chromaticity in CIE 1931 x, y, times as
aware `datetime`. Arrays are numpy, shapes given beside each field.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Integers = NDArray[np.int64]
Pair = tuple[float, float]
Triple = tuple[int, int, int]

POSITIONS = (
    "centre",
    "left",
    "right",
    "top",
    "bottom",
    "top-left",
    "top-right",
    "bottom-left",
    "bottom-right",
    "inner-top-left",
    "inner-top-right",
    "inner-bottom-left",
    "inner-bottom-right",
)
"""The 13 named points, after the measuring grid of EBU Tech 3325."""

POSITION_GROUPS: Mapping[str, tuple[str, ...]] = {
    "sides": ("left", "right"),
    "corners": ("top-left", "top-right", "bottom-left", "bottom-right"),
    "5-points": ("centre", "top-left", "top-right", "bottom-left", "bottom-right"),
    "9-points": POSITIONS[:9],
    "13-points": POSITIONS,
}

PATTERNS = ("full", "window", "checkerboard")
BUILT_IN_SETS = ("white", "black", "peak")
TECHNOLOGIES = ("lcd", "oled", "led", "crt", "plasma", "projector")


# ---------------------------------------------------------------- signal


@dataclass(frozen=True, slots=True)
class Encoding:
    """How code values carry the signal (ITU-R BT.2100 Table 9, SMPTE ST 428-1)."""

    name: str
    kind: str
    """`rgb` or `xyz`."""
    bits: int
    narrow: bool

    @property
    def top(self) -> int:
        """The largest code the encoding can carry."""
        return (1 << self.bits) - 1


ENCODINGS: Mapping[str, Encoding] = {
    encoding.name: encoding
    for encoding in (
        Encoding("rgb-8-full", "rgb", 8, False),
        Encoding("rgb-8-narrow", "rgb", 8, True),
        Encoding("rgb-10-full", "rgb", 10, False),
        Encoding("rgb-10-narrow", "rgb", 10, True),
        Encoding("rgb-12-full", "rgb", 12, False),
        Encoding("rgb-12-narrow", "rgb", 12, True),
        Encoding("xyz-12-full", "xyz", 12, False),
    )
}


# ---------------------------------------------------------------- rules


class Level(StrEnum):
    SHALL = "shall"
    SHOULD = "should"


@dataclass(frozen=True, slots=True)
class Limits:
    """A tolerance interval; closed unless `exclusive`. Units are the quantity's."""

    minimum: float | None = None
    maximum: float | None = None
    nominal: float | None = None
    """Stated centre, for print; the interval is already in minimum and maximum."""
    box: Pair | None = None
    """Half widths in x and y about zero offset; excludes minimum and maximum."""
    exclusive: bool = False


@dataclass(frozen=True, slots=True)
class Band:
    """Limits for patches whose nominal target is at most `upto` cd/m²; None is open."""

    upto: float | None
    limits: Limits


@dataclass(frozen=True, slots=True)
class Target:
    """What an ideal display of the rule does with the signal."""

    primaries: tuple[Pair, Pair, Pair]
    primaries_name: str | None
    white: Pair
    white_name: str | None
    curve: str
    """`bt1886`, `power`, `srgb`, `pq`, `hlg` or `dcdm`."""
    exponent: float | None
    """For `power`, and 2.6 for `dcdm`; None otherwise."""
    black: str
    """How the black enters: `lift`, `add` or `none`."""
    black_level: float | None
    """cd/m²; None: as measured."""
    scale: str
    """`relative` (to the measured white) or `absolute`."""
    luminance_white: float
    luminance_peak: float
    container: tuple[Pair, Pair, Pair] | None
    """Primaries of the RGB signal; equal to `primaries` unless wider; None for xyz."""
    container_name: str | None
    system_gamma: float | None
    """HLG only."""


@dataclass(frozen=True, slots=True)
class PatchSet:
    """A named set of patches; `kind` says which of the other fields count."""

    name: str
    kind: str
    """`ramp`, `hues`, `saturations`, `list`, `positions`, `windows` or `repeats`."""
    steps: int | None = None
    """ramp: number of levels with both ends; saturations: steps from white to hue."""
    signal: Pair | None = None
    """ramp: first and last level of normalised signal; None: 0 to 1."""
    hues: tuple[str, ...] = ()
    """hues and saturations: of red, green, blue, cyan, magenta, yellow."""
    neutral: float | None = None
    """hues and saturations: cd/m² that the same drive gives on the neutral axis."""
    patches: tuple[tuple[str, Triple], ...] = ()
    """list: name and code values."""
    encoding: Encoding | None = None
    """list: of its code values."""
    positions: tuple[str, ...] = ()
    """positions: expanded to the 13 names."""
    windows: tuple[float, ...] = ()
    """windows: % of area."""
    repeats: int | None = None
    of: str | None = None
    """positions, windows, repeats: the built-in set that is shown."""
    window: float | None = None
    """% of area; None: the rule's (10 for `peak`)."""
    pattern: str | None = None


@dataclass(frozen=True, slots=True)
class Over:
    """Which patches a requirement is about."""

    patches: tuple[str, ...]
    signal: Pair | None = None
    """Normalised signal level."""
    target: Pair | None = None
    """Nominal target, cd/m²."""
    position: tuple[str, ...] | None = None
    window: tuple[float, ...] | None = None
    pattern: str | None = None
    seconds: tuple[float, ...] | None = None
    only: tuple[str, ...] | None = None
    exclude: tuple[str, ...] = ()
    """`except` in the file: names of patches left out."""


@dataclass(frozen=True, slots=True)
class Requirement:
    """One limit on one quantity. Exactly one of limits, bands, by_patch is set."""

    id: str
    title: str
    quantity: str
    level: Level
    basis: str
    """`published`, `digest`, `memory`, `practice` or `house`."""
    clause: str | None
    over: Over | None
    limits: Limits | None = None
    bands: tuple[Band, ...] = ()
    by_patch: Mapping[str, Limits] = field(default_factory=dict)
    reference: str = "target"
    """`target`, `white` or `centre`."""
    statistic: str = "each"
    """`each`, `mean`, `percentile`, `spread` or `pairwise`."""
    percentile: float | None = None
    floor: float | None = None
    """cd/m² of nominal target below which the quantity is not judged here."""
    above_black: bool = False
    ignore_luminance: bool = False
    diagram: str = "uv"
    """gamut-coverage: `uv` or `xy`."""
    field: str | None = None
    """recorded: which field of the job."""
    declaration: str | None = None
    """declared: which declaration of the slot."""
    displays: str | None = None
    """`projector` or `direct-view`: the only kind the requirement applies to."""


@dataclass(frozen=True, slots=True)
class Decision:
    acceptance: str = "simple"
    """`simple` or `guarded`."""
    confidence: float = 0.95


@dataclass(frozen=True, slots=True)
class RuleFile:
    """A file the rule was made of."""

    path: str
    """As named; for shipped files relative to the shipped `specs` folder."""
    sha256: str
    commit: str | None = None
    dirty: bool | None = None
    """None where it is not known to be under version control."""


@dataclass(frozen=True, slots=True)
class Change:
    """A stated departure of a house rule from its parent."""

    subject: str
    """Dotted key in the rule, e.g. `requirements.white-level`."""
    reason: str
    agreed_by: str
    date: date
    withdrawn: bool = False


@dataclass(frozen=True, slots=True)
class Rule:
    """One deliverable's target and requirements, resolved."""

    id: str
    title: str
    revision: int
    valid_days: int | None
    target: Target
    encoding: Encoding
    """What the plan emits."""
    window: float
    decision: Decision
    sets: Mapping[str, PatchSet]
    requirements: tuple[Requirement, ...]
    resolved: Mapping[str, Any]
    """The rule as plain data, parents and lists inlined, no schema default added."""
    digest: str
    """SHA-256 of `resolved` as RFC 8785 JSON."""
    files: tuple[RuleFile, ...]
    changes: tuple[Change, ...] = ()
    extends: str | None = None
    """`id@revision` of the parent of a house rule."""


# ---------------------------------------------------------------- readings


@dataclass(frozen=True, slots=True)
class Readings:
    """A meter's values in the order of the file; R rows."""

    encoding: Encoding
    codes: Integers
    """(R, 3)"""
    xyz: Array
    """(R, 3), cd/m²"""
    position: tuple[str, ...]
    window: Array
    """(R,), % of area; NaN where the file does not say (the rule's own then)."""
    pattern: tuple[str, ...]
    """Empty where the file does not say."""
    background: tuple[str, ...]
    seconds: Array
    """(R,), s"""
    deviation: Array
    """(R,), standard deviation of the row's mean Y in %; NaN where not said."""
    lines: tuple[int, ...]
    file: str
    """The file's name as the user gave it."""
    data: bytes
    """The file as read."""
    sha256: str

    def __len__(self) -> int:
        return len(self.codes)


# ---------------------------------------------------------------- meter


@dataclass(frozen=True, slots=True)
class LuminanceBand:
    start: float
    """cd/m² from which the band holds."""
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
class Uncertainty:
    """A meter's expanded uncertainties with coverage factor k."""

    k: float
    luminance: tuple[LuminanceBand, ...]
    dark: float
    """cd/m²"""
    chromaticity: tuple[ChromaticityBand, ...]
    saturated: Pair | None
    correlation: float | None
    """of x and y; None: unknown."""
    repeatability: tuple[RepeatabilityBand, ...]


@dataclass(frozen=True, slots=True)
class Certificate:
    number: str | None
    laboratory: str | None
    issued: date | None
    due: date | None


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
    lowest: float
    """cd/m² it can tell from dark; 0 where not stated."""
    settle: float | None
    """s per patch"""
    reading_time: tuple[tuple[float, float], ...]
    """(from cd/m², seconds)"""
    correction: Mapping[str, Any] | None
    document: Mapping[str, Any]
    """The file as plain data."""
    file: str
    sha256: str

    @property
    def chromaticity_floor(self) -> float:
        """cd/m² below which no chromaticity is judged."""
        stated = self.uncertainty.chromaticity if self.uncertainty else ()
        return max(self.lowest, stated[0].start if stated else CHROMATICITY_FLOOR)


CHROMATICITY_FLOOR = 0.1
"""cd/m², where no meter says otherwise."""


# ---------------------------------------------------------------- job


@dataclass(frozen=True, slots=True)
class Party:
    """A client or a facility."""

    name: str
    contact: str | None = None
    address: str | None = None


@dataclass(frozen=True, slots=True)
class Display:
    make: str | None = None
    model: str | None = None
    serial: str | None = None
    technology: str | None = None
    """One of `TECHNOLOGIES`."""
    firmware: str | None = None
    hours: float | None = None


@dataclass(frozen=True, slots=True)
class Room:
    surround: float | None = None
    """cd/m²"""
    ambient: float | None = None
    """lx"""


@dataclass(frozen=True, slots=True)
class People:
    measured_by: str | None = None
    authorised_by: str | None = None


@dataclass(frozen=True, slots=True)
class Declaration:
    """Something the facility states about a slot without a reading."""

    value: float
    """A yes is 1, a no is 0."""
    by: str
    date: date


@dataclass(frozen=True, slots=True)
class ReadingsEntry:
    """Where a slot's readings stand."""

    file: Path
    """Resolved path."""
    named: str
    """As written in the job."""
    measured: datetime
    encoding: Encoding
    ambient: str | None = None
    geometry: str | None = None


@dataclass(frozen=True, slots=True)
class Slot:
    """One calibration memory of a display."""

    name: str
    deliverables: tuple[str, ...]
    """Rule ids, or paths of rule files as written in the job."""
    display: Display
    """The job's, unless the slot names its own."""
    meter: Path | None
    """The job's, unless the slot names its own."""
    calibrated: datetime | None = None
    settings: Mapping[str, Any] = field(default_factory=dict)
    warm_up: float | None = None
    """minutes"""
    declared: Mapping[str, Declaration] = field(default_factory=dict)
    before: ReadingsEntry | None = None
    readings: ReadingsEntry | None = None


@dataclass(frozen=True, slots=True)
class Job:
    reference: str
    title: str | None
    client: Party | None
    facility: Party | None
    suite: str | None
    room: Room
    people: People
    slots: tuple[Slot, ...]
    file: Path
    document: Mapping[str, Any]
    """The file as plain data."""


# ---------------------------------------------------------------- outcome


class Verdict(StrEnum):
    """Of a finding or a point; the statements are ILAC-G8:09/2019's."""

    PASS = "pass"
    CONDITIONAL_PASS = "conditional-pass"
    CONDITIONAL_FAIL = "conditional-fail"
    FAIL = "fail"
    NOT_ASSESSED = "not-assessed"


class Outcome(StrEnum):
    """Of an assessment."""

    COMPLIANT = "compliant"
    NOT_COMPLIANT = "not-compliant"
    UNDECIDED = "undecided"


class Reason(StrEnum):
    MISSING_READINGS = "missing-readings"
    METER = "meter"
    UNCERTAINTY = "uncertainty"
    NOT_APPLICABLE = "not-applicable"
    """Of a finding only: the requirement is for another kind of display."""


Value = float | Pair


@dataclass(frozen=True, slots=True)
class Interval:
    low: Value
    high: Value
    coverage: float
    sided: int
    """1 or 2"""


@dataclass(frozen=True, slots=True)
class Point:
    """One patch in a finding, or one pair's two patches."""

    patch: Triple
    name: str
    position: str
    window: float
    target: float | None
    """Luminance an ideal display would show, cd/m²; None where no target is used."""
    value: Value | None
    limits: Limits | None
    verdict: Verdict | None
    """None where the point is shown, not counted by itself: an anchor, or a part of a mean."""
    interval: Interval | None = None
    probability: float | None = None


@dataclass(frozen=True, slots=True)
class NotJudged:
    """A patch that was measured and could not be judged."""

    patch: Triple
    name: str
    position: str
    window: float
    why: str


@dataclass(frozen=True, slots=True)
class Finding:
    """The outcome of one requirement."""

    id: str
    title: str
    quantity: str
    unit: str
    level: Level
    statistic: str
    basis: str
    clause: str | None
    verdict: Verdict
    reason: Reason | None = None
    value: Value | None = None
    bound: str | None = None
    """`at-least` or `at-most` where only a bound is known, e.g. of a black under the meter's reach."""
    limits: Limits | None = None
    interval: Interval | None = None
    probability: float | None = None
    joint: float | None = None
    points: tuple[Point, ...] = ()
    missing: tuple[str, ...] = ()
    not_judged: tuple[NotJudged, ...] = ()
    note: str | None = None
    """How to read the value, one sentence."""


@dataclass(frozen=True, slots=True)
class Remark:
    """Something noticed that is no requirement; never changes a verdict."""

    kind: str
    text: str


@dataclass(frozen=True, slots=True)
class State:
    """One set of readings of a slot graded against the rule."""

    readings: Readings
    measured: datetime | None
    verdict: Outcome
    reason: Reason | None
    conditional: bool
    findings: tuple[Finding, ...]
    remarks: tuple[Remark, ...]
    charts: Charts


@dataclass(frozen=True, slots=True)
class Assessment:
    """All findings of one slot against one rule, with the verdict."""

    number: str
    assessed: datetime
    valid_until: datetime | None
    heading: str
    """`calibrated`, or `before` where the slot has only readings before calibration."""
    rule: Rule
    job: Job | None
    """The job reduced to this slot; None for a bare readings file."""
    meter: Meter | None
    state: State
    before: State | None
    """Readings of the same slot before calibration, graded too, where both exist."""
    document: Mapping[str, Any]
    """The assessment as plain data, as schemas/assessment.json describes it."""

    @property
    def slot(self) -> Slot | None:
        return self.job.slots[0] if self.job else None

    @property
    def verdict(self) -> Outcome:
        return self.state.verdict


# ---------------------------------------------------------------- charts


@dataclass(frozen=True, slots=True)
class LevelPoint:
    """A neutral patch in the tracking chart; cd/m²."""

    name: str
    target: float
    measured: float
    low: float | None
    """Limits on luminance at this level, where a requirement bands it."""
    high: float | None


@dataclass(frozen=True, slots=True)
class ColourPoint:
    """A coloured or white patch in the u'v' diagram."""

    name: str
    target: Pair
    measured: Pair


@dataclass(frozen=True, slots=True)
class DifferencePoint:
    """A colour difference (CIEDE2000; ΔE_ITP for PQ and HLG) of one patch."""

    name: str
    value: float
    limit: float | None


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
    differences: tuple[DifferencePoint, ...] = ()
    difference_name: str = "ΔE00"
    greys: tuple[GreyPoint, ...] = ()
