"""Assessments: findings, remarks, causes, verdicts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from typing import Union

from compliance.model.faces import Face
from compliance.model.jobs import Deviation, Disposition, Job, Slot
from compliance.model.measurement import Measurement
from compliance.model.readings import Meter, Readings
from compliance.model.rules import Level, Limits, Rule
from compliance.model.signals import Pair, Place, Triple


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


class Appendix(StrEnum):
    """What a sheet has after its last page, on request."""

    READINGS = "readings"
    """All readings as a table."""


Value = float | Pair

Fact = Union[str, float, date, "Statement", tuple["Fact", ...], None]
"""A number, a name, a day, or several of them."""
Facts = Mapping[str, Fact]
TEXT_V1 = "text-v1"
"""Kind of a statement from a document of version 1, which stored sentences; its variant is the
kind that the document states, and its facts are `Texts`."""


@dataclass(frozen=True, slots=True)
class Texts:
    """Words as stated in a document, in place of the facts behind them."""

    text: str
    title: str = ""
    next_step: str = ""


@dataclass(frozen=True, slots=True)
class Statement:
    """A statement to the reader, as kind and facts; `report/words` turns them into text."""

    kind: str
    facts: Facts | Texts = field(default_factory=dict)
    variant: str = ""
    """A variant of the kind, with its own words."""


@dataclass(frozen=True, slots=True)
class Interval:
    low: Value
    high: Value
    coverage: float
    sided: int
    """1 or 2"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One patch in a finding, or one pair's two patches."""

    patch: Triple
    name: str
    position: str
    window: float
    target: float | None
    """Luminance of an ideal display, cd/m²; None if no target is used."""
    value: Value | None
    interval: Interval | None = None
    limits: Limits | None
    probability: float | None = None
    verdict: Verdict | None
    """None if the point is shown but not decided itself: an anchor, or a part of a mean."""

    @property
    def place(self) -> Place:
        return self.patch, self.position, self.window


@dataclass(frozen=True, slots=True)
class NotJudged:
    """A patch that was measured and could not be judged."""

    patch: Triple
    name: str
    position: str
    window: float
    why: Statement


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """The outcome of one requirement."""

    id: str
    title: str
    quantity: str
    unit: str
    level: Level
    statistic: str
    value: Value | None = None
    bound: str | None = None
    """`at-least` or `at-most` if only a bound is known: with a black below the meter's lowest."""
    interval: Interval | None = None
    limits: Limits | None = None
    probability: float | None = None
    joint: float | None = None
    verdict: Verdict
    reason: Reason | None = None
    basis: str
    clause: str | None
    note: Statement | None = None
    """An explanation of the value."""
    points: tuple[Point, ...] = ()
    missing: tuple[str, ...] = ()
    not_judged: tuple[NotJudged, ...] = ()


@dataclass(frozen=True, slots=True)
class Remark(Statement):
    """An observation that is not a requirement; never changes a verdict."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """A number that supports a cause."""

    kind: str
    """The kind of number."""
    value: float
    unit: str
    facts: Facts | Texts = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Fit:
    """Distance of the readings from the expected light, with a cause and without it."""

    error: float
    """Mean ΔE ITP"""
    error_without: float
    poor: bool
    """Whether the error is larger than that of a good display."""
    error_of_next: float | None = None
    """With the best other explanation instead; None if no other brings the light nearer."""
    next: Statement | None = None
    """The cause in that explanation."""
    next_apart: bool = True
    """Whether the readings tell it from this cause; if they do not, both have one rank."""


@dataclass(frozen=True, slots=True)
class Explained:
    """A requirement outside its limits that a cause explains."""

    id: str
    level: Level
    value: Value
    without: Value | None
    """The value without the cause; None if it is not modelled."""
    together: bool = False
    """Whether that is without the other causes too, as they hide what this one changes."""
    inside: bool = False
    """Whether that is within the limits, which may be those of another patch."""


@dataclass(frozen=True, slots=True)
class Cause(Statement):
    """A likely fault of a slot that misses limits: a model that fits its readings."""

    rank: int = 1
    """From 1; causes of one rank cannot be told apart."""
    explains: tuple[Explained, ...] = ()
    """Requirements that it explains; a cause is told only of a slot where it explains one."""

    share: float | None = None
    """% of the mean error that it removes; None if it is found from single readings."""
    evidence: tuple[Evidence, ...] = ()
    fit: Fit | None = None
    """None if it is found from single readings."""


@dataclass(frozen=True, slots=True)
class Shift:
    """A requirement's value before calibration and after."""

    id: str
    title: str
    unit: str
    before: Value
    after: Value


@dataclass(frozen=True, slots=True)
class Calibration:
    """The changes by the calibration of a slot."""

    white_before: float | None
    """cd/m², of the patch whose luminance the rule limits: white, or peak in high range"""
    white_after: float | None
    lost: float | None
    """% of the luminance before"""
    asked: float
    """cd/m² required after calibration"""
    wanted: float
    """cd/m² needed before it, to allow for the loss"""
    shifts: tuple[Shift, ...]


@dataclass(frozen=True, slots=True)
class GradedReadings:
    """The readings of a measurement graded against its rule."""

    measurement: Measurement
    verdict: Outcome
    reason: Reason | None
    conditional: bool
    findings: tuple[Finding, ...]
    remarks: tuple[Remark, ...]
    causes: tuple[Cause, ...] = ()
    """Likely causes of findings outside their limits, the likeliest first; empty: none known."""

    @property
    def readings(self) -> Readings:
        return self.measurement.graded

    @property
    def measured(self) -> datetime | None:
        """The time of the readings; None if no job states it."""
        return self.measurement.measured


@dataclass(frozen=True, slots=True)
class Assessment:
    """All findings of one slot against one rule, with the verdict."""

    assessed: datetime
    valid_until: datetime | None
    seed: int
    draws: int
    """0 if the meter's file states no uncertainty."""
    state: GradedReadings
    before: GradedReadings | None = None
    """Readings of the same slot before calibration, graded too, if both exist."""
    calibration: Calibration | None = None
    """The changes by calibration, if readings before it exist."""
    deviations: tuple[Deviation, ...] = ()
    """Values outside their limits that the client accepts, in the rule's order."""
    lapsed: tuple[Deviation, ...] = ()
    """Deviations that have no effect (any more); a remark says why."""
    disposition: Disposition | None = None
    """The client's acceptance; the verdict does not change."""
    replaces: str | None = None
    """The number of the assessment whose files it overwrites, as the caller states it."""
    faces: tuple[Face, ...] = ()
    """Faces from outside this program that its sheet is drawn with."""
    appendices: tuple[Appendix, ...] = ()
    number: str = ""
    """Job, slot and rule, and the digest of its document (`documents.numbered`)."""

    @property
    def measurement(self) -> Measurement:
        return self.state.measurement

    @property
    def rule(self) -> Rule:
        return self.measurement.rule

    @property
    def job(self) -> Job | None:
        """Reduced to this slot; None for a bare readings file."""
        return self.measurement.job

    @property
    def meter(self) -> Meter | None:
        return self.measurement.meter

    @property
    def heading(self) -> str:
        """`calibrated`, or `before` if the slot has only readings before calibration."""
        return self.measurement.heading

    @property
    def slot(self) -> Slot | None:
        return self.measurement.slot

    @property
    def verdict(self) -> Outcome:
        return self.state.verdict
