"""`compliance explain`: likely causes of what is outside its limits, and what to do next."""

from __future__ import annotations

import json
import sys
import traceback
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from compliance.cli import in_lines as explain_error
from compliance.cli.bare import BARE_ONLY, bare_options, check_rules, tell_lacking
from compliance.cli.cases import SUFFIXES, Case, bare_cases, check_target, job_cases
from compliance.cli.explanation import explained, lines_of, needs_document
from compliance.cli.layout import Style
from compliance.cli.moments import moment
from compliance.cli.results import Fault
from compliance.cli.specs import specs_option
from compliance.cli.terminal import colour_wanted, encodable
from compliance.errors import UsageError

__all__ = ["command"]

PATH = click.Path(path_type=Path)
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
@click.option(
    "--slot", "slots", metavar="SLOT", multiple=True, help="Only this slot; may be repeated."
)
@click.option(
    "--rule",
    "rules",
    metavar="ID|FILE",
    multiple=True,
    help="By this rule, instead of the deliverables that the job names; may be repeated.",
)
@bare_options
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="Of what is printed.",
)
@click.option("--now", metavar="TIME", callback=moment, help="RFC 3339; the clock's unless said.")
@click.option(
    "--before",
    "as_found",
    is_flag=True,
    help="Explain a job's readings before calibration instead, of the slots that have some.",
)
@click.option(
    "--allow-outside", is_flag=True, help="Let the job name files outside its own folder."
)
@specs_option
@click.pass_context
def command(
    ctx: click.Context, /, target: Path, form: str, now: datetime | None, **given: Any
) -> int:
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
    when = now or datetime.now(UTC).replace(microsecond=0)
    documents, faults = _documents(target, when, given, with_traceback=bool(ctx.obj))
    told = [explained(document, str(target)) for document in documents]
    if form == "json":
        found = {"explanations": told, "errors": [_error(fault) for fault in faults]}
        text = json.dumps(found, indent=2, ensure_ascii=False)
        click.echo(encodable(text, sys.stdout.encoding or "ascii"))
    else:
        style = Style(sys.stdout.encoding or "ascii", colour_wanted(sys.stdout))
        blocks = ["\n".join(lines_of(one, style)) for one in told]
        if blocks:
            click.echo("\n\n".join(blocks).replace("\u00a0", " "))
    if target.suffix.lower() not in STATED:
        tell_lacking(documents, aside=form == "json")
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
        return [_stated(target, given)], []
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


def _stated(target: Path, given: Mapping[str, Any]) -> Mapping[str, Any]:
    """The document in a file, which says its own slot and rule."""
    from compliance.cli.deviations import stated_in_file

    for name, option in OF_READINGS.items():
        if given[name]:
            whose = "a job" if name in OF_JOBS else "a job or readings"
            raise UsageError(f"--{option} goes with {whose}; {target} says its own")
    document, _ = stated_in_file(target)
    needs_document(document, str(target))
    return document


def _cases(target: Path, given: Mapping[str, Any]) -> Sequence[Case]:
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
