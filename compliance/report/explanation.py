"""The explanation of an assessment: values outside, likely causes, changes by calibration."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from compliance.grading.decide import OUTSIDE
from compliance.model import (
    Calibration,
    Finding,
    Level,
    Outcome,
    Reason,
    Verdict,
)
from compliance.model.stated import StatedAssessment, StatedGrade
from compliance.quantities.catalogue import is_stated
from compliance.report.causes import CauseWords, cause_words, kind_of, unexplained
from compliance.report.numbers import format_finding_limits, format_value
from compliance.report.words import remark_text


@dataclass(frozen=True, slots=True)
class Named:
    """A requirement with its id and title."""

    id: str
    title: str
    level: Level


@dataclass(frozen=True, slots=True)
class StatedMiss(Named):
    """A requirement on a field of the job, which readings cannot explain, with its value."""

    value: str
    limits: str


@dataclass(frozen=True, slots=True)
class Unjudged(Named):
    """A requirement that could not be judged."""

    reason: Reason | None
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RemarkWords:
    """A remark as it is shown."""

    kind: str
    text: str


@dataclass(frozen=True, slots=True)
class Explanation:
    """The facts that explain an assessment."""

    number: str
    slot: str | None
    rule: str
    revision: int
    verdict: Outcome
    conditional: bool
    outside: tuple[Named, ...]
    stated: tuple[StatedMiss, ...]
    open: tuple[Unjudged, ...]
    causes: tuple[CauseWords, ...]
    unexplained: str
    """A sentence if some values outside are explained by none of the causes."""
    heading: str
    outside_before: int
    calibration: Calibration | None
    remarks: tuple[RemarkWords, ...]
    printed: Mapping[str, tuple[str, str]]
    """The values before and after calibration by requirement, as the sheet prints them."""


def explanation(stated: StatedAssessment) -> Explanation:
    """Collect the facts that explain an assessment."""
    state, before = stated.state, stated.before
    outside = _outside(state)
    return Explanation(
        number=stated.number,
        slot=stated.slot.slot if stated.slot else None,
        rule=stated.rule.id,
        revision=stated.rule.revision,
        verdict=state.verdict,
        conditional=state.conditional,
        outside=tuple(
            Named(finding.id, finding.title, finding.level)
            for finding in outside
            if not is_stated(finding.quantity)
        ),
        stated=tuple(
            StatedMiss(
                finding.id,
                finding.title,
                finding.level,
                format_value(finding),
                format_finding_limits(finding),
            )
            for finding in outside
            if is_stated(finding.quantity)
        ),
        open=tuple(
            Unjudged(finding.id, finding.title, finding.level, finding.reason, finding.missing)
            for finding in state.findings
            if finding.verdict is Verdict.NOT_ASSESSED
            and finding.reason is not Reason.NOT_APPLICABLE
        ),
        causes=cause_words(stated.causes, state.findings),
        unexplained=unexplained(stated.causes, state.findings),
        heading=stated.heading,
        outside_before=len(_outside(before)) if before else 0,
        calibration=stated.calibration,
        remarks=tuple(RemarkWords(kind_of(each), remark_text(each)) for each in state.remarks),
        printed=_printed(stated.calibration, before, state) if before else {},
    )


def _printed(
    calibration: Calibration | None, before: StatedGrade, after: StatedGrade
) -> Mapping[str, tuple[str, str]]:
    was, is_now = (
        {finding.id: format_value(finding, state.findings) for finding in state.findings}
        for state in (before, after)
    )
    shifts = calibration.shifts if calibration else ()
    return {shift.id: (was[shift.id], is_now[shift.id]) for shift in shifts}


def _outside(state: StatedGrade) -> list[Finding]:
    return [finding for finding in state.findings if finding.verdict in OUTSIDE]
