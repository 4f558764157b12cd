"""Explanations in words: what is outside, what is open, what calibration changed."""

from __future__ import annotations

from compliance.model import Calibration, Level
from compliance.model.stated import StatedEvidence
from compliance.report.explanation import Explanation, StatedMiss, Unjudged
from compliance.report.numbers import format_number, format_plain, with_unit
from compliance.report.words.en.grammar import counted, first_of
from compliance.report.words.en.verdicts import reason_word

CALIBRATION = "What calibration changed"
CALIBRATION_COLUMNS = ("requirement", "before", "after")
NAMED = 3
"""Missing patches named of a requirement."""


def subject(explained: Explanation) -> str:
    """The slot and the rule."""
    slot = "Readings" if explained.slot is None else f"Slot {explained.slot}"
    before = " before calibration" if explained.heading == "before" else ""
    return f"{slot}{before} · {explained.rule}, revision {explained.revision}"


def summary(explained: Explanation) -> str:
    """What is outside, and whether its causes are known."""
    outside = explained.outside
    if not outside:
        return _nothing_outside(explained)
    names = "; ".join(requirement.title for requirement in outside)
    count = counted(len(outside), "requirement")
    if not explained.causes:
        return (
            f"Outside their limits: {count} ({names}). No known cause: none of the models that "
            "were tried fits the readings clearly better than the rule's own target."
        )
    return f"Outside their limits: {count} ({names}). Likely causes, the likeliest first:"


def _nothing_outside(explained: Explanation) -> str:
    if any(unjudged.level is Level.SHALL for unjudged in explained.open):
        return "No value that could be judged lies outside its limits, but these were not judged:"
    if explained.stated:
        return "Every value that was measured lies inside its limits. What the job states does not:"
    return "Every value that was judged lies inside its limits; there is nothing to explain."


def why_open(unjudged: Unjudged) -> str:
    """A requirement that was not judged, and why."""
    missing = f": {first_of(unjudged.missing, NAMED)}" if unjudged.missing else ""
    return f"{unjudged.title}: {reason_word(unjudged.reason)}{missing}"


def why_missed(miss: StatedMiss) -> str:
    """A field of the job outside what is asked."""
    return (
        f"{miss.title}: {miss.value} stated, {miss.limits} asked. No reading tells why: "
        "put right the suite, or what the job says of it."
    )


def evidence_value(evidence: StatedEvidence) -> str:
    """A share to three digits: a model's fit knows no more. Codes and levels are kept whole."""
    share = evidence.unit == "%"
    value = float(f"{evidence.value:.3g}") if share else evidence.value
    return with_unit(format_plain(value), evidence.unit)


def white_changed(calibration: Calibration) -> str:
    """The luminance that calibration took; empty where it is not known."""
    before, after, lost = calibration.white_before, calibration.white_after, calibration.lost
    if before is None or after is None or lost is None:
        return ""
    share, wanted = float(f"{abs(lost):.2g}"), float(f"{calibration.wanted:.3g}")
    return (
        f"Luminance {format_number(before)} to {format_number(after)}\u00a0cd/m² "
        f"({format_plain(share)}\u00a0% {'lost' if lost >= 0 else 'gained'}); to end at "
        f"{format_plain(calibration.asked)}\u00a0cd/m² a slot wants about "
        f"{format_plain(wanted)} to start from."
    )


def outside_before(count: int) -> str:
    """How many values were outside before calibration; empty where none was."""
    were = counted(count, "value was", "values were")
    sentence = f"Before calibration {were} outside the limits; with --before they are explained."
    return sentence if count else ""
