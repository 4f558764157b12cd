"""Deviations in words; the same in every report."""

from __future__ import annotations

from compliance.model import Assessment, Deviation, Disposition, Finding, Level, Verdict
from compliance.wording.decided import failing
from compliance.wording.figures import format_date, format_finding_limits, format_value

__all__ = [
    "DISPOSITION_WORDS",
    "accepted_limits",
    "accepted_sentence",
    "accepted_value",
    "not_accepted",
]

DISPOSITION_WORDS = {Disposition.ACCEPTED: "accepted with deviations"}


def accepted_value(deviation: Deviation) -> str:
    """The value accepted, with unit."""
    return format_value(_finding(deviation))


def accepted_limits(deviation: Deviation) -> str:
    """The limits that it misses, in plain language."""
    return format_finding_limits(_finding(deviation))


def accepted_sentence(deviation: Deviation) -> str:
    """One deviation as a sentence: what, by whom, until when, why."""
    signer = deviation.signer
    signed = "" if signer.name in deviation.accepted_by else f", signed by {signer.name}"
    return (
        f"{deviation.title}: {accepted_value(deviation)} accepted (limit "
        f"{accepted_limits(deviation)}) by {deviation.accepted_by}{signed}, until "
        f"{format_date(deviation.until)}: {deviation.reason}"
    )


def not_accepted(assessment: Assessment) -> tuple[Finding, ...]:
    """What lies outside its limits and decides, and is not accepted."""
    accepted = {deviation.requirement for deviation in assessment.deviations}
    outside = failing(assessment.state.findings)
    return tuple(finding for finding in outside if finding.id not in accepted)


def _finding(deviation: Deviation) -> Finding:
    return Finding(
        id=deviation.requirement,
        title=deviation.title,
        quantity=deviation.quantity,
        unit=deviation.unit,
        level=Level.SHALL,
        statistic="each",
        basis="house",
        clause=None,
        verdict=Verdict.FAIL,
        value=deviation.value,
        limits=deviation.limits,
    )
