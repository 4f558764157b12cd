"""The basis of a verdict: its mark, the findings that decide it, and the number that are met."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from compliance.grading.decide import OUTSIDE, uncertainty_unknown
from compliance.model import (
    Assessment,
    Decision,
    Finding,
    GradedReadings,
    Level,
    Outcome,
    Reason,
    Verdict,
)
from compliance.report.nearness import farthest_first, nearest_first, told

INSIDE = (Verdict.PASS, Verdict.CONDITIONAL_PASS)
WORST_FIRST = (
    Verdict.FAIL,
    Verdict.CONDITIONAL_FAIL,
    Verdict.NOT_ASSESSED,
    Verdict.CONDITIONAL_PASS,
)
INKS: Mapping[Verdict, str] = {
    Verdict.PASS: "teal",
    Verdict.CONDITIONAL_PASS: "ochre",
    Verdict.CONDITIONAL_FAIL: "plum",
    Verdict.FAIL: "plum",
    Verdict.NOT_ASSESSED: "grey",
}
"""Names of the inks of mark and word; every output has its own shade, and its own drawing of the
mark: filled disc, disc filled on the left, ring with a bar and half filled, ring with a bar,
dotted ring."""


def outcome_mark(verdict: Outcome, conditional: bool) -> Verdict:
    """The mark of an assessment's verdict."""
    if verdict is Outcome.COMPLIANT:
        return Verdict.CONDITIONAL_PASS if conditional else Verdict.PASS
    if verdict is Outcome.NOT_COMPLIANT:
        return Verdict.CONDITIONAL_FAIL if conditional else Verdict.FAIL
    return Verdict.NOT_ASSESSED


# ---------------------------------------------------------------- which findings


def allows_something(verdict: str | None, disposition: str | None) -> bool:
    """Whether a verdict allows something that can end: it is compliant, or accepted."""
    return verdict == Outcome.COMPLIANT or disposition is not None


def applies(finding: Finding) -> bool:
    """Whether the requirement is for this kind of display."""
    return finding.reason is not Reason.NOT_APPLICABLE


def shall_of(state: GradedReadings) -> tuple[Finding, ...]:
    """The findings that decide a verdict."""
    return tuple(row for row in state.findings if row.level is Level.SHALL and applies(row))


def failing(findings: Iterable[Finding], level: Level = Level.SHALL) -> tuple[Finding, ...]:
    """The findings of one level that are outside their limits."""
    return tuple(row for row in findings if row.level is level and row.verdict in OUTSIDE)


def with_uncertainty(state: GradedReadings) -> bool:
    """Whether any finding was decided with a probability."""
    return any(finding.probability is not None for finding in state.findings)


def met_conditionally(finding: Finding) -> bool:
    """Whether a value is inside its limits, but not surely."""
    return finding.verdict in INSIDE and (
        finding.verdict is Verdict.CONDITIONAL_PASS or uncertainty_unknown(finding)
    )


def left_open(finding: Finding, decision: Decision) -> bool:
    """Whether a value inside its limits is not accepted, because it is not proven."""
    return decision.acceptance == "guarded" and met_conditionally(finding)


def finding_mark(finding: Finding, decision: Decision) -> Verdict:
    """The mark of a finding: open where it is inside and not accepted, half where not surely."""
    if left_open(finding, decision):
        return Verdict.NOT_ASSESSED
    return Verdict.CONDITIONAL_PASS if met_conditionally(finding) else finding.verdict


def deciding(state: GradedReadings, decision: Decision) -> tuple[Finding, ...]:
    """The findings that decide the verdict; if all are met, those nearest their limits first.

    Findings outside are sorted by how far out they are, those not assessed are in the rule's
    order, those left open by how uncertain they are.
    """
    shall = shall_of(state)
    outside = failing(shall)
    if outside:
        return farthest_first(outside)
    if state.verdict is Outcome.UNDECIDED and state.reason is not Reason.UNCERTAINTY:
        return tuple(row for row in shall if row.verdict is Verdict.NOT_ASSESSED)
    unproven = nearest_first(row for row in shall if left_open(row, decision))
    return unproven or nearest_first(filter(told, shall))


def matters(finding: Finding) -> bool:
    """Whether a reader should look at a finding: it is not simply met."""
    return applies(finding) and finding.verdict is not Verdict.PASS


def rank(finding: Finding) -> tuple[bool, bool, int]:
    """Place of a finding, worst first: shall before should, outside before open before near.

    Findings that do not matter come last, and keep their order.
    """
    if not matters(finding):
        return True, False, 0
    return False, finding.level is Level.SHOULD, WORST_FIRST.index(finding.verdict)


def not_accepted(assessment: Assessment) -> tuple[Finding, ...]:
    """The deciding findings outside their limits that the client has not accepted."""
    accepted = {deviation.requirement for deviation in assessment.deviations}
    outside = failing(assessment.state.findings)
    return tuple(finding for finding in outside if finding.id not in accepted)


# ---------------------------------------------------------------- how many


@dataclass(frozen=True, slots=True)
class Counts:
    """Findings counted by their result."""

    total: int
    met: int
    conditional: int
    """Inside their limits, but not surely, because of the measurement uncertainty."""
    unknown: int
    """Of these, the ones whose uncertainty is not stated, not at every point."""
    left_open: int
    outside: int
    not_assessed: int


def count(findings: Iterable[Finding], decision: Decision) -> Counts:
    """Findings counted by their result under a rule of acceptance."""
    counted = tuple(findings)
    verdicts = [finding.verdict for finding in counted]
    unproven = sum(left_open(finding, decision) for finding in counted)
    return Counts(
        total=len(counted),
        met=sum(map(verdicts.count, INSIDE)) - unproven,
        conditional=sum(map(met_conditionally, counted)),
        unknown=sum(row.verdict is Verdict.PASS and uncertainty_unknown(row) for row in counted),
        left_open=unproven,
        outside=sum(map(verdicts.count, OUTSIDE)),
        not_assessed=verdicts.count(Verdict.NOT_ASSESSED),
    )
