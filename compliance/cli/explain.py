"""`compliance explain`: likely causes of what is outside its limits, and what to do next."""

from __future__ import annotations

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
from compliance.documents import finding_of
from compliance.errors import DeviationError, Problem, UsageError
from compliance.model import Outcome, Reason
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

Document = Mapping[str, Any]
OUTSIDE = ("fail", "conditional-fail")
INDENT = 4
NAMED = 3
"""Missing patches named of a requirement."""
NUMBERS = 44
"""Columns of what a number is of."""


def require_assessment(document: Document, file: str) -> None:
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


def explanation(document: Document, file: str) -> dict[str, Any]:
    """What there is to tell, from a document; DeviationError where it is none of this tool's."""
    try:
        slot = document["slot"]
        return {
            "number": document["number"],
            "slot": None if slot is None else slot["slot"],
            "rule": document["rule"]["id"],
            "revision": document["rule"]["revision"],
            "verdict": document["verdict"],
            "conditional": document["conditional"],
            "outside": [
                _named(one) for one in _outside(document) if not is_stated(one["quantity"])
            ],
            "stated": [
                {**_named(one), "value": format_value(row), "limits": format_finding_limits(row)}
                for one in _outside(document)
                if is_stated(one["quantity"])
                for row in [finding_of(one)]
            ],
            "open": [
                {**_named(one), "reason": one["reason"], "missing": one["missing"]}
                for one in document["findings"]
                if one["verdict"] == "not-assessed" and one["reason"] != "not-applicable"
            ],
            "causes": [dict(one) for one in document["causes"]],
            "heading": document["heading"],
            "outside_before": len(_outside(document["before"] or {"findings": []})),
            "calibration": _calibrated(document),
            "remarks": [dict(one) for one in document["remarks"]],
        }
    except (KeyError, TypeError, AttributeError) as error:
        told = f"is no assessment document of this tool ({type(error).__name__}: {error})"
        raise DeviationError(Problem(file, told)) from None


def _calibrated(document: Document) -> dict[str, Any] | None:
    """What calibration changed, each value also as the sheet prints it."""
    if document["calibration"] is None:
        return None
    told = [_printed(document["before"]), _printed(document)]
    shifts = [
        {**shift, "printed": [texts[shift["id"]] for texts in told]}
        for shift in document["calibration"]["shifts"]
    ]
    return {**document["calibration"], "shifts": shifts}


def _printed(state: Document) -> dict[str, str]:
    found = [finding_of(one) for one in state["findings"]]
    return {one.id: format_value(one, found) for one in found}


def _named(finding: Document) -> dict[str, Any]:
    return {"id": finding["id"], "title": finding["title"], "level": finding["level"]}


def _outside(document: Document) -> list[Document]:
    return [one for one in document["findings"] if one["verdict"] in OUTSIDE]


# ---------------------------------------------------------------- lines


def lines_of(one: Mapping[str, Any], style: Style) -> list[str]:
    """One explanation as lines of a terminal."""
    lines = [_head(one, style)]
    lines += _paragraph(_sum(one), style, 2)
    for row in one["open"] if not one["outside"] else ():
        lines += _bullet(f"{row['title']}: {_why_open(row)}", style)
    for row in one["stated"]:
        lines += _bullet(
            f"{row['title']}: {row['value']} stated, {row['limits']} asked. No reading tells why: "
            "put right the suite, or what the job says of it.",
            style,
        )
    for place, cause in enumerate(one["causes"], 1):
        lines += ["", *_cause(place, cause, style)]
    if one["calibration"] is not None:
        lines += ["", *_calibration(one["calibration"], style)]
    if one["outside_before"]:
        lines += _paragraph(_found(one["outside_before"]), style, INDENT)
    if one["remarks"]:
        lines += ["", "  Remarks"]
        for remark in one["remarks"]:
            lines += _bullet(remark["text"], style)
    return lines


def _head(one: Mapping[str, Any], style: Style) -> str:
    outcome = Outcome(one["verdict"])
    mark = outcome_mark(outcome, one["conditional"])
    word = outcome_word(outcome, one["conditional"])
    subject = f"Slot {one['slot']}" if one["slot"] is not None else "Readings"
    if one["heading"] == "before":
        subject += " before calibration"
    title = style.text(f"{subject} · {one['rule']}, revision {one['revision']}")
    verdict = style.text(f"{SIGNS[mark]} {word}")
    space = max(2, COLUMNS - width(title) - width(verdict))
    return style.ink(title, "strong") + " " * space + style.ink(verdict, INKS[mark])


def _sum(one: Mapping[str, Any]) -> str:
    outside, causes = one["outside"], one["causes"]
    if not outside:
        return _nothing_outside(one)
    names = "; ".join(found["title"] for found in outside)
    count = f"{len(outside)} requirement{'s' if len(outside) > 1 else ''}"
    if not causes:
        return (
            f"Outside their limits: {count} ({names}). No known cause: none of the models that "
            "were tried fits the readings clearly better than the rule's own target."
        )
    return f"Outside their limits: {count} ({names}). Likely causes, the likeliest first:"


def _nothing_outside(one: Mapping[str, Any]) -> str:
    if any(row["level"] == "shall" for row in one["open"]):
        return "No value that could be judged lies outside its limits, but these were not judged:"
    if one["stated"]:
        return "Every value that was measured lies inside its limits. What the job states does not:"
    return "Every value that was judged lies inside its limits; there is nothing to explain."


def _why_open(row: Mapping[str, Any]) -> str:
    why = reason_word(Reason(row["reason"]) if row["reason"] else None)
    missing = row["missing"]
    more = f" and {len(missing) - NAMED} more" if len(missing) > NAMED else ""
    return f"{why}: {'; '.join(missing[:NAMED])}{more}" if missing else why


def _cause(place: int, cause: Mapping[str, Any], style: Style) -> Iterator[str]:
    first, *rest = wrap(style.text(f"{place}. {cause['title']}"), COLUMNS - 2)
    yield f"  {style.ink(first, 'strong')}"
    yield from (" " * 5 + style.ink(line, "strong") for line in rest)
    yield from _paragraph(cause["text"], style, 5)
    yield from _paragraph(f"Next: {cause['next_step']}", style, 5)
    for number in cause["evidence"]:
        value = with_unit(format_plain(_rounded(number)), number["unit"])
        what = style.text(number["what"])
        yield f"     {style.ink(pad(what, NUMBERS), 'grey')} {style.text(value)}".rstrip()


def _rounded(number: Mapping[str, Any]) -> float:
    """A share to three digits: a model's fit knows no more. Codes and levels are kept whole."""
    value = float(number["value"])
    return float(f"{value:.3g}") if number["unit"] == "%" else value


def _calibration(found: Mapping[str, Any], style: Style) -> Iterator[str]:
    yield "  What calibration changed"
    before, after, lost = found["white_before"], found["white_after"], found["lost"]
    if before is not None and after is not None and lost is not None:
        word = "lost" if lost >= 0 else "gained"
        wanted = format_plain(float(f"{found['wanted']:.3g}"))
        yield from _paragraph(
            f"Luminance {format_number(before)} to {format_number(after)}\u00a0cd/m² "
            f"({format_plain(float(f'{abs(lost):.2g}'))}\u00a0% {word}); to end at "
            f"{format_plain(found['asked'])}\u00a0cd/m² a slot wants about "
            f"{wanted} to start from.",
            style,
            INDENT,
        )
    rows = [[("requirement", "grey"), ("before", "grey"), ("after", "grey")]]
    for shift in found["shifts"]:
        rows.append([(style.text(text), "") for text in (shift["title"], *shift["printed"])])
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
    documents, faults = _documents(target, now, given, with_traceback=bool(ctx.obj))
    told = [explanation(document, str(target)) for document in documents]
    if form == "json":
        print_json({"explanations": told, "errors": [_error(fault) for fault in faults]})
    else:
        blocks = ["\n".join(lines_of(one, style())) for one in told]
        if blocks:
            click.echo("\n\n".join(blocks).replace("\u00a0", " "))
    if target.suffix.lower() not in STATED:
        hint_missing_technology(documents, aside=form == "json")
    lines = dict.fromkeys(line for fault in faults for line in fault.lines)
    if lines:
        click.echo("\n".join(lines), err=True)
    codes = {fault.code for fault in faults} | {_code(one) for one in told}
    return next((code for code in ORDER if code in codes), 4)


def _code(one: Mapping[str, Any]) -> int:
    unknown = one["outside"] and not one["causes"]
    unread = not one["outside"] and any(row["level"] == "shall" for row in one["open"])
    return UNKNOWN if unknown or unread else 0


def _error(fault: Fault) -> dict[str, Any]:
    return {"exit_code": fault.code, "messages": list(fault.lines)}


# ---------------------------------------------------------------- where the documents are from


def _documents(
    target: Path, now: datetime, given: Mapping[str, Any], *, with_traceback: bool
) -> tuple[list[Mapping[str, Any]], list[Fault]]:
    """The assessments to explain, and why some are not there."""
    if target.suffix.lower() in STATED:
        return [_statement(target, given)], []
    documents: list[Mapping[str, Any]] = []
    faults: list[Fault] = []
    cases = _cases(target, given)
    if given["as_found"]:
        cases = [case for case in cases if case.source.before] or cases
    for case in cases:
        try:
            documents.append(case.assess(now, as_found=given["as_found"]).document)
        except Exception as error:
            if with_traceback:
                traceback.print_exception(error)
            faults.append(Fault(*explain_error(error)))
    return documents, faults


def _statement(target: Path, given: Mapping[str, Any]) -> Mapping[str, Any]:
    """The document in a file, which says its own slot and rule."""
    from compliance.cli._deviations import stated_in_file

    for name, option in OF_READINGS.items():
        if given[name]:
            whose = "a job" if name in OF_JOBS else "a job or readings"
            raise UsageError(f"--{option} goes with {whose}; {target} says its own")
    document, _ = stated_in_file(target)
    require_assessment(document, str(target))
    return document


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
