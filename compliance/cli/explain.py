"""`compliance explain`: likely causes of what is outside its limits, and what to do next."""

from __future__ import annotations

import traceback
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from compliance.cli import error_lines as explain_error
from compliance.cli._assess_inputs import (
    SUFFIXES,
    WorkItem,
    bare_cases,
    check_rules,
    check_target,
    hint_missing_technology,
    job_cases,
)
from compliance.cli._deviations import document_in_file, not_ours, stated_in
from compliance.cli._findings_text import SIGNS
from compliance.cli._options import (
    BARE_ONLY,
    PATH,
    allow_outside_option,
    bare_options,
    format_option,
    now_option,
    rules_option,
    slots_option,
    specs_option,
)
from compliance.cli._terminal import width
from compliance.cli._text import COLUMNS, Style, columns, pad, print_json, style, wrap
from compliance.documents import statement, written
from compliance.errors import DeviationError, Problem, UsageError
from compliance.grading.decide import OUTSIDE
from compliance.model import (
    Calibration,
    Finding,
    Level,
    Outcome,
    Reason,
    Verdict,
)
from compliance.model.stated import (
    StatedAssessment,
    StatedCause,
    StatedEvidence,
    StatedGrade,
    StatedRemark,
)
from compliance.plain_data import MALFORMED
from compliance.quantities.catalogue import is_stated
from compliance.report.numbers import (
    format_finding_limits,
    format_number,
    format_plain,
    format_value,
    with_unit,
)
from compliance.report.results import Fault
from compliance.report.verdict import INKS, outcome_mark
from compliance.report.words.en.verdicts import outcome_word, reason_word

INDENT = 4
NAMED = 3
"""Missing patches named of a requirement."""
NUMBERS = 44
"""Columns of what a number is of."""


@dataclass(frozen=True, slots=True)
class Named:
    """A requirement by its names."""

    id: str
    title: str
    level: Level


@dataclass(frozen=True, slots=True)
class StatedMiss(Named):
    """A requirement on a field of the job, which no reading explains, and what the field says."""

    value: str
    limits: str


@dataclass(frozen=True, slots=True)
class Unjudged(Named):
    """A requirement that could not be judged."""

    reason: Reason | None
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Explanation:
    """What there is to tell of an assessment."""

    number: str
    slot: str | None
    rule: str
    revision: int
    verdict: Outcome
    conditional: bool
    outside: tuple[Named, ...]
    stated: tuple[StatedMiss, ...]
    open: tuple[Unjudged, ...]
    causes: tuple[StatedCause, ...]
    heading: str
    outside_before: int
    calibration: Calibration | None
    remarks: tuple[StatedRemark, ...]
    printed: Mapping[str, tuple[str, str]]
    """By requirement the values before and after calibration as the sheet prints them."""


def require_causes(document: Mapping[str, Any], file: str) -> None:
    """Raise DeviationError where a document says nothing of causes: it was made otherwise."""
    if not isinstance(document.get("causes"), list) or not isinstance(
        document.get("findings"), list
    ):
        raise DeviationError(
            Problem(
                file,
                "holds no causes; expected an assessment document as 'compliance assess' writes "
                "it; assess the job again",
                field="causes",
            )
        )


def explanation(stated: StatedAssessment, file: str) -> Explanation:
    """What there is to tell of an assessment; DeviationError where its values make no sense."""
    try:
        return _explanation(stated)
    except MALFORMED as fault:
        raise not_ours(file, f"{type(fault).__name__}: {fault}") from None


def _explanation(stated: StatedAssessment) -> Explanation:
    state, before = stated.state, stated.before
    outside = _outside(state)
    return Explanation(
        number=stated.number,
        slot=stated.slot.slot if stated.slot else None,
        rule=stated.rule.id,
        revision=stated.rule.revision,
        verdict=state.verdict,
        conditional=state.conditional,
        outside=tuple(
            Named(finding.id, finding.title, finding.level)
            for finding in outside
            if not is_stated(finding.quantity)
        ),
        stated=tuple(
            StatedMiss(
                finding.id,
                finding.title,
                finding.level,
                format_value(finding),
                format_finding_limits(finding),
            )
            for finding in outside
            if is_stated(finding.quantity)
        ),
        open=tuple(
            Unjudged(finding.id, finding.title, finding.level, finding.reason, finding.missing)
            for finding in state.findings
            if finding.verdict is Verdict.NOT_ASSESSED
            and finding.reason is not Reason.NOT_APPLICABLE
        ),
        causes=stated.causes,
        heading=stated.heading,
        outside_before=len(_outside(before)) if before else 0,
        calibration=stated.calibration,
        remarks=state.remarks,
        printed=_printed(stated.calibration, before, state) if before else {},
    )


def _printed(
    calibration: Calibration | None, before: StatedGrade, after: StatedGrade
) -> Mapping[str, tuple[str, str]]:
    was, is_now = (
        {finding.id: format_value(finding, state.findings) for finding in state.findings}
        for state in (before, after)
    )
    shifts = calibration.shifts if calibration else ()
    return {shift.id: (was[shift.id], is_now[shift.id]) for shift in shifts}


def _outside(state: StatedGrade) -> list[Finding]:
    return [finding for finding in state.findings if finding.verdict in OUTSIDE]


def explanation_object(explained: Explanation) -> dict[str, Any]:
    """An explanation as JSON."""
    plain: dict[str, Any] = written(explained)
    printed = plain.pop("printed")
    for shift in plain["calibration"]["shifts"] if plain["calibration"] else ():
        shift["printed"] = printed[shift["id"]]
    return plain


# ---------------------------------------------------------------- lines


def lines_of(explained: Explanation, style: Style) -> list[str]:
    """One explanation as lines of a terminal."""
    lines = [_head(explained, style)]
    lines += _paragraph(_sum(explained), style, 2)
    for unjudged in explained.open if not explained.outside else ():
        lines += _bullet(f"{unjudged.title}: {_why_open(unjudged)}", style)
    for miss in explained.stated:
        lines += _bullet(
            f"{miss.title}: {miss.value} stated, {miss.limits} asked. No reading tells why: "
            "put right the suite, or what the job says of it.",
            style,
        )
    for place, cause in enumerate(explained.causes, 1):
        lines += ["", *_cause(place, cause, style)]
    if explained.calibration is not None:
        lines += ["", *_calibration(explained.calibration, explained.printed, style)]
    if explained.outside_before:
        lines += _paragraph(_found(explained.outside_before), style, INDENT)
    if explained.remarks:
        lines += ["", "  Remarks"]
        for remark in explained.remarks:
            lines += _bullet(remark.text, style)
    return lines


def _head(explained: Explanation, style: Style) -> str:
    mark = outcome_mark(explained.verdict, explained.conditional)
    word = outcome_word(explained.verdict, explained.conditional)
    subject = f"Slot {explained.slot}" if explained.slot is not None else "Readings"
    if explained.heading == "before":
        subject += " before calibration"
    title = style.text(f"{subject} · {explained.rule}, revision {explained.revision}")
    verdict = style.text(f"{SIGNS[mark]} {word}")
    space = max(2, COLUMNS - width(title) - width(verdict))
    return style.ink(title, "strong") + " " * space + style.ink(verdict, INKS[mark])


def _sum(explained: Explanation) -> str:
    outside = explained.outside
    if not outside:
        return _nothing_outside(explained)
    names = "; ".join(requirement.title for requirement in outside)
    count = f"{len(outside)} requirement{'s' if len(outside) > 1 else ''}"
    if not explained.causes:
        return (
            f"Outside their limits: {count} ({names}). No known cause: none of the models that "
            "were tried fits the readings clearly better than the rule's own target."
        )
    return f"Outside their limits: {count} ({names}). Likely causes, the likeliest first:"


def _nothing_outside(explained: Explanation) -> str:
    if any(row.level is Level.SHALL for row in explained.open):
        return "No value that could be judged lies outside its limits, but these were not judged:"
    if explained.stated:
        return "Every value that was measured lies inside its limits. What the job states does not:"
    return "Every value that was judged lies inside its limits; there is nothing to explain."


def _why_open(row: Unjudged) -> str:
    why = reason_word(row.reason)
    missing = row.missing
    more = f" and {len(missing) - NAMED} more" if len(missing) > NAMED else ""
    return f"{why}: {'; '.join(missing[:NAMED])}{more}" if missing else why


def _cause(place: int, cause: StatedCause, style: Style) -> Iterator[str]:
    first, *rest = wrap(style.text(f"{place}. {cause.title}"), COLUMNS - 2)
    yield f"  {style.ink(first, 'strong')}"
    yield from (" " * 5 + style.ink(line, "strong") for line in rest)
    yield from _paragraph(cause.text, style, 5)
    yield from _paragraph(f"Next: {cause.next_step}", style, 5)
    for evidence in cause.evidence:
        value = with_unit(format_plain(_rounded(evidence)), evidence.unit)
        what = style.text(evidence.what)
        yield f"     {style.ink(pad(what, NUMBERS), 'grey')} {style.text(value)}".rstrip()


def _rounded(evidence: StatedEvidence) -> float:
    """A share to three digits: a model's fit knows no more. Codes and levels are kept whole."""
    return float(f"{evidence.value:.3g}") if evidence.unit == "%" else evidence.value


def _calibration(
    calibration: Calibration, printed: Mapping[str, tuple[str, str]], style: Style
) -> Iterator[str]:
    yield "  What calibration changed"
    before, after, lost = calibration.white_before, calibration.white_after, calibration.lost
    if before is not None and after is not None and lost is not None:
        word = "lost" if lost >= 0 else "gained"
        wanted = format_plain(float(f"{calibration.wanted:.3g}"))
        yield from _paragraph(
            f"Luminance {format_number(before)} to {format_number(after)}\u00a0cd/m² "
            f"({format_plain(float(f'{abs(lost):.2g}'))}\u00a0% {word}); to end at "
            f"{format_plain(calibration.asked)}\u00a0cd/m² a slot wants about "
            f"{wanted} to start from.",
            style,
            INDENT,
        )
    rows = [[("requirement", "grey"), ("before", "grey"), ("after", "grey")]]
    for shift in calibration.shifts:
        rows.append([(style.text(text), "") for text in (shift.title, *printed[shift.id])])
    if len(rows) > 1:
        yield from (f"    {line}" for line in columns(rows, (36, 17, 17), style))


def _found(outside: int) -> str:
    were = "1 value was" if outside == 1 else f"{outside} values were"
    return f"Before calibration {were} outside the limits; with --before they are explained."


def _paragraph(text: str, style: Style, indent: int) -> Iterator[str]:
    return (" " * indent + line for line in wrap(style.text(text), COLUMNS - indent))


def _bullet(text: str, style: Style) -> Iterator[str]:
    first, *rest = wrap(style.text(text), COLUMNS - INDENT)
    yield style.text("  · ") + first
    yield from (" " * INDENT + line for line in rest)


STATED = (".json", ".pdf")
"""Suffixes of files that hold an assessment already made."""
UNKNOWN = 3
ORDER = (4, 2, 3, 0)
"""Over several the first code present in this order is the program's."""


OF_READINGS = {
    "slots": "slot",
    "rules": "rule",
    **{name: name for name in BARE_ONLY},
    "specs": "specs",
    "allow_outside": "allow-outside",
    "as_found": "before",
}
"""Options that an assessment already made leaves nothing to."""
OF_JOBS = ("slots", "as_found")
"""Those of them that bare readings have no use for either."""


@click.command("explain")
@click.argument("target", metavar="ASSESSMENT.json|SHEET.pdf|JOB|READINGS", type=PATH)
@slots_option()
@rules_option("By this rule, instead of the deliverables that the job names; may be repeated.")
@bare_options()
@format_option()
@now_option()
@click.option(
    "--before",
    "as_found",
    is_flag=True,
    help="Explain a job's readings before calibration instead, of the slots that have some.",
)
@allow_outside_option()
@specs_option()
@click.pass_context
def command(ctx: click.Context, /, target: Path, form: str, now: datetime, **given: Any) -> int:
    """Say what likely keeps a slot from meeting its rule, and what to do next.

    Of an assessment or a signed sheet the causes stated in it are told; the slots of a JOB,
    or READINGS with --rule, and --encoding where the file does not state it, are judged
    first. Models of what may be wrong are fitted to the readings, and a cause is named where
    its model fits clearly better, or where white or black is off and nothing else explains
    it; that none is known is an answer too. Nothing is written.

    Exit codes: 0 causes are named, or there is nothing to explain, 3 no known cause, or
    nothing outside but not all could be judged, 2 the input or the call is wrong, 4 an internal
    or I/O failure; of several the first of 4, 2, 3, 0.
    """
    assessments, faults = _assessments(target, now, given, with_traceback=bool(ctx.obj))
    told = [explanation(assessment, str(target)) for assessment in assessments]
    if form == "json":
        explanations = [explanation_object(explained) for explained in told]
        print_json({"explanations": explanations, "errors": [_error(fault) for fault in faults]})
    else:
        blocks = ["\n".join(lines_of(explained, style())) for explained in told]
        if blocks:
            click.echo("\n\n".join(blocks).replace("\u00a0", " "))
    if target.suffix.lower() not in STATED:
        hint_missing_technology(assessments, aside=form == "json")
    lines = dict.fromkeys(line for fault in faults for line in fault.lines)
    if lines:
        click.echo("\n".join(lines), err=True)
    codes = {fault.code for fault in faults} | {_code(explained) for explained in told}
    return next((code for code in ORDER if code in codes), 4)


def _code(explained: Explanation) -> int:
    unknown = explained.outside and not explained.causes
    unread = not explained.outside and any(row.level is Level.SHALL for row in explained.open)
    return UNKNOWN if unknown or unread else 0


def _error(fault: Fault) -> dict[str, Any]:
    return {"exit_code": fault.code, "messages": list(fault.lines)}


# ---------------------------------------------------------------- where the assessments are from


def _assessments(
    target: Path, now: datetime, given: Mapping[str, Any], *, with_traceback: bool
) -> tuple[list[StatedAssessment], list[Fault]]:
    """The assessments to explain, and why some are not there."""
    if target.suffix.lower() in STATED:
        return [_statement(target, given)], []
    assessments: list[StatedAssessment] = []
    faults: list[Fault] = []
    cases = _cases(target, given)
    if given["as_found"]:
        cases = [case for case in cases if case.source.before] or cases
    for case in cases:
        try:
            assessments.append(statement(case.assess(now, as_found=given["as_found"])))
        except Exception as error:
            if with_traceback:
                traceback.print_exception(error)
            faults.append(Fault(*explain_error(error)))
    return assessments, faults


def _statement(target: Path, given: Mapping[str, Any]) -> StatedAssessment:
    """The assessment in a file, which says its own slot and rule."""
    for name, option in OF_READINGS.items():
        if given[name]:
            whose = "a job" if name in OF_JOBS else "a job or readings"
            raise UsageError(f"--{option} goes with {whose}; {target} says its own")
    document, _ = document_in_file(target)
    require_causes(document, str(target))
    return stated_in(document, str(target))


def _cases(target: Path, given: Mapping[str, Any]) -> Sequence[WorkItem]:
    rules, specs = given["rules"], given["specs"]
    check_target(target)
    if target.suffix.lower() in SUFFIXES:
        for name in BARE_ONLY:
            if given[name]:
                raise UsageError(f"--{name} goes with a bare readings file; a job says its own")
        return job_cases(target, given["slots"], rules, specs, allow_outside=given["allow_outside"])
    for name in OF_JOBS:
        if given[name]:
            raise UsageError(f"--{OF_READINGS[name]} goes with a job")
    check_rules(target, rules)
    return bare_cases(target, rules, specs, **{name: given[name] for name in BARE_ONLY})
