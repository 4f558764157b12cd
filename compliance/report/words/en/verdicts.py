"""Verdicts, reasons and bases of limits in words, and what there is to do next."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta

from compliance.grading.decide import OUTSIDE
from compliance.model import (
    Assessment,
    Decision,
    Deviation,
    Disposition,
    Finding,
    GradedReadings,
    Outcome,
    Reason,
    Verdict,
)
from compliance.model.stated import StatedDeviation
from compliance.report.numbers import (
    format_accepted_value,
    format_date,
    format_finding_limits,
    format_time,
)
from compliance.report.verdict import (
    Counts,
    count,
    left_open,
    not_accepted,
    shall_of,
    with_uncertainty,
)
from compliance.report.words.en.grammar import capital, listed

VERDICT_WORDS: Mapping[Verdict, str] = {
    Verdict.PASS: "pass",
    Verdict.CONDITIONAL_PASS: "conditional pass",
    Verdict.CONDITIONAL_FAIL: "conditional fail",
    Verdict.FAIL: "fail",
    Verdict.NOT_ASSESSED: "not assessed",
}
OUTCOME_WORDS: Mapping[Outcome, str] = {
    Outcome.COMPLIANT: "compliant",
    Outcome.NOT_COMPLIANT: "not compliant",
    Outcome.UNDECIDED: "undecided",
}
REASON_WORDS: Mapping[Reason, str] = {
    Reason.MISSING_READINGS: "readings are missing",
    Reason.METER: "beyond what the meter can tell",
    Reason.UNCERTAINTY: "the measurement uncertainty leaves it open",
    Reason.NOT_APPLICABLE: "does not apply to this kind of display",
}
BASIS_WORDS: Mapping[str, str] = {
    "published": "stands in the published document named",
    "digest": "of a published document, read in a public digest of it, not in the original",
    "memory": "recalled from a published document, unchecked",
    "practice": "what the trade does; no source",
    "house": "set in-house or agreed with the client",
}
DISPOSITION_WORDS = {Disposition.ACCEPTED: "accepted with deviations"}


OPEN = "open"
"""Of a value inside its limits that guarded acceptance does not accept."""


def verdict_word(verdict: Verdict, reason: Reason | None = None) -> str:
    """The printed word of a finding's verdict."""
    return "not applicable" if reason is Reason.NOT_APPLICABLE else VERDICT_WORDS[verdict]


def outcome_word(verdict: Outcome, conditional: bool = False) -> str:
    """The printed word of an assessment's verdict."""
    word = OUTCOME_WORDS[verdict]
    if not conditional or verdict is Outcome.UNDECIDED:
        return word
    met = verdict is Outcome.COMPLIANT
    return f"conditionally {word}" if met else f"{word} (within the uncertainty)"


def reason_word(reason: Reason | None) -> str:
    """Why something was not assessed, in a few words."""
    return REASON_WORDS[reason] if reason else "not assessed"


def deciding_title(deciding: Finding, decision: Decision) -> str:
    """What the findings that decide are, by the first of them."""
    if deciding.verdict in OUTSIDE:
        return "Outside limits"
    if deciding.verdict is Verdict.NOT_ASSESSED:
        return "Not assessed"
    return "Left open" if left_open(deciding, decision) else "Nearest their limits"


def tally_words(counts: Counts, *, of: str = "") -> str:
    """How many findings are met, e.g. `9 of 9 met, 4 of them conditionally`.

    `of` names them: with `requirements`, it begins `9 of 9 requirements met`.
    """
    parts = [" ".join(filter(None, (f"{counts.met} of {counts.total}", of, "met")))]
    if counts.conditional and not counts.left_open:
        every = counts.conditional == counts.met
        some = ("all " if counts.met > 1 else "") if every else f"{counts.conditional} of them "
        parts.append(f"{some}conditionally")
    parts += [
        f"{number} {words}"
        for number, words in (
            (counts.left_open, "left open"),
            (counts.outside, "not met"),
            (counts.not_assessed, "not assessed"),
        )
        if number
    ]
    return ", ".join(parts)


# ---------------------------------------------------------------- the verdict in a sentence


def outcome_sentence(assessment: Assessment, state: GradedReadings | None = None) -> str:
    """The verdict as one plain sentence about the slot, or the display without a job."""
    state = state or assessment.state
    rule, slot = assessment.rule, assessment.slot
    before = state is assessment.before or assessment.heading == "before"
    counts = count(shall_of(state), rule.decision)
    subject = f"slot {slot.name}" if slot else "the display"
    start = f"Before calibration, {subject}" if before else capital(subject)
    if state.verdict is Outcome.COMPLIANT:
        met = f"meets every requirement of {rule.title}{_nearly(counts)}"
        return f"{start}, as measured, {met}."
    if state.verdict is Outcome.NOT_COMPLIANT:
        several = f"{counts.outside} of the {counts.total} requirements"
        missed = several if counts.total > 1 else "the requirement"
        near = "; the measurement uncertainty reaches across the limit" if state.conditional else ""
        return f"{start}, as measured, does not meet {missed} of {rule.title}{near}."
    question = f"Whether {subject} meets {rule.title}"
    if before:
        question = f"{start}: whether it met {rule.title}"
    return f"{question} cannot be said: {_open(state, counts)}."


def _nearly(counts: Counts) -> str:
    """How many are met so narrowly that they may in truth be missed."""
    if not counts.conditional:
        return ""
    which = f"{counts.conditional} of the {counts.total} " if counts.total > 1 else ""
    if counts.conditional == counts.total > 1:
        which = "all "
    near = counts.conditional - counts.unknown
    whose = "its limit" if near == 1 else "their limits"
    why = []
    if near:
        of = f" of {near}" if counts.unknown and near > 1 else ""
        if counts.unknown and near == 1:
            whose = "the limit of 1"
        why.append(f"reaches across {whose}" if not of else f"reaches across the limits{of}")
    if counts.unknown:
        of = f" for {counts.unknown}" if near else ""
        why.append(f"is not stated{of}")
    return f"; {which}only conditionally, as the measurement uncertainty {' and '.join(why)}"


def _open(state: GradedReadings, counts: Counts) -> str:
    """What leaves the verdict open."""
    if state.reason is Reason.UNCERTAINTY:
        why = "" if with_uncertainty(state) else "is not known, which "
        which = f"{counts.left_open} of the {counts.total} requirements"
        return f"the measurement uncertainty {why}leaves {which} open"
    if not counts.not_assessed:
        return "no requirement could be assessed"
    which = f"{counts.not_assessed} of the {counts.total} requirements"
    if state.reason is Reason.METER:
        return f"{which} stay open; what they ask is beyond what the meter can tell"
    return f"readings are missing for {which}"


# ---------------------------------------------------------------- how long it holds, what is next

MOST_NAMED = 3
"""Requirements named before the rest is counted."""


def validity(assessment: Assessment) -> str:
    """How long the verdict holds, or what to do next, in a sentence or two."""
    if assessment.heading == "before":
        return "Calibrate the slot, then measure it again."
    if assessment.disposition is not None:
        words = capital(DISPOSITION_WORDS[assessment.disposition])
        return f"{words}, by the client, until {_accepted_end(assessment)}."
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
        return f"Expired since {until}: measure again."
    if _certificate_ends(assessment):
        return f"Measure again by {until}, when the meter's certificate ends."
    return f"Measure again by {until}, or when a setting changes."


def _accepted_end(assessment: Assessment) -> str:
    """The day that the client named, or what ends before it."""
    first = min(deviation.until for deviation in assessment.deviations)
    if assessment.valid_until == _end_of(first):
        return f"the end of {format_date(first)} (UTC)"
    ending = "the meter's certificate ends"
    why = ending if _certificate_ends(assessment) else "the rule asks for a new measurement"
    until = format_time(assessment.valid_until)
    return f"{until}, when {why}, before the day that the client named"


def _certificate_ends(assessment: Assessment) -> bool:
    certificate = assessment.meter.certificate if assessment.meter else None
    due = certificate.due if certificate else None
    return due is not None and assessment.valid_until == _end_of(due)


def _end_of(day: date) -> datetime:
    return datetime.combine(day, time(), UTC) + timedelta(days=1)


def _put_right(assessment: Assessment) -> str:
    if not assessment.deviations:
        return "Correct the values outside their limits, then measure again."
    left = not_accepted(assessment)
    if not left:
        return "What lies outside is accepted; measure what stays open, then assess again."
    names = listed([finding.title for finding in left], MOST_NAMED)
    return f"Accepted only in part. Correct the others, then measure again: {names}."


def _what_next(state: GradedReadings) -> str:
    if state.reason is Reason.MISSING_READINGS:
        return "Measure what is missing, then assess again."
    if state.reason is Reason.METER:
        return "Measure again with a meter that reaches far enough."
    if not with_uncertainty(state):
        return "State the meter's uncertainty in its file, then assess again."
    return "Measure again with less uncertainty, or adjust the slot away from the limits."


# ---------------------------------------------------------------- what a client accepts


def accepted_sentence(deviation: Deviation) -> str:
    """One deviation as a sentence: what, by whom, until when, why."""
    value, limit = format_accepted_value(deviation), format_finding_limits(deviation)
    return (
        f"{deviation.title}: {value} accepted (limit {limit}) by {acceptor_words(deviation)}, "
        f"until {format_date(deviation.until)}: {deviation.reason}"
    )


def acceptor_words(deviation: Deviation | StatedDeviation) -> str:
    """Who accepted: as stated, and whose certificate that was if it was checked."""
    signer = deviation.signer
    if signer.checked:
        whose = ", ".join(part for part in (signer.name, signer.organisation) if part)
        return f"{deviation.accepted_by} (certificate of {whose})"
    signed = "" if signer.name in deviation.accepted_by else f"signed by {signer.name}, "
    return f"{deviation.accepted_by} ({signed}identity not checked)"
