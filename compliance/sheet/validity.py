"""Until when the verdict of page 1 holds, or what to do next."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

from compliance.model import Assessment, Outcome, Reason, State
from compliance.sheet.rows import listed
from compliance.wording import capital, format_date, format_time, with_uncertainty
from compliance.wording.accepted import DISPOSITION_WORDS, not_accepted

__all__ = ["validity"]

DAY = timedelta(days=1)
NAMED = 3
"""Requirements named before the rest is counted."""


def validity(assessment: Assessment) -> str:
    """One sentence or two, in bold below the verdict."""
    if assessment.heading == "before":
        return "Calibrate the slot, then measure it again."
    if assessment.disposition is not None:
        words = DISPOSITION_WORDS[assessment.disposition]
        return f"{capital(words)}, by the client, until {_accepted_end(assessment)}."
    if assessment.verdict is Outcome.NOT_COMPLIANT:
        return _put_right(assessment)
    if assessment.verdict is Outcome.UNDECIDED:
        return _what_next(assessment.state)
    if assessment.valid_until is None:
        return "The rule sets no end of validity."
    until = format_time(assessment.valid_until)
    measured = assessment.state.measured
    if measured is not None and assessment.valid_until <= measured:
        return "No time of validity: the meter's certificate was past its date."
    if assessment.valid_until <= assessment.assessed:
        return f"Was valid until {until}; measure again."
    if _certificate_ends(assessment):
        return f"Valid until {until}, when the meter's certificate ends."
    return f"Valid until {until}. Measure again before then, or when a setting changes."


def _accepted_end(assessment: Assessment) -> str:
    """The day that the client named, or what ends before it."""
    first = min(each.until for each in assessment.deviations)
    if assessment.valid_until == datetime.combine(first, time(), UTC) + DAY:
        return f"the end of {format_date(first)} (UTC)"
    ending = "the meter's certificate ends"
    why = ending if _certificate_ends(assessment) else "the rule asks for a new measurement"
    return (
        f"{format_time(assessment.valid_until)}, when {why}, before the day that the client named"
    )


def _certificate_ends(assessment: Assessment) -> bool:
    certificate = assessment.meter.certificate if assessment.meter else None
    due = certificate.due if certificate else None
    return due is not None and assessment.valid_until == datetime.combine(due, time(), UTC) + DAY


def _put_right(assessment: Assessment) -> str:
    if not assessment.deviations:
        return "Put right what lies outside, then measure again."
    left = not_accepted(assessment)
    if not left:
        return "What lies outside is accepted; measure what stays open, then assess again."
    names = listed([finding.title for finding in left], NAMED)
    return f"Accepted only in part. Put right what is not, then measure again: {names}."


def _what_next(state: State) -> str:
    if state.reason is Reason.MISSING_READINGS:
        return "Measure what is missing, then assess again."
    if state.reason is Reason.METER:
        return "Measure again with a meter that reaches far enough."
    if not with_uncertainty(state):
        return "State the meter's uncertainty in its file, then assess again."
    return "Measure again with less uncertainty, or adjust the slot away from the limits."
