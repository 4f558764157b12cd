"""From an assessment to its report."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from compliance.model import Assessment, GradedReadings, Level, Remark, Rule
from compliance.report.appendix import reading_tables
from compliance.report.causes import cause_words, unexplained
from compliance.report.house import house_changes, house_sentence
from compliance.report.numbers import format_sheet_number
from compliance.report.report import Report, Row, State, Tally
from compliance.report.verdict import (
    applies,
    count,
    deciding,
    failing,
    outcome_mark,
    rank,
    with_uncertainty,
)
from compliance.report.words import remark_text
from compliance.report.words.en import provenance, statements, verdicts
from compliance.report.words.en.decisions import decision_sentence, risk_sentences
from compliance.report.words.en.grammar import capital
from compliance.report.words.en.requirements import judged_in_part, not_met, requirement_rows
from compliance.report.words.en.rules import departures_sentence, rule_name

SERIOUS = (
    "normalised",
    "unit",
    "encoding",
    "conflicting",
    "replaced",
    "meter-past-due",
    "meter-inadequate",
    "rule-archived",
    "rule-replaced",
    "rule-changed",
    "rule-unversioned",
)
"""Remarks that page 1 shows even if others do not fit."""


def build_report(assessment: Assessment, parent: Rule | None = None) -> Report:
    """The report of an assessment; `parent` is what its house rule extends, if that is shipped."""
    rule, before = assessment.rule, assessment.before
    decision = rule.decision
    only_before = assessment.heading == "before"
    name = statements.BEFORE if only_before else statements.CALIBRATED
    now = _state(assessment, assessment.state, statements.AFTER if before else name)
    rows = {row.finding.id: row for row in now.rows}
    decisive = deciding(assessment.state, decision)
    uncertain = with_uncertainty(assessment.state)
    return Report(
        number=format_sheet_number(assessment.number),
        title=statements.judged(assessment),
        purpose=statements.judged_for(rule),
        subtitle=statements.subtitle(assessment),
        heading_lines=statements.heading_lines(assessment),
        running=statements.running(assessment),
        slot=statements.subject(assessment),
        rule=rule_name(rule),
        when=statements.NOT_CALIBRATED if only_before else "",
        heading=statements.ONLY_BEFORE if only_before else "",
        now=now,
        before=_state(assessment, before, statements.BEFORE) if before else None,
        earlier=statements.earlier(before),
        untraceable=statements.untraceable(assessment),
        house=house_sentence(rule, parent),
        validity=verdicts.validity(assessment),
        dates=statements.dates(assessment),
        tallies=tuple(_tallies(assessment, rows)),
        deciding=tuple(rows[finding.id] for finding in decisive),
        deciding_title=verdicts.deciding_title(decisive[0], decision) if decisive else "",
        disposition=statements.disposition(assessment),
        accepted=tuple(map(verdicts.accepted_sentence, assessment.deviations)),
        risk=risk_sentences(assessment.state, decision),
        asked=tuple(provenance.asked(assessment)),
        measured=tuple(provenance.measured(assessment)),
        scope=tuple(statements.scope(assessment)),
        remarks=_short_remarks(assessment.state.remarks),
        serious=sum(remark.kind in SERIOUS for remark in assessment.state.remarks),
        facility=statements.facility(assessment),
        departures=departures_sentence(rule),
        changes=house_changes(rule, parent, assessment.state.findings),
        not_covered=provenance.not_covered(rule),
        provenance=provenance.provenance(assessment),
        definitions=provenance.definitions(assessment),
        method=statements.METHOD,
        reading=statements.READING if uncertain else "",
        decision=decision_sentence(decision, uncertain),
        bases=provenance.bases(assessment.state),
        cautions=tuple(statements.cautions(assessment)),
        readings=reading_tables(assessment),
    )


def _state(assessment: Assessment, state: GradedReadings, name: str) -> State:
    held = assessment.deviations if state is assessment.state else ()
    word = verdicts.outcome_word(state.verdict, state.conditional)
    no_cause = unexplained(state.causes, state.findings)
    if not state.causes and any(row.points for row in failing(state.findings)):
        no_cause = statements.NO_CAUSE
    return State(
        name=name,
        mark=outcome_mark(state.verdict, state.conditional),
        word=word,
        headline=capital(word),
        sentence=verdicts.outcome_sentence(assessment, state),
        rows=requirement_rows(state.findings, assessment.rule, held),
        in_part=judged_in_part(sorted(state.findings, key=rank)),
        remarks=tuple(map(remark_text, state.remarks)),
        causes=cause_words(state.causes, state.findings),
        no_cause=no_cause,
    )


def _tallies(assessment: Assessment, rows: Mapping[str, Row]) -> Iterable[Tally]:
    for level, label in statements.LEVELS.items():
        graded = [row for row in assessment.state.findings if row.level is level and applies(row)]
        if graded:
            counts = count(graded, assessment.rule.decision)
            missed = not_met([rows[row.id] for row in failing(graded, Level.SHOULD)])
            marks = tuple(rows[row.id].mark for row in graded)
            yield Tally(label, verdicts.tally_words(counts), marks, missed)


def _short_remarks(remarks: Iterable[Remark]) -> tuple[str, ...]:
    """Remarks for page 1, the serious first, long lists cut."""
    ordered = sorted(remarks, key=lambda remark: remark.kind not in SERIOUS)
    return tuple(remark_text(remark, short=True) for remark in ordered)
