"""`compliance explain`: likely causes of what is outside its limits, and what to do next."""

from __future__ import annotations

import json
import traceback
from collections.abc import Iterator, Mapping, Sequence
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
from compliance.cli._findings_text import INDENT, SIGNS, bullet, paragraph
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
from compliance.cli.deviation import document_in_file, not_ours, stated_in
from compliance.documents import statement, written
from compliance.errors import DeviationError, Problem, UsageError
from compliance.model import (
    Calibration,
    Level,
)
from compliance.model.stated import (
    StatedAssessment,
    StatedCause,
)
from compliance.plain_data import MALFORMED
from compliance.report.explanation import Explanation, explanation
from compliance.report.exports import Fault
from compliance.report.verdict import INKS, outcome_mark
from compliance.report.words.en import headings as words
from compliance.report.words.en.headings import REMARKS, next_step
from compliance.report.words.en.verdicts import outcome_word

NUMBERS = 44
"""Columns of what a number is of."""


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


def explain(stated: StatedAssessment, file: str) -> Explanation:
    """What there is to tell of an assessment; DeviationError where its values make no sense."""
    try:
        return explanation(stated)
    except MALFORMED as fault:
        raise not_ours(file, f"{type(fault).__name__}: {fault}") from None


def explanation_object(explained: Explanation, *, from_file: bool) -> dict[str, Any]:
    """An explanation as JSON; of what a file states the keys are in order, as they are there."""
    plain: dict[str, Any] = written(explained)
    printed = plain.pop("printed")
    if from_file:
        stated = {key: plain[key] for key in ("causes", "calibration", "remarks")}
        plain |= json.loads(json.dumps(stated, sort_keys=True))
    for shift in plain["calibration"]["shifts"] if plain["calibration"] else ():
        shift["printed"] = printed[shift["id"]]
    return plain


# ---------------------------------------------------------------- lines


def lines_of(explained: Explanation, style: Style) -> list[str]:
    """One explanation as lines of a terminal."""
    lines = [_head(explained, style), *paragraph(words.summary(explained), style)]
    for unjudged in explained.open if not explained.outside else ():
        lines += bullet(words.why_open(unjudged), style)
    for miss in explained.stated:
        lines += bullet(words.why_missed(miss), style)
    for place, cause in enumerate(explained.causes, 1):
        lines += ["", *_cause(place, cause, style)]
    if explained.calibration is not None:
        lines += ["", *_calibration(explained.calibration, explained.printed, style)]
    lines += paragraph(words.outside_before(explained.outside_before), style, INDENT)
    if explained.remarks:
        lines += ["", f"  {REMARKS}"]
    return lines + [line for remark in explained.remarks for line in bullet(remark.text, style)]


def _head(explained: Explanation, style: Style) -> str:
    mark = outcome_mark(explained.verdict, explained.conditional)
    word = outcome_word(explained.verdict, explained.conditional)
    title = style.text(words.subject(explained))
    verdict = style.text(f"{SIGNS[mark]} {word}")
    space = max(2, COLUMNS - width(title) - width(verdict))
    return style.ink(title, "strong") + " " * space + style.ink(verdict, INKS[mark])


def _cause(place: int, cause: StatedCause, style: Style) -> Iterator[str]:
    first, *rest = wrap(style.text(f"{place}. {cause.title}"), COLUMNS - 2)
    yield f"  {style.ink(first, 'strong')}"
    yield from (" " * 5 + style.ink(line, "strong") for line in rest)
    for text in (cause.text, next_step(cause.next_step)):
        yield from paragraph(text, style, 5)
    for evidence in cause.evidence:
        what, value = style.text(evidence.what), style.text(words.evidence_value(evidence))
        yield f"     {style.ink(pad(what, NUMBERS), 'grey')} {value}".rstrip()


def _calibration(
    calibration: Calibration, printed: Mapping[str, tuple[str, str]], style: Style
) -> Iterator[str]:
    yield f"  {words.CALIBRATION}"
    yield from paragraph(words.white_changed(calibration), style, INDENT)
    rows = [[(title, "grey") for title in words.CALIBRATION_COLUMNS]]
    for shift in calibration.shifts:
        rows.append([(style.text(text), "") for text in (shift.title, *printed[shift.id])])
    if len(rows) > 1:
        yield from (f"    {line}" for line in columns(rows, (36, 17, 17), style))


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
    from_file = target.suffix.lower() in STATED
    told = [explain(assessment, str(target)) for assessment in assessments]
    if form == "json":
        explanations = [explanation_object(explained, from_file=from_file) for explained in told]
        print_json({"explanations": explanations, "errors": [_error(fault) for fault in faults]})
    else:
        blocks = ["\n".join(lines_of(explained, style())) for explained in told]
        if blocks:
            click.echo("\n\n".join(blocks).replace("\u00a0", " "))
    if not from_file:
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
