"""The content of an assessment document: the shape of `schemas/assessment.json`, version 2.

Fields have the document's order and names. Findings, remarks, causes, limits and others are the
model's own; this module has only the parts that differ in a document: with fewer fields. A key
that documents of version 1 may lack has a default.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from compliance import __version__
from compliance.model.assessment import (
    Appendix,
    Calibration,
    Cause,
    Finding,
    Outcome,
    Reason,
    Remark,
    Value,
)
from compliance.model.faces import Face
from compliance.model.jobs import Declaration, Display, Disposition, Party, Room
from compliance.model.readings import Certificate
from compliance.model.rules import Archived, Change, Decision, Limits, NotCovered, RuleFile


@dataclass(frozen=True, slots=True)
class StatedTool:
    """The tool that computed the assessment."""

    name: str
    version: str
    engine: int


SCHEMA = "https://deliverable-compliance.invalid/schemas/assessment-2.json"
"""The name of the format; nothing is fetched from it."""
SCHEMA_V1 = "https://deliverable-compliance.invalid/schemas/assessment-1.json"
"""The format of the first documents, which are still read."""


def number_digits(schema: Any) -> int:
    """How many hex digits of its digest a document's number ends in."""
    return 8 if schema == SCHEMA_V1 else 32


ENGINE = 2
"""Raised with every changed definition, so that old numbers do not count as tampered with."""

TOOL = StatedTool("deliverable-compliance", __version__, ENGINE)


@dataclass(frozen=True, slots=True)
class StatedJob:
    """The job without its slots."""

    reference: str
    title: str | None
    client: Party | None
    facility: Party | None
    suite: str | None
    measured_by: str | None
    authorised_by: str | None
    digest: str
    measured_as: str | None = None
    authorised_as: str | None = None
    procedure: str | None = None


@dataclass(frozen=True, slots=True)
class StatedSlot:
    slot: str
    calibrated: datetime | None
    warm_up: float | None
    settings: Mapping[str, Any]
    ambient: str | None
    geometry: str | None
    declared: Mapping[str, Declaration]
    nominal_peak: float | None = None


@dataclass(frozen=True, slots=True)
class StatedRule:
    id: str
    title: str
    revision: int
    extends: str | None
    digest: str
    files: tuple[RuleFile, ...]
    changes: tuple[Change, ...]
    archived: Archived | None = None
    not_covered: tuple[NotCovered, ...] = ()


@dataclass(frozen=True, slots=True)
class StatedMeter:
    meter: str
    kind: str
    make: str | None
    model: str | None
    serial: str | None
    lowest: float
    certificate: Certificate | None
    digest: str


@dataclass(frozen=True, slots=True)
class StatedReadings:
    file: str
    """Without its folder."""
    sha256: str
    encoding: str
    measured: datetime | None
    count: int
    """Without those that were replaced."""
    replaced: int = 0
    """Rows whose patch was measured again; not used."""
    started: datetime | None = None
    ended: datetime | None = None
    temperature: float | None = None
    humidity: float | None = None


@dataclass(frozen=True, slots=True)
class StatedAcceptor:
    name: str
    organisation: str | None
    sha256: str
    checked: bool = False


@dataclass(frozen=True, slots=True)
class StatedDeviation:
    """A deviation, as stated in its assessment."""

    file: str
    """The attachment's name."""
    sha256: str
    requirement: str
    assessment: str
    value: Value
    limits: Limits
    reason: str
    accepted_by: str
    accepted: datetime
    until: date
    signer: StatedAcceptor
    up_to: Value | None = None


@dataclass(frozen=True, slots=True)
class StatedOffset:
    """A time of the document, and the offset from UTC that it is printed with."""

    time: datetime
    offset: str
    """As it is written, e.g. `+01:00`."""


@dataclass(frozen=True, slots=True)
class StatedTimezone:
    """The job's time zone, with the offsets that the sheet is printed with."""

    name: str
    """IANA"""
    offsets: tuple[StatedOffset, ...]
    """In order of time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedGrade:
    """One set of readings of the slot, graded."""

    readings: StatedReadings
    verdict: Outcome
    reason: Reason | None
    conditional: bool
    findings: tuple[Finding, ...]
    remarks: tuple[Remark, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedAssessment:
    """A whole assessment document; the keys of `state` are on its top level."""

    schema: str
    assessed: datetime
    valid_until: datetime | None
    tool: StatedTool
    job: StatedJob | None
    slot: StatedSlot | None
    display: Display | None
    room: Room | None
    rule: StatedRule
    meter: StatedMeter | None
    decision: Decision
    seed: int
    draws: int
    heading: str
    state: StatedGrade
    causes: tuple[Cause, ...] = ()
    calibration: Calibration | None = None
    disposition: Disposition | None = None
    deviations: tuple[StatedDeviation, ...] = ()
    lapsed: tuple[StatedDeviation, ...] = ()
    before: StatedGrade | None = None
    replaces: str | None = None
    """The number of the assessment whose files it overwrote."""
    faces: tuple[Face, ...] = ()
    """Faces from outside this program, with the glyphs of the letters that they draw."""
    appendices: tuple[Appendix, ...] = ()
    timezone: StatedTimezone | None = None
    """None: its times are printed in UTC."""
    number: str
