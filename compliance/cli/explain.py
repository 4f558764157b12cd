"""`compliance explain`: list the likely causes of values outside their limits, and next steps."""

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
    NOT_FOR_JOBS,
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
from compliance.model.stated import StatedAssessment
from compliance.plain_data import MALFORMED
from compliance.report.causes import CauseWords
from compliance.report.explanation import Explanation, explanation
from compliance.report.exports import Fault
from compliance.report.verdict import INKS, outcome_mark
from compliance.report.words.en import headings as words
from compliance.report.words.en.headings import REMARKS, next_step
from compliance.report.words.en.verdicts import outcome_word

NUMBERS = 44
"""Columns of the name of a number."""


def require_causes(document: Mapping[str, Any], file: str) -> None:
    """Raise DeviationError if a document has no causes: another program wrote it."""
    if not isinstance(document.get("causes"), list) or not isinstance(
        document.get("findings"), list
    ):
        raise DeviationError(
            Problem(
                file,
                "missing; expected an assessment document as 'compliance assess' writes it; assess "
                "the job again",
                field="causes",
            )
        )


def explain(stated: StatedAssessment, file: str) -> Explanation:
    """Explain an assessment; DeviationError if its values make no sense."""
    try:
        return explanation(stated)
    except MALFORMED as fault:
        raise not_ours(file, f"{type(fault).__name__}: {fault}") from None


def explanation_object(explained: Explanation, *, from_file: bool) -> dict[str, Any]:
    """Return an explanation as JSON; from a file, its parts have sorted keys as in the file."""
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
    """Lay out one explanation for the terminal."""
    lines = [_head(explained, style), *paragraph(words.summary(explained), style)]
    for unjudged in explained.open if not explained.outside else ():
        lines += bullet(words.why_open(unjudged), style)
    for miss in explained.stated:
        lines += bullet(words.why_missed(miss), style)
    if explained.causes:
        lines += paragraph(words.OPINION, style)
    for cause in explained.causes:
        lines += ["", *_cause(cause, style)]
    if explained.unexplained:
        lines += ["", *paragraph(explained.unexplained, style)]
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


def _cause(cause: CauseWords, style: Style) -> Iterator[str]:
    first, *rest = wrap(style.text(f"{cause.rank}. {cause.title}"), COLUMNS - 2)
    yield f"  {style.ink(first, 'strong')}"
    yield from (" " * 5 + style.ink(line, "strong") for line in rest)
    for text in (cause.text, cause.explains, next_step(cause.next_step)):
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
"""Suffixes of files that contain a finished assessment."""
UNKNOWN = 3
ORDER = (4, 2, 3, 0)
"""Of several exit codes, the first in this order is the program's."""


OF_READINGS = {
    "slots": "slot",
    "rules": "rule",
    **{name: name for name in BARE_ONLY},
    "specs": "specs",
    "allow_outside": "allow-outside",
    "as_found": "before",
}
"""Options that do not apply to a finished assessment."""
OF_JOBS = ("slots", "as_found")
"""Options that do not apply to bare readings either."""


@click.command("explain")
@click.argument("target", metavar="ASSESSMENT.json|SHEET.pdf|JOB|READINGS", type=PATH)
@slots_option()
@rules_option("Judge by this rule instead of the deliverables that the job names; may be repeated.")
@bare_options()
@format_option()
@now_option()
@click.option(
    "--before",
    "as_found",
    is_flag=True,
    help="Explain the readings before calibration instead, for slots of a job that have some.",
)
@allow_outside_option()
@specs_option()
@click.pass_context
def command(ctx: click.Context, /, target: Path, form: str, now: datetime, **given: Any) -> int:
    """List the likely causes why a slot misses its rule, and what to do next.

    For an assessment or a signed sheet, prints the causes stated in it. The slots of a JOB, or
    READINGS with --rule (and --encoding if the file does not state it), are judged first.
    Models of possible faults are fitted to the readings. A cause is named if its model fits
    clearly better than the rule's target, or if white or black is off and nothing else
    explains it. There may be no known cause. Nothing is written.

    Exit codes: 0 causes named, or nothing to explain, 3 no known cause, or nothing outside but
    not all could be judged, 2 wrong input or call, 4 internal or I/O failure; of several the
    first of 4, 2, 3, 0.
    """
    assessments, faults = _assessments(target, now, given, with_traceback=bool(ctx.obj))
    from_file = target.suffix.lower() in STATED
    explanations = [explain(assessment, str(target)) for assessment in assessments]
    if form == "json":
        objects = [explanation_object(each, from_file=from_file) for each in explanations]
        print_json({"explanations": objects, "errors": [_error(fault) for fault in faults]})
    else:
        blocks = ["\n".join(lines_of(each, style())) for each in explanations]
        if blocks:
            click.echo("\n\n".join(blocks).replace("\u00a0", " "))
    if not from_file:
        hint_missing_technology(assessments, aside=form == "json")
    lines = dict.fromkeys(line for fault in faults for line in fault.lines)
    if lines:
        click.echo("\n".join(lines), err=True)
    codes = {fault.code for fault in faults} | {_code(each) for each in explanations}
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
    """Return the assessments to explain, and an error for each one that failed."""
    if target.suffix.lower() in STATED:
        return [_statement(target, now, given)], []
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


def _statement(target: Path, now: datetime, given: Mapping[str, Any]) -> StatedAssessment:
    """Read the assessment in a file, which states its own slot and rule."""
    for name, option in OF_READINGS.items():
        if given[name]:
            whose = "a job" if name in OF_JOBS else "a job or readings"
            raise UsageError(f"--{option} is for {whose}; {target} is a finished assessment")
    document, _ = document_in_file(target, now)
    require_causes(document, str(target))
    return stated_in(document, str(target))


def _cases(target: Path, given: Mapping[str, Any]) -> Sequence[WorkItem]:
    rules, specs = given["rules"], given["specs"]
    check_target(target)
    if target.suffix.lower() in SUFFIXES:
        for name in BARE_ONLY:
            if given[name]:
                raise UsageError(f"--{name} {NOT_FOR_JOBS}")
        return job_cases(target, given["slots"], rules, specs, allow_outside=given["allow_outside"])
    for name in OF_JOBS:
        if given[name]:
            raise UsageError(f"--{OF_READINGS[name]} requires a job file")
    check_rules(target, rules)
    return bare_cases(target, rules, specs, **{name: given[name] for name in BARE_ONLY})
