"""Headings and labels of the papers themselves: of the sheet, of what the terminal shows."""

from __future__ import annotations

from compliance.model import Level, Verdict
from compliance.report.report import State
from compliance.report.words.en.verdicts import VERDICT_WORDS

# ---------------------------------------------------------------- the sheet's frame and page 1

SHEET = "Compliance sheet"
NOT_SIGNED = "NOT SIGNED"
COUNTERSIGNATURE = "Countersignature"
ACCEPTED = "Accepted by the client"
DECISION_AND_RISK = "The decision and its risk"
NOTED = "Noted"
NOT_SAID = "What this sheet does not say"


def page_of(number: int, total: int) -> str:
    """At the foot of each page."""
    return f"Page {number} of {total}"


def more_rows(count: int) -> str:
    """Below the deciding requirements that page 1 has room for."""
    return f"and {count} more, from page 2 on"


def more_remarks(count: int) -> str:
    """Below the remarks that page 1 has room for."""
    return f"{count} more on the following pages."


# ---------------------------------------------------------------- its other pages

REQUIREMENTS = "Requirements"
REQUIREMENT_COLUMNS = ("Verdict", "Requirement", "Value", "Limits", "Clause and basis")
LEVELS = {
    Level.SHALL: "Shall: these decide the verdict",
    Level.SHOULD: "Should: graded, without bearing on the verdict",
}
LEGEND = {**VERDICT_WORDS, Verdict.NOT_ASSESSED: "not assessed, undecided"}
PICTURES = "Pictures"
NO_PICTURE = "No readings for it."
COMPARISON = "Before and after calibration"
COMPARED_COLUMNS = ("Requirement", "Before calibration", "After calibration")
CAUSES = "Likely causes"
OPEN = "Missing and not judged"
CHANGES = "Where the house rule departs from its parent"
DECISION = "How it was decided"
BASES = "What the basis of a limit means"
CAUTIONS = "Cautions"
QUANTITIES = "The quantities"
PROVENANCE = "Where it comes from"
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
OTHER_DISPLAY = "not for this kind of display"
REMARKS = "Remarks"
SLOT = "slot"
