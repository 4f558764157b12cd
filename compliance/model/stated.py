"""What an assessment document states: the shape of `schemas/assessment.json`, version 1.

Fields come in the document's order and have its names. Findings, limits, causes and the like are
the model's own; here is only what a document says in fewer words than the model.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from compliance.model.assessment import (
    Calibration,
    Cause,
    Finding,
    Outcome,
    Reason,
    Remark,
    Value,
)
from compliance.model.jobs import Declaration, Display, Disposition, Party, Room
from compliance.model.readings import Certificate
from compliance.model.rules import Change, Decision, Limits, RuleFile


@dataclass(frozen=True, slots=True)
class StatedTool:
    """What computed the assessment."""

    name: str
    version: str
    engine: int


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


@dataclass(frozen=True, slots=True)
class StatedSlot:
    slot: str
    calibrated: datetime | None
    warm_up: float | None
    settings: Mapping[str, Any]
    ambient: str | None
    geometry: str | None
    declared: Mapping[str, Declaration]


@dataclass(frozen=True, slots=True)
class StatedRule:
    id: str
    title: str
    revision: int
    extends: str | None
    digest: str
    files: tuple[RuleFile, ...]
    changes: tuple[Change, ...]


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


@dataclass(frozen=True, slots=True)
class StatedAcceptor:
    name: str
    organisation: str | None
    sha256: str


@dataclass(frozen=True, slots=True)
class StatedDeviation:
    """A deviation as the assessment that it holds for states it."""

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


@dataclass(frozen=True, slots=True)
class StatedGrade:
    """One set of readings of the slot, graded."""

    readings: StatedReadings
    verdict: Outcome
    reason: Reason | None
    conditional: bool
    findings: tuple[Finding, ...]
    remarks: tuple[Remark, ...]


@dataclass(frozen=True, slots=True)
class StatedAssessment:
    """A whole assessment document; its first grade is the slot's own."""

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
    readings: StatedReadings
    verdict: Outcome
    reason: Reason | None
    conditional: bool
    findings: tuple[Finding, ...]
    remarks: tuple[Remark, ...]
    causes: tuple[Cause, ...]
    calibration: Calibration | None
    disposition: Disposition | None
    deviations: tuple[StatedDeviation, ...]
    before: StatedGrade | None
    number: str
