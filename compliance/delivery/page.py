"""The page of a delivery: one HTML file without scripts that works offline and prints.

A verdict is shown by a word and a shape; ink only repeats it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from compliance.grading.decide import OUTSIDE
from compliance.html import render
from compliance.model import (
    Acceptor,
    Decision,
    Display,
    Finding,
    Level,
    NotCovered,
    Reason,
    Verdict,
)
from compliance.model.stated import StatedAssessment, StatedDeviation, StatedRule
from compliance.report.numbers import (
    NOT_STATED,
    format_date,
    format_finding_limits,
    format_probability,
    format_sheet_number,
    format_time,
    format_value,
)
from compliance.report.verdict import (
    allows_something,
    count,
    finding_mark,
    left_open,
    outcome_mark,
)
from compliance.report.words.en import deliveries, hand_checks, house
from compliance.report.words.en.grammar import capital
from compliance.report.words.en.provenance import device_name
from compliance.report.words.en.verdicts import (
    acceptor_words,
    outcome_word,
    reason_word,
    tally_words,
)
from compliance.time_zones import Zone, zone_as_stated

if TYPE_CHECKING:
    from compliance.delivery.contents import Sheet
    from compliance.delivery.departures import Departure
    from compliance.model.signatures import Signature, Signer


@dataclass(frozen=True, slots=True)
class Line:
    """A requirement that decided, with its acceptance if there is one."""

    mark: Verdict
    text: str
    accepted: str = ""


@dataclass(frozen=True, slots=True)
class Link:
    """A file of the delivery."""

    path: str
    name: str

    @property
    def link(self) -> str:
        """Its path as a link of the page."""
        from urllib.parse import quote

        return quote(self.path)


@dataclass(frozen=True, slots=True)
class SheetEntry:
    """The page's texts about one sheet."""

    mark: Verdict
    title: str
    outcome: str
    tally: str
    deciding: Sequence[Line]
    slot: str
    display: str
    rule: str
    measured: str
    number: str
    replaces: str
    valid_until: str
    signatures: Sequence[str]
    files: Sequence[Link]


@dataclass(frozen=True, slots=True)
class RuleEntry:
    """A rule, and what its documents ask and it does not test."""

    name: str
    not_covered: Sequence[NotCovered]


@dataclass(frozen=True, slots=True)
class ChangeEntry:
    """One change of a house rule from the rule that it extends."""

    rule: str
    subject: str
    parent: str
    here: str
    reason: str
    agreed: str


@dataclass(frozen=True, slots=True)
class Certificate(Link):
    """The certificate of a signer; `name` is the signer's."""

    digest: str


def render_page(sheets: Sequence[Sheet]) -> bytes:
    """Render the page as UTF-8. KeyError, TypeError or ValueError on a malformed assessment."""
    job = next((sheet.assessment.job for sheet in sheets if sheet.assessment.job), None)
    client, facility = (job.client, job.facility) if job else (None, None)
    return render(
        "delivery.html.jinja",
        title=_text(job.title if job else None),
        client=_text(client.name if client else None),
        reference=_text(job.reference if job else None),
        facility=_text(facility.name if facility else None),
        suite=_text(job.suite if job else None),
        summary=list(filter(None, _summary(sheets))),
        sheets=list(map(_entry, sheets)),
        changes=_changes(sheets),
        rules=_rules(sheets),
        signers=_certificates(sheets),
        by_hand=tuple(dict.fromkeys((*hand_checks.OF_DELIVERIES, *hand_checks.OF_SHEETS))),
        hand_checks=hand_checks,
    )


def _text(value: str | None) -> str:
    return value or NOT_STATED


# ---------------------------------------------------------------- all sheets


def _summary(sheets: Sequence[Sheet]) -> Iterable[str]:
    """Say how many sheets there are, what ends first, and what was made easier or accepted."""
    stated = [sheet.assessment for sheet in sheets]
    yield deliveries.outcomes([_outcome(each) for each in stated])
    ends = [(each.valid_until, _until(each)) for each in stated if _ends(each)]
    yield deliveries.next_end([time for _, time in sorted(ends)])
    rules = {sheet.assessment.rule.digest: sheet for sheet in sheets}.values()
    yield deliveries.house_rules(
        {_text(sheet.assessment.rule.id): len(sheet.departures) for sheet in rules}
    )
    accepted = [len(each.deviations) for each in stated if each.deviations]
    yield deliveries.deviations(sum(accepted), len(accepted))


def _ends(stated: StatedAssessment) -> bool:
    allowed = allows_something(stated.state.verdict, stated.disposition)
    return allowed and stated.valid_until is not None


def _outcome(stated: StatedAssessment) -> str:
    word = outcome_word(stated.state.verdict, stated.state.conditional)
    return f"{word}, accepted with deviations" if stated.disposition else word


def _changes(sheets: Sequence[Sheet]) -> list[ChangeEntry]:
    """List the changes that house rules state, each rule's once."""
    rules = {sheet.assessment.rule.digest: sheet for sheet in sheets}.values()
    return [
        ChangeEntry(
            rule=_rule(sheet.assessment.rule),
            subject=_subject(each),
            parent=deliveries.asked(each.parent) if each.parent is not None else house.NOT_KNOWN,
            here=house.WITHDRAWN if each.change.withdrawn else deliveries.asked(each.now),
            reason=house.why(each.change)[0],
            agreed=house.why(each.change)[1],
        )
        for sheet in rules
        for each in sheet.departures
    ]


def _subject(departure: Departure) -> str:
    """Name what was changed: a requirement by its title, else the key."""
    for value in (departure.now, departure.parent):
        if isinstance(value, Mapping) and isinstance(value.get("title"), str):
            return str(value["title"])
    return departure.change.subject


# ---------------------------------------------------------------- sheets


def _entry(sheet: Sheet) -> SheetEntry:
    stated = sheet.assessment
    state, rule, zone = stated.state, stated.rule, zone_as_stated(stated.timezone)
    shall = [
        finding
        for finding in state.findings
        if finding.level is Level.SHALL and finding.reason is not Reason.NOT_APPLICABLE
    ]
    return SheetEntry(
        mark=outcome_mark(state.verdict, state.conditional),
        title=deliveries.judged(stated.slot.slot if stated.slot else None, _text(rule.title)),
        outcome=capital(_outcome(stated)),
        tally=tally_words(count(shall, stated.decision), of="requirements"),
        deciding=list(_deciding(shall, stated)),
        slot=_text(stated.slot.slot if stated.slot else None),
        display=device_name(stated.display or Display(), "the display"),
        rule=_rule(rule),
        measured=format_time(state.readings.measured),
        number=_text(format_sheet_number(stated.number)),
        replaces=format_sheet_number(stated.replaces) if stated.replaces else "",
        valid_until=_until(stated),
        signatures=[_signature(each, zone) for each in sheet.verification.signatures],
        files=[
            Link(sheet.path, "sheet"),
            *(Link(path, path.removeprefix(sheet.evidence)) for path in sheet.attached),
        ],
    )


def _deciding(shall: Sequence[Finding], stated: StatedAssessment) -> Iterable[Line]:
    """Yield the requirements that decided, each with its acceptance if there is one."""
    accepted = {deviation.requirement: deviation for deviation in stated.deviations}
    for finding in shall:
        if finding.verdict in OUTSIDE:
            value, limit = format_value(finding), format_finding_limits(finding)
            deviation = accepted.get(finding.id)
            text = f"{finding.title}: {value}; limit {limit}"
            yield Line(finding.verdict, text, _accepted(deviation) if deviation else "")
        elif finding.verdict is Verdict.NOT_ASSESSED:
            yield Line(finding.verdict, f"{finding.title}: {reason_word(finding.reason)}")
        elif left_open(finding, stated.decision):
            text = f"{finding.title}: {_inside(finding, stated.decision)}"
            yield Line(finding_mark(finding, stated.decision), text)


def _inside(finding: Finding, decision: Decision) -> str:
    """Describe a value inside its limit, with its probability if known."""
    value = f"{format_value(finding)}; limit {format_finding_limits(finding)}"
    if finding.probability is None:
        return f"{value}; its uncertainty is not known"
    return f"{value}; p\u00a0{format_probability(finding.probability, decision.confidence)}"


def _accepted(deviation: StatedDeviation) -> str:
    until = format_date(deviation.until)
    return f"Accepted by {acceptor_words(deviation)} until {until}: {_text(deviation.reason)}"


def _until(stated: StatedAssessment) -> str:
    if not allows_something(stated.state.verdict, stated.disposition):
        return "–"
    return format_time(stated.valid_until) if stated.valid_until else "no end set"


# ---------------------------------------------------------------- rules


def _rule(rule: StatedRule) -> str:
    return f"{_text(rule.id)}, revision {rule.revision}"


def _rules(sheets: Sequence[Sheet]) -> list[RuleEntry]:
    """List the rules that do not test all of their documents, each text of a rule once."""
    rules = {sheet.assessment.rule.digest: sheet.assessment.rule for sheet in sheets}
    return [RuleEntry(_rule(rule), rule.not_covered) for rule in rules.values() if rule.not_covered]


# ---------------------------------------------------------------- signers


def _signature(signature: Signature, zone: Zone) -> str:
    """Name a signer, and the time, in UTC if the document does not state its offset."""
    role = "" if signature.role == "facility" else f", as {signature.role}"
    when = f", {format_time(zone.local(signature.claimed))}" if signature.claimed else ""
    return f"{_named(signature.signer)}{role}{when}"


def _named(signer: Signer | Acceptor) -> str:
    return ", ".join(part for part in (signer.name, signer.organisation) if part)


def _certificates(sheets: Sequence[Sheet]) -> list[Certificate]:
    """List the certificates of all signers of sheets and deviations, by digest."""
    signers = {
        signature.signer.fingerprint: _named(signature.signer)
        for sheet in sheets
        for signature in sheet.verification.signatures
    }
    for sheet in sheets:
        for acceptor in sheet.acceptors:
            signers.setdefault(acceptor.sha256, _named(acceptor))
    return [
        Certificate(
            path=f"data/certificates/{fingerprint}.pem",
            name=name,
            digest=" ".join(fingerprint[at : at + 8] for at in range(0, len(fingerprint), 8)),
        )
        for fingerprint, name in sorted(signers.items())
    ]
