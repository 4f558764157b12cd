"""What a report says besides its findings: what it is about, what it does not say, cautions."""

from __future__ import annotations

from collections.abc import Iterable

from compliance.model import Assessment, GradedReadings, Level, Outcome
from compliance.report.numbers import format_sheet_number, format_time
from compliance.report.report import Fact
from compliance.report.verdict import failing, not_accepted
from compliance.report.words.en.grammar import capital, counted
from compliance.report.words.en.provenance import device_name, fact
from compliance.report.words.en.verdicts import DISPOSITION_WORDS

CALIBRATED, BEFORE, AFTER = "As calibrated", "Before calibration", "After calibration"
"""Names of sets of readings: the only one, the earlier one, the later of two."""
NOT_CALIBRATED = "before calibration"
ONLY_BEFORE = "The slot's state before calibration, never the panel's"
LEVELS = {Level.SHALL: "Shall be met", Level.SHOULD: "Should be met"}
NO_CAUSE = (
    "No known cause: none of the models of what may be wrong fits the readings clearly better "
    "than the rule's own target."
)
METHOD = (
    "The meter read the light of the display patch by patch. From the code values of each patch "
    "the rule's target says what an ideal display would have shown; the quantities below compare "
    "the two, and each requirement holds one of them against its limits."
)
READING = (
    "Beside a value stand the interval that holds the true value with the probability named, then "
    "p, the probability that it lies inside its limits, and, where several patches are judged, "
    "the joint probability that all of them do, which decides nothing. Of several patches the "
    "value is that nearest its limit, and p the least of all; where that is another patch's, it is "
    "named with its own value and interval, as what is read with less certainty can be less sure "
    "though further from its limit. A value without them was judged without measurement "
    "uncertainty, or is stated and not measured."
)


def subject(assessment: Assessment) -> str:
    """The slot; empty without a job."""
    return f"Slot {assessment.slot.name}" if assessment.slot else ""


def subtitle(assessment: Assessment) -> str:
    """The slot, its display and the suite; the file without a job."""
    slot = assessment.slot
    if slot is None:
        return f"Readings {assessment.state.readings.file}"
    parts = [f"Slot {slot.name} of {device_name(slot.display, 'the display')}"]
    if assessment.job and assessment.job.suite:
        parts.append(assessment.job.suite)
    return " · ".join(parts)


def facility(assessment: Assessment) -> Fact:
    """Who signs a sheet, under what caption."""
    job = assessment.job
    return fact("For the facility", job and job.facility and job.facility.name)


def running(assessment: Assessment) -> str:
    """A short title for the head of each page."""
    slot = f" · slot {assessment.slot.name}" if assessment.slot else ""
    return f"{assessment.rule.title}{slot}"


def dates(assessment: Assessment) -> str:
    """When it was measured, how long a verdict that is met holds, the number, the one replaced."""
    state, until = assessment.state, assessment.valid_until
    parts = [f"measured {format_time(state.measured)}"] if state.measured else []
    if until is not None and state.verdict is Outcome.COMPLIANT:
        parts.append(f"valid until {format_time(until)}")
    parts.append(f"number {format_sheet_number(assessment.number)}")
    if assessment.replaces:
        parts.append(f"replaces {format_sheet_number(assessment.replaces)}")
    return f"{capital(', '.join(parts))}."


def disposition(assessment: Assessment) -> str:
    """What the client makes of the verdict; empty where nothing is accepted."""
    if assessment.disposition is not None:
        return f"{capital(DISPOSITION_WORDS[assessment.disposition])}; the verdict stays"
    if not assessment.deviations:
        return ""
    left = "; ".join(finding.title for finding in not_accepted(assessment))
    return "Accepted by the client" + (f"; not accepted: {left}" if left else "")


def earlier(before: GradedReadings | None) -> str:
    """How many requirements were outside before calibration; empty where none was."""
    missed = len(failing(before.findings)) if before else 0
    return f"{counted(missed, 'requirement')} outside" if missed else ""


def not_said(assessment: Assessment) -> Iterable[str]:
    """What nobody may read from a sheet."""
    if assessment.heading == "before":
        yield (
            "It tells the slot's state before calibration, set up as it was found: never what "
            "the panel can do, nor what its maker's presets are worth."
        )
    yield (
        "It states what was measured, on one device, on one day, with one instrument: nothing "
        "about another slot, another display or another day."
    )
    findings = assessment.state.findings
    if {"memory", "practice", "house"} & {finding.basis for finding in findings}:
        yield (
            "Not every limit stands in a published document: the basis of each is named beside "
            "it, and explained on the last pages."
        )
    if any(finding.level is Level.SHOULD for finding in findings):
        yield "What a rule says should be is graded, but changes no verdict."
    left_out = len(assessment.rule.not_covered)
    if left_out:
        were, them = ("point is", "it") if left_out == 1 else ("points are", "them")
        yield (
            f"The rule does not test all that its documents ask: {left_out} {were} left out, and "
            f"the following pages name {them} with the reason."
        )
    yield (
        "It is no accredited calibration certificate unless an accredited body issues it. It may "
        "be passed on only whole."
    )


def cautions(assessment: Assessment) -> Iterable[str]:
    """What can harm people or displays while measuring."""
    slot = assessment.slot
    technology = slot.display.technology if slot else None
    bright = ", above all HDR peaks," if assessment.rule.target.curve in ("pq", "hlg") else ""
    yield (
        f"Full-screen flashing patches{bright} can provoke seizures in people with "
        f"photosensitive epilepsy: warn before a measuring session, and let nobody sensitive "
        f"watch it (the general warning of ITU-R BT.1702 applies)."
    )
    if technology == "projector":
        yield (
            "Do not look into a projector's beam: measure the light from the screen. Laser "
            "projectors fall under IEC 60825-1 / IEC 62471 and local law; service is for trained, "
            "licensed staff."
        )
    if technology in ("oled", "led", "plasma", "crt"):
        yield (
            "Long runs at peak luminance can age or burn in an emissive panel: follow the "
            "maker's limits."
        )
