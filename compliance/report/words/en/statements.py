"""What a report says besides its findings: what was judged, its scope and limits, cautions."""

from __future__ import annotations

from collections.abc import Iterable

from compliance.grading.eligibility import METER_LIMITED
from compliance.model import Assessment, GradedReadings, Level, Outcome, Rule
from compliance.model.signals import Place
from compliance.report.numbers import format_sheet_number, format_time
from compliance.report.report import Fact
from compliance.report.verdict import failing, not_accepted, shall_of
from compliance.report.words.en.grammar import capital, counted, listed
from compliance.report.words.en.provenance import device_name, fact, make_name
from compliance.report.words.en.remarks import FOLLOWING
from compliance.report.words.en.rules import rule_name
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


def judged(assessment: Assessment) -> str:
    """What was judged: a slot of a display, or the display that was read."""
    slot = assessment.slot
    if slot is None:
        return f"Display read in {assessment.state.readings.file_name}"
    name = make_name(slot.display)
    when = f", {NOT_CALIBRATED}" if assessment.heading == "before" else ""
    return f"Display slot {slot.name}{f' of {name}' if name else ''}{when}"


def judged_for(rule: Rule) -> str:
    """For which deliverable, and that a house rule changed what it asks."""
    changed = ", with house-rule changes" if rule.changes else ""
    return f"for: {rule.title}{changed}"


def subtitle(assessment: Assessment) -> str:
    """Serial number, suite and rule."""
    job, slot, rule = assessment.job, assessment.slot, assessment.rule
    parts = [
        f"serial number {slot.display.serial}" if slot and slot.display.serial else "",
        job.suite if job and job.suite else "",
        f"rule {rule_name(rule)}{f', extends {rule.extends}' if rule.extends else ''}",
    ]
    return capital(" · ".join(filter(None, parts)))


def untraceable(assessment: Assessment) -> str:
    """What traceability lacks, of a verdict that is met; empty if it lacks nothing."""
    if assessment.verdict is not Outcome.COMPLIANT:
        return ""
    job, slot, meter = assessment.job, assessment.slot, assessment.meter
    lacking = [
        "no meter" if meter is None else "",
        "no certificate of the meter" if meter and meter.certificate is None else "",
        "" if slot and device_name(slot.display) else "no display",
        "" if job and job.client else "no client",
    ]
    stated = listed(list(filter(None, lacking)), len(lacking))
    return f"Without traceability: {stated} stated." if stated else ""


def heading_lines(assessment: Assessment) -> tuple[str, ...]:
    """Number, time of issue and the sheet that is replaced, for the head of page 1."""
    lines = [
        f"No. {format_sheet_number(assessment.number)}",
        f"Issued {format_time(assessment.assessed)}",
    ]
    if assessment.replaces:
        lines.append(f"Replaces {format_sheet_number(assessment.replaces)}")
    return tuple(lines)


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


def scope(assessment: Assessment) -> Iterable[str]:
    """What a sheet covers and what nobody may read from it."""
    if assessment.heading == "before":
        yield (
            "It tells the slot's state before calibration, set up as it was found: never what "
            "the panel can do, nor what its maker's presets are worth."
        )
    yield (
        "One slot of one display was judged, as measured on one day with one meter: nothing else, "
        "and no master or file."
    )
    yield from filter(None, [_share_judged(assessment.state)])
    yield _bases(assessment.state)
    yield _left_out(assessment.rule)
    yield (
        "It is no accredited calibration certificate unless an accredited body issues it. "
        "Reproduce only in full."
    )


def _share_judged(state: GradedReadings) -> str:
    """How many of the patches that decide were judged; empty if they are not counted."""
    judged: set[Place] = set()
    unseen: set[Place] = set()
    missing: set[str] = set()
    for finding in shall_of(state):
        judged.update(point.place for point in finding.points)
        left_out = (each for each in finding.not_judged if each.why.kind in METER_LIMITED)
        unseen.update((each.patch, each.position, each.window) for each in left_out)
        missing.update(finding.missing)
    covered = len(judged | unseen) + len(missing)
    if not covered:
        return ""
    patches = counted(covered, "patch", "patches")
    was = "was" if covered == 1 else "were"
    return f"{len(judged - unseen)} of {patches} needed for the verdict {was} judged."


BASIS_COUNTS = {
    "published": "in published documents",
    "digest": "in digests of published documents",
    "memory": "recalled from published documents, unchecked",
    "practice": "common practice",
    "house": "set in-house",
}


def _bases(state: GradedReadings) -> str:
    """On what the limits that decide are based, how many each."""
    bases = [finding.basis for finding in shall_of(state)]
    parts = [
        f"{bases.count(basis)} {words}" for basis, words in BASIS_COUNTS.items() if basis in bases
    ]
    return f"Basis of {counted(len(bases), 'limit')} needed for the verdict: {', '.join(parts)}."


def _left_out(rule: Rule) -> str:
    """What the rule's documents ask and it does not test, as far as there is room."""
    if not rule.not_covered:
        return "The rule names no clause of its documents that it leaves out."
    names = [entry.what for entry in rule.not_covered]
    count = counted(len(names), "clause")
    why = f"reasons on the {FOLLOWING}"
    return f"Not tested, {count} of the rule's documents ({why}): {'; '.join(names)}."


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
