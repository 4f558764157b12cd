"""What the sheet says, gathered from the assessment as plain data; nothing is drawn here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from compliance.model import (
    Assessment,
    Change,
    Charts,
    Decision,
    GradedReadings,
    Level,
    Outcome,
    Remark,
    Rule,
    Verdict,
)
from compliance.quantities.catalogue import QUANTITIES
from compliance.report.numbers import (
    NOT_STATED,
    format_date,
    format_requirement_limits,
    format_time,
)
from compliance.report.verdict import (
    applies,
    count,
    deciding,
    failing,
    outcome_mark,
    with_uncertainty,
)
from compliance.report.words import cause_next_step, cause_text, cause_title, remark_text
from compliance.report.words.en.decisions import decision_sentence, risk_sentences
from compliance.report.words.en.grammar import capital, listed
from compliance.report.words.en.rules import changed_requirement, changed_words, departing
from compliance.report.words.en.verdicts import (
    BASIS_WORDS,
    accepted_sentence,
    deciding_title,
    outcome_sentence,
    outcome_word,
    tally_words,
    validity,
)
from compliance.sheet.provenance import Fact, Group, definitions, particulars, text
from compliance.sheet.requirement_rows import OpenItem, Row, open_items, rows


@dataclass(frozen=True, slots=True)
class Tally:
    """The marks of one level in a row, and their count in words."""

    label: str
    words: str
    marks: tuple[Verdict, ...]
    missed: str = ""
    """What of a level that decides nothing is not met: each with value and limits."""


@dataclass(frozen=True, slots=True)
class Front:
    """Page 1: the client's answer."""

    title: str
    subtitle: str
    heading: str
    """What state of the slot it is about."""
    mark: Verdict
    word: str
    sentence: str
    validity: str
    tallies: tuple[Tally, ...]
    deciding: tuple[Row, ...]
    """The shall that made the verdict what it is: outside, open, near a limit, not assessed."""
    deciding_title: str
    accepted: tuple[str, ...]
    """What the client accepts of it: a sentence for each deviation."""
    decision: tuple[str, ...]
    """How values were accepted, and the risk it leaves."""
    asked: tuple[Fact, ...]
    measured: tuple[Fact, ...]
    not_said: tuple[str, ...]
    remarks: tuple[str, ...]
    serious: int
    """How many remarks at the head are shown whatever else has no room."""
    facility: str
    authorised_by: str


def build_front_page(assessment: Assessment) -> Front:
    """All that page 1 says."""
    state, job = assessment.state, assessment.job
    graded = {row.id: row for row in rows(state.findings, assessment.rule, assessment.deviations)}
    decision = assessment.rule.decision
    decisive = deciding(state, decision)
    only_before = assessment.heading == "before"
    return Front(
        title=assessment.rule.title,
        subtitle=_subtitle(assessment),
        heading=("The slot's state before calibration, never the panel's" if only_before else ""),
        mark=outcome_mark(state.verdict, state.conditional),
        word=capital(outcome_word(state.verdict, state.conditional)),
        sentence=outcome_sentence(assessment),
        validity=validity(assessment),
        tallies=_tallies(state, decision, graded),
        deciding=tuple(graded[finding.id] for finding in decisive),
        deciding_title=deciding_title(decisive[0], decision) if decisive else "",
        accepted=tuple(accepted_sentence(each) for each in assessment.deviations),
        decision=risk_sentences(state, decision),
        asked=tuple(_asked(assessment)),
        measured=tuple(_measured(assessment)),
        not_said=tuple(_not_said(assessment)),
        remarks=_remarks(state.remarks),
        serious=sum(remark.kind in SERIOUS for remark in state.remarks),
        facility=text(job and job.facility and job.facility.name),
        authorised_by=text(job and job.people.authorised_by),
    )


def _subtitle(assessment: Assessment) -> str:
    slot = assessment.slot
    if slot is None:
        return f"Readings {assessment.state.readings.file}"
    display = slot.display
    device = " ".join(part for part in (display.make, display.model) if part) or "the display"
    parts = [f"Slot {slot.name} of {device}"]
    if display.serial:
        parts[0] += f", serial number {display.serial}"
    if assessment.job and assessment.job.suite:
        parts.append(assessment.job.suite)
    return " · ".join(parts)


def _tallies(
    state: GradedReadings, decision: Decision, rows: Mapping[str, Row]
) -> tuple[Tally, ...]:
    told = []
    for level, label in ((Level.SHALL, "Shall be met"), (Level.SHOULD, "Should be met")):
        graded = [row for row in state.findings if row.level is level and applies(row)]
        if graded:
            marks = tuple(row.verdict for row in graded)
            missed = _missed(rows[row.id] for row in failing(graded, Level.SHOULD))
            told.append(Tally(label, tally_words(count(graded, decision)), marks, missed))
    return tuple(told)


def _missed(rows: Iterable[Row]) -> str:
    told = [f"{row.title} ({row.value}, limit {row.decisive})" for row in rows]
    return f"Not met: {listed(told, MOST_NAMED)}." if told else ""


def _asked(assessment: Assessment) -> Iterable[Fact]:
    job, rule = assessment.job, assessment.rule
    client = job.client if job else None
    who = text(client and client.name)
    if client and client.contact:
        who += f", {client.contact}"
    yield Fact("Client", who)
    yield Fact("Title", text(job and job.title))
    yield Fact("Reference", text(job and job.reference))
    yield Fact("Deliverable", rule.title)
    extends = f", extends {rule.extends}" if rule.extends else ""
    yield Fact("Rule", f"{rule.id}, revision {rule.revision}{extends}")
    if told := departing(rule):
        yield Fact("Departs in", listed(told, MOST_NAMED))
    yield Fact("Facility", text(job and job.facility and job.facility.name))
    yield Fact("Address", text(job and job.facility and job.facility.address))
    yield Fact("Measured by", text(job and job.people.measured_by))
    yield Fact("Authorised by", text(job and job.people.authorised_by))


def _measured(assessment: Assessment) -> Iterable[Fact]:
    job, slot, meter = assessment.job, assessment.slot, assessment.meter
    display = slot.display if slot else None
    device = " ".join(part for part in (display.make, display.model) if part) if display else ""
    if display and display.serial:
        device = f"{device}, serial number {display.serial}".lstrip(", ")
    yield Fact("Display", device or NOT_STATED)
    yield Fact("Slot", text(slot and slot.name))
    yield Fact("Suite", text(job and job.suite))
    yield Fact("Calibrated", format_time(slot.calibrated if slot else None))
    yield Fact("Measured", format_time(assessment.state.measured))
    if assessment.before is not None:
        yield Fact("Before that", _earlier(assessment.before))
    yield Fact("Assessed", format_time(assessment.assessed))
    if assessment.verdict is Outcome.COMPLIANT:
        yield Fact("Valid until", _until(assessment))
    named = f"{meter.name}, serial number {text(meter.serial)}" if meter else NOT_STATED
    yield Fact("Meter", named)
    yield Fact("Certificate", _certificate(assessment))


def _earlier(before: GradedReadings) -> str:
    word = outcome_word(before.verdict, before.conditional)
    missed = len(failing(before.findings))
    return f"{word}, {missed} not met" if missed else word


def _until(assessment: Assessment) -> str:
    if assessment.valid_until is None:
        return "no end set" if assessment.rule.valid_days is None else NOT_STATED
    return format_time(assessment.valid_until)


def _certificate(assessment: Assessment) -> str:
    certificate = assessment.meter.certificate if assessment.meter else None
    if certificate is None:
        return NOT_STATED
    parts = [text(certificate.number)]
    if certificate.laboratory:
        parts.append(certificate.laboratory)
    parts.append(f"due {format_date(certificate.due)}")
    return ", ".join(parts)


SERIOUS = (
    "normalised",
    "unit",
    "conflicting",
    "meter-past-due",
    "meter-inadequate",
    "rule-changed",
    "rule-unversioned",
)
"""Remarks that page 1 shows whatever else it has no room for."""
MOST_NAMED = 4
"""Things named in one remark or line on page 1."""


def _remarks(remarks: Iterable[Remark]) -> tuple[str, ...]:
    """Remarks as page 1 tells them, the serious first, long lists cut."""
    ordered = sorted(remarks, key=lambda remark: remark.kind not in SERIOUS)
    return tuple(_shortened(remark_text(remark)) for remark in ordered)


def _shortened(said: str) -> str:
    parts = said.split("; ")
    if len(parts) <= MOST_NAMED + 1:
        return said
    more = len(parts) - MOST_NAMED
    return f"{'; '.join(parts[:MOST_NAMED])} and {more} more, on the following pages."


def _not_said(assessment: Assessment) -> Iterable[str]:
    if assessment.heading == "before":
        yield (
            "It tells the slot's state before calibration, set up as it was found: never what "
            "the panel can do, nor what its maker's presets are worth."
        )
    yield (
        "It states what was measured, on one device, on one day, with one instrument: nothing "
        "about another slot, another display or another day."
    )
    state = assessment.state
    soft = {"memory", "practice", "house"} & {row.basis for row in state.findings}
    if soft:
        yield (
            "Not every limit stands in a published document: the basis of each is named beside "
            "it, and explained on the last pages."
        )
    if any(row.level is Level.SHOULD for row in state.findings):
        yield "What a rule says should be is graded, but changes no verdict."
    yield (
        "It is no accredited calibration certificate unless an accredited body issues it. It may "
        "be passed on only whole."
    )


@dataclass(frozen=True, slots=True)
class Stage:
    """One set of readings as pictures and rows: before calibration, or after it."""

    name: str
    charts: Charts
    rows: tuple[Row, ...]
    word: str
    mark: Verdict
    sentence: str
    remarks: tuple[str, ...]
    open: tuple[OpenItem, ...]
    causes: tuple[CauseText, ...]
    """Likely causes of what is outside its limits, the likeliest first."""
    unexplained: bool
    """Something is outside its limits, and no cause is known."""


@dataclass(frozen=True, slots=True)
class CauseText:
    """A likely cause in words."""

    title: str
    text: str
    next_step: str


@dataclass(frozen=True, slots=True)
class Content:
    """The whole sheet as text and data."""

    number: str
    running: str
    """Short title for the head of each page."""
    front: Front
    now: Stage
    before: Stage | None
    changes: tuple[Fact, ...]
    """Departures of a house rule from its parent: of what, and the words."""
    groups: tuple[Group, ...]
    definitions: tuple[Fact, ...]
    method: str
    reading: str
    """How to read interval and probability; empty without them."""
    decision: str
    bases: tuple[Fact, ...]
    cautions: tuple[str, ...]


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


def build_content(assessment: Assessment) -> Content:
    """All texts of the sheet."""
    state, before = assessment.state, assessment.before
    only_before = assessment.heading == "before"
    name = "Before calibration" if only_before else "As calibrated"
    slot = assessment.slot
    running = assessment.rule.title + (f" · slot {slot.name}" if slot else "")
    return Content(
        number=assessment.number,
        running=running,
        front=build_front_page(assessment),
        now=_stage(assessment, state, "After calibration" if before else name),
        before=_stage(assessment, before, "Before calibration") if before else None,
        changes=tuple(_departure(change, assessment.rule) for change in assessment.rule.changes),
        groups=particulars(assessment),
        definitions=definitions(assessment),
        method=METHOD,
        reading=READING if with_uncertainty(state) else "",
        decision=decision_sentence(assessment.rule.decision, with_uncertainty(state)),
        bases=_bases(state),
        cautions=tuple(_cautions(assessment)),
    )


def _stage(assessment: Assessment, state: GradedReadings, name: str) -> Stage:
    held = assessment.deviations if state is assessment.state else ()
    return Stage(
        name=name,
        charts=state.charts,
        rows=rows(state.findings, assessment.rule, held),
        word=outcome_word(state.verdict, state.conditional),
        mark=outcome_mark(state.verdict, state.conditional),
        sentence=outcome_sentence(assessment, state),
        remarks=tuple(remark_text(remark) for remark in state.remarks),
        open=open_items(state.findings),
        causes=tuple(
            CauseText(cause_title(cause), cause_text(cause), cause_next_step(cause))
            for cause in state.causes
        ),
        unexplained=not state.causes and any(one.points for one in failing(state.findings)),
    )


# ---------------------------------------------------------------- last pages


def _bases(state: GradedReadings) -> tuple[Fact, ...]:
    used = {finding.basis for finding in state.findings}
    return tuple(Fact(word, capital(said)) for word, said in BASIS_WORDS.items() if word in used)


def _cautions(assessment: Assessment) -> Iterable[str]:
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


def _departure(change: Change, rule: Rule) -> Fact:
    """A stated change: the requirement by its title, its limits now, why, who agreed and when."""
    requirement = changed_requirement(change, rule)
    now = ""
    if requirement is not None and not change.withdrawn:
        unit = QUANTITIES[requirement.quantity].unit
        now = f"Now {'; '.join(format_requirement_limits(requirement, unit))}. "
    agreed = f"agreed by {change.agreed_by}, {format_date(change.date)}"
    return Fact(changed_words(change, rule), f"{now}{capital(change.reason)} ({agreed}).")
