"""What page 1 says: the client's answer in plain words, as data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from compliance.model import (
    Assessment,
    Decision,
    Level,
    Outcome,
    Remark,
    State,
    Verdict,
)
from compliance.sheet.particulars import Fact, text
from compliance.sheet.rows import Row, listed, rows
from compliance.sheet.validity import validity
from compliance.wording import (
    NOT_STATED,
    applies,
    capital,
    deciding,
    explanation,
    failing,
    format_date,
    format_time,
    outcome_mark,
    outcome_sentence,
    outcome_word,
    tally_words,
)
from compliance.wording.accepted import accepted_sentence
from compliance.wording.rules import departing

__all__ = ["Front", "Tally", "front_of"]


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


def front_of(assessment: Assessment) -> Front:
    """All that page 1 says."""
    state, job = assessment.state, assessment.job
    graded = {row.id: row for row in rows(state.findings, assessment.rule, assessment.deviations)}
    decision = assessment.rule.decision
    decisive, deciding_title = deciding(state, decision)
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
        deciding_title=deciding_title if decisive else "",
        accepted=tuple(accepted_sentence(each) for each in assessment.deviations),
        decision=explanation(state, decision),
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


def _tallies(state: State, decision: Decision, rows: Mapping[str, Row]) -> tuple[Tally, ...]:
    told = []
    for level, label in ((Level.SHALL, "Shall be met"), (Level.SHOULD, "Should be met")):
        graded = [row for row in state.findings if row.level is level and applies(row)]
        if graded:
            marks = tuple(row.verdict for row in graded)
            missed = _missed(rows[row.id] for row in failing(graded, Level.SHOULD))
            told.append(Tally(label, tally_words(graded, decision), marks, missed))
    return tuple(told)


def _missed(rows: Iterable[Row]) -> str:
    told = [f"{row.title} ({row.value}, limit {row.decisive})" for row in rows]
    return f"Not met: {listed(told, NAMED)}." if told else ""


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
        yield Fact("Departs in", listed(told, NAMED))
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


def _earlier(before: State) -> str:
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
NAMED = 4
"""Things named in one remark or line on page 1."""


def _remarks(remarks: Iterable[Remark]) -> tuple[str, ...]:
    """Remarks as page 1 tells them, the serious first, long lists cut."""
    ordered = sorted(remarks, key=lambda remark: remark.kind not in SERIOUS)
    return tuple(_shortened(remark.text) for remark in ordered)


def _shortened(said: str) -> str:
    parts = said.split("; ")
    if len(parts) <= NAMED + 1:
        return said
    return f"{'; '.join(parts[:NAMED])} and {len(parts) - NAMED} more, on the following pages."


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
