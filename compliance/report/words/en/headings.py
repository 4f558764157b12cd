"""Headings and labels of sheet and terminal, and the sentences that explain an assessment."""

from __future__ import annotations

from collections.abc import Sequence

# ---------------------------------------------------------------- the sheet's frame and page 1
from compliance.model import Calibration, Level, Verdict
from compliance.report.causes import EvidenceWords
from compliance.report.explanation import Explanation, StatedMiss, Unjudged
from compliance.report.numbers import format_number, format_plain, with_unit
from compliance.report.report import Row, State
from compliance.report.words.en.grammar import counted, first_of
from compliance.report.words.en.remarks import FOLLOWING
from compliance.report.words.en.verdicts import VERDICT_WORDS, reason_word

SHEET = "Compliance sheet"
NOT_SIGNED = "NOT SIGNED"
COUNTERSIGNATURE = "Countersignature, if any"
ACCEPTED = "Accepted by the client"
DECISION_AND_RISK = "Risk and decision rule"
SCALE = "Scale: shaded what is allowed, line the interval, dot the value"
HOW_TO_CHECK = "How to check this sheet"
TO_CHECK = (
    "compliance verify SHEET.pdf --trust FACILITY.pem computes every value again and draws these "
    "pages again.",
    "A viewer's \u201csignature valid\u201d does not tell whether they follow from the evidence.",
    "Without our software: see the last page.",
)
NOTED = "Noted"
SCOPE = "Scope and limits of this sheet"


def page_of(number: int, total: int) -> str:
    """At the foot of each page."""
    return f"Page {number} of {total}"


def also(rows: Sequence[Row]) -> str:
    """Requirements that decide too, below those that page 1 has room for as rows."""
    names = (
        f"{row.finding.title} ({row.value}, limit {row.limit})" if row.value else row.finding.title
        for row in rows
    )
    return f"Also: {'; '.join(names)}."


def more_remarks(count: int) -> str:
    """Below the remarks that page 1 has room for."""
    return f"{count} more on the {FOLLOWING}."


def to_page(number: int) -> str:
    """Where a link leads."""
    return f"To page {number}"


# ---------------------------------------------------------------- its other pages

REQUIREMENTS = "Requirements"
REQUIREMENT_COLUMNS = ("Verdict", "Requirement", "Value", "Limits", "Clause and basis")
LEVELS = {
    Level.SHALL: "Shall: these decide the verdict",
    Level.SHOULD: "Should: graded, without bearing on the verdict",
}
LEGEND = {**VERDICT_WORDS, Verdict.NOT_ASSESSED: "open or not assessed"}
CHARTS = "Charts"
NO_PICTURE = "No readings for it."
COMPARISON = "Before and after calibration"
COMPARED_COLUMNS = ("Requirement", "Before calibration", "After calibration")
READING_COLUMNS = ("Patch", "Code values", "Position, window", "X", "Y, cd/m²", "Z", "Target Y")
CAUSES = "Likely causes"
OPINION = (
    "Opinions and interpretations (ISO/IEC 17025:2017, 7.8.7): models of faults that fit the "
    "readings. They decide nothing."
)
OPEN = "Missing and not judged"
CHANGES = "House-rule changes"
CHANGE_COLUMNS = ("Changed", "The extended rule", "Here", "Met there?", "Reason", "Agreed by")
NOT_COVERED = "What the rule does not test"
NOT_COVERED_COLUMNS = ("Clause", "What it asks", "Why it is not tested")
DECISION = "How it was decided"
BASES = "What the basis of a limit means"
CAUTIONS = "Cautions"
QUANTITIES = "The quantities"
TRACEABILITY = "Traceability"
END = "End of the sheet"


def picture(state: State) -> str:
    """What a picture shows, after its title."""
    return state.name.lower()


def found_state(before: State) -> str:
    """Above the comparison of values before calibration and after."""
    return (
        f"{before.sentence} This tells the state of the slot as it was found, never what the "
        f"panel can do nor what its maker's presets are worth."
    )


def next_step(words: str) -> str:
    """What to do about a cause."""
    return f"Next: {words}"


def of_before(remark: str) -> str:
    """A remark on the readings before calibration."""
    return f"Before calibration: {remark}"


# ---------------------------------------------------------------- the terminal

ERROR = "error"
LIKELY_CAUSES = "Likely causes (more: compliance explain)"
NOT_WRITTEN = "not written"
OPEN_ALONE = (
    "Of so many results only what shall be met and is not simply met is listed. All of one slot, "
    "with its remarks: assess JOB --no-sheet --slot NAME."
)
OTHER_DISPLAY = "not for this kind of display"
REMARKS = "Remarks"
SLOT = "slot"


CALIBRATION = "What calibration changed"
CALIBRATION_COLUMNS = ("requirement", "before", "after")
NAMED = 3
"""Missing patches named of a requirement."""


def subject(explained: Explanation) -> str:
    """Name the slot and the rule."""
    slot = "Readings" if explained.slot is None else f"Slot {explained.slot}"
    before = " before calibration" if explained.heading == "before" else ""
    return f"{slot}{before} · {explained.rule}, revision {explained.revision}"


def summary(explained: Explanation) -> str:
    """Name the requirements outside their limits, and say if causes are known."""
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
        return "All judged values are within their limits, but these could not be judged:"
    if explained.stated:
        return "All measured values are within their limits. These statements of the job are not:"
    return "All judged values are within their limits; there is nothing to explain."


def why_open(unjudged: Unjudged) -> str:
    """Name a requirement that was not judged, and say why."""
    missing = f": {first_of(unjudged.missing, NAMED)}" if unjudged.missing else ""
    return f"{unjudged.title}: {reason_word(unjudged.reason)}{missing}"


def why_missed(miss: StatedMiss) -> str:
    """Name a field of the job outside its limits, and the next step."""
    return (
        f"{miss.title}: {miss.value} stated, {miss.limits} required. Readings cannot explain "
        "this: correct the suite, or its description in the job."
    )


def evidence_value(evidence: EvidenceWords) -> str:
    """Format a share to three digits, the accuracy of a fit; codes and levels in full."""
    share = evidence.unit == "%"
    value = float(f"{evidence.value:.3g}") if share else evidence.value
    return with_unit(format_plain(value), evidence.unit)


def white_changed(calibration: Calibration) -> str:
    """Describe the luminance that calibration took; empty if it is not known."""
    before, after, lost = calibration.white_before, calibration.white_after, calibration.lost
    if before is None or after is None or lost is None:
        return ""
    share, wanted = float(f"{abs(lost):.2g}"), float(f"{calibration.wanted:.3g}")
    return (
        f"Luminance {format_number(before)} to {format_number(after)}\u00a0cd/m² "
        f"({format_plain(share)}\u00a0% {'lost' if lost >= 0 else 'gained'}); to reach "
        f"{format_plain(calibration.asked)}\u00a0cd/m², start from about "
        f"{format_plain(wanted)}\u00a0cd/m²."
    )


def outside_before(count: int) -> str:
    """Count the values outside their limits before calibration; empty if there were none."""
    were = counted(count, "value was", "values were")
    sentence = f"Before calibration {were} outside the limits; explain with --before."
    return sentence if count else ""


def readings_title(*, before: bool) -> str:
    """Name the table of all readings."""
    return "Appendix: readings before calibration" if before else "Appendix: readings"
