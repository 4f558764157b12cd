"""`compliance assess`: judge a job's slots, write documents and sheets, print the outcome."""

from __future__ import annotations

import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from compliance.cli import error_lines
from compliance.cli._assess_inputs import (
    Call,
    WorkItem,
    cases_of,
    check_call,
    hint_missing_technology,
    lock_outputs,
    targets_of,
)
from compliance.cli._endings import Ending, endings_of, endings_of_signers, near, print_endings
from compliance.cli._files import write_file, write_new
from compliance.cli._findings_text import MANY, report
from compliance.cli._identity_options import (
    MAKE_ONE,
    SigningMeans,
    default_identity,
    long_term_options,
    pop_key_options,
    signing_options,
    warn_missing_timestamp,
)
from compliance.cli._letters import check_letters, lettering_of
from compliance.cli._options import (
    PATH,
    OneOf,
    allow_outside_option,
    bare_options,
    client_trust_option,
    font_option,
    format_option,
    input_format_option,
    now_option,
    out_option,
    replace_option,
    rules_option,
    slots_option,
    specs_option,
)
from compliance.cli._replaced import replacing
from compliance.cli._terminal import escape_controls
from compliance.cli._text import Progress, print_json, style
from compliance.cli.deviation import deviations_for
from compliance.documents import assessment_document, statement
from compliance.errors import ComplianceError
from compliance.lettering.choose import Lettering
from compliance.lettering.font_files import given_fonts
from compliance.model import Appendix, Assessment, Deviation, Job, Measurement
from compliance.report.exports import Fault, Result, exit_code, findings_csv, junit


@click.command()
@click.argument("target", metavar="JOB|READINGS", type=PATH)
@out_option("Folder to write documents and sheets to.", metavar="DIR")
@slots_option()
@rules_option(
    "Judge by this rule (id or .yaml file) instead of the deliverables that the job names; "
    "may be repeated."
)
@format_option()
@click.option("--junit", metavar="FILE", type=PATH, help="Also write a JUnit XML report.")
@click.option("--csv", metavar="FILE", type=PATH, help="Also write the findings as CSV.")
@click.option("--no-sheet", is_flag=True, help="Write no PDF.")
@click.option(
    "--quiet", is_flag=True, help="Print only errors and notes; the exit code is the outcome."
)
@replace_option("Overwrite files that already exist in DIR.")
@now_option()
@signing_options("that signs the sheets")
@long_term_options()
@click.option(
    "--deviation",
    metavar="FILE",
    type=PATH,
    multiple=True,
    help="Deviation that the client accepts, as written by 'deviation new'; may be repeated. "
    "It does not change the verdict.",
)
@client_trust_option("accept deviations")
@click.option(
    "--page",
    type=OneOf(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="Page size of the sheets.",
)
@click.option(
    "--appendix",
    "appendices",
    type=OneOf([each.value for each in Appendix]),
    multiple=True,
    help="Add an appendix to the sheets: all readings as a table. They are attached in any case.",
)
@font_option()
@specs_option()
@allow_outside_option()
@bare_options()
@input_format_option("Format of the readings; default: detected from the content.")
@click.pass_context
def command(ctx: click.Context, /, **given: Any) -> int:
    """Judge the slots of a JOB by their rules.

    Writes DIR/JOB-SLOT-RULE.json and .pdf for each slot and deliverable, and prints a table
    of the verdicts and the important findings.

    READINGS is a file of readings without a job: give --rule, and --encoding if the file does
    not state it; nothing is written.

    Exit codes: 0 all compliant, 1 not compliant, 2 wrong input or call, 3 undecided, or
    compliant but no longer valid, 4 internal or I/O failure; of several the first of 4, 2, 1,
    3, 0.
    """
    call = Call(keys=pop_key_options(given), **given)
    check_call(ctx, call)
    cases = cases_of(call)
    deviations = deviations_for(call, cases)
    targets = targets_of(call, cases)
    means = _means(call)
    with Progress(len(cases)) as progress:
        if call.draws_sheets:
            progress.show(READING)
            check_letters(call, cases, deviations, means.signer)
        with lock_outputs(call, targets):
            results = _run(call, cases, targets, means, bool(ctx.obj), deviations, progress)
    endings = _endings(results, means)
    code = _print_outcome(call, cases, results, endings, signed=means.identity is not None)
    warn_missing_timestamp(means.stamper)
    print_endings(endings, call.now)
    return code


READING = "reading the files"


def _means(call: Call) -> SigningMeans:
    return call.keys.means() if call.draws_sheets else SigningMeans()


# ---------------------------------------------------------------- the work


def _run(
    call: Call,
    cases: Sequence[WorkItem],
    targets: Sequence[Sequence[Path]],
    means: SigningMeans,
    with_traceback: bool,
    deviations: Sequence[Sequence[Deviation]],
    progress: Progress,
) -> list[Result]:
    """Return one result per case; a case that fails does not stop the others."""
    results: list[Result] = []
    for case, paths, held in zip(cases, targets, deviations, strict=True):
        progress.step(f"{case.source.name}, {case.deliverable}")
        results.append(_assess_case(call, case, paths, means, with_traceback, held))
    return results


def _assess_case(
    call: Call,
    case: WorkItem,
    paths: Sequence[Path],
    means: SigningMeans,
    with_traceback: bool,
    deviations: Sequence[Deviation],
) -> Result:
    named = case.source.name, case.deliverable
    from compliance.assessment import assess

    assessment: Assessment | None = None
    try:
        measurement = case.measurement(deviations)
        letters = _letters(call, measurement, means)
        asked = tuple(dict.fromkeys(map(Appendix, call.appendices)))
        assessed = assess(measurement, now=call.now, faces=letters.faces, appendices=asked)
        assessment = replacing(assessed, paths)
        _write(call, assessment, paths, means, letters)
    except Exception as error:
        if with_traceback:
            traceback.print_exception(error)
        return Result(*named, assessment, Fault(*error_lines(error)))
    return Result(*named, assessment, None, tuple(paths))


def _letters(call: Call, measurement: Measurement, means: SigningMeans) -> Lettering:
    """Choose the faces of a sheet, if one is drawn."""
    if not call.draws_sheets:
        return Lettering()
    return lettering_of(measurement, means.signer, given_fonts(call.fonts))


def _write(
    call: Call,
    assessment: Assessment,
    paths: Sequence[Path],
    means: SigningMeans,
    letters: Lettering,
) -> None:
    makers: dict[str, Callable[[], bytes]] = {
        ".json": lambda: _document(assessment),
        ".pdf": lambda: _sheet(call, assessment, means, letters),
    }
    if paths:
        write_new({path: makers[path.suffix]() for path in paths}, replace=call.replace)


def _document(assessment: Assessment) -> bytes:
    """Return the document, byte for byte as it is attached to the sheet."""
    from compliance.evidence.recompute import attachments

    return attachments(assessment)["assessment.json"]


def _sheet(call: Call, assessment: Assessment, means: SigningMeans, letters: Lettering) -> bytes:
    from compliance.sheet.make_sheet import write_sheet

    sheet = write_sheet(
        assessment,
        identity=means.identity,
        page=call.page,
        stamper=means.stamper,
        program=letters.program,
    )
    return means.archived(sheet, call.now)


# ---------------------------------------------------------------- the outcome


def _print_outcome(
    call: Call,
    cases: Sequence[WorkItem],
    results: Sequence[Result],
    endings: Sequence[Ending],
    *,
    signed: bool,
) -> int:
    """Write and print the reports; return the exit code."""
    failed = _write_reports(call, results)
    if call.form == "json":
        ending = [each.data(call.now) for each in near(endings, call.now)]
        print_json({**json_object(results), "ending": ending})
    elif not call.quiet:
        _print_text(results, cases[0].source.job)
    _print_notes(call, results, signed=signed)
    lines = dict.fromkeys(line for row in results if row.fault for line in row.fault.lines)
    if lines:
        click.echo("\n".join(lines), err=True)
    if failed is not None:
        raise failed
    return exit_code(results)


def _endings(results: Sequence[Result], means: SigningMeans) -> list[Ending]:
    """List what the assessments rest on that has an end."""
    signers = [means.identity.signer] if means.identity is not None else []
    assessments = [row.assessment for row in results if row.assessment and row.fault is None]
    stated = [end for each in assessments for end in endings_of(statement(each))]
    return [*stated, *endings_of_signers(signers)]


def _write_reports(call: Call, results: Sequence[Result]) -> ComplianceError | None:
    """Write the reports for other programs; return the first failure, to raise at the end."""
    failed: ComplianceError | None = None
    makers: list[tuple[Path | None, Callable[[], bytes]]] = [
        (call.junit, lambda: junit(results, call.now)),
        (call.csv, lambda: findings_csv(results)),
    ]
    for path, make in makers:
        try:
            if path is not None:
                write_file(path, make())
        except ComplianceError as error:
            failed = failed or error
    return failed


def _print_text(results: Sequence[Result], job: Job | None) -> None:
    if sys.stdout is None:
        return
    look = style()
    heading = []
    if job is not None:
        heading = [" · ".join(part for part in (job.reference, job.title, job.suite) if part)]
    click.echo(report(results, look, heading), nl=False, color=look.colour)


def json_object(results: Sequence[Result]) -> dict[str, Any]:
    """Return `{"assessments": [documents], "errors": [...]}`, in the order of the results."""
    return {
        "assessments": [assessment_document(row.assessment) for row in results if row.assessment],
        "errors": [
            {
                "slot": row.slot,
                "deliverable": row.deliverable,
                "exit_code": row.fault.code,
                "messages": list(row.fault.lines),
            }
            for row in results
            if row.fault
        ],
    }


def _print_notes(call: Call, results: Sequence[Result], *, signed: bool) -> None:
    """Print which files were written and what is missing: after a text report, beside JSON."""
    aside = call.form == "json"
    assessments = [row.assessment for row in results if row.assessment]
    hint_missing_technology(assessments, aside=aside)
    written = [row.files for row in results if row.files]
    if written and not aside and not call.quiet:
        click.echo("\nWritten:\n" + "\n".join(f"  {line}" for line in _written(written)))
    if call.draws_sheets and not signed and written:
        click.echo(
            "\nThe sheets are marked NOT SIGNED: no identity found in\n"
            f"  {escape_controls(str(default_identity()))}\nCreate one with:\n  {MAKE_ONE}",
            err=aside,
        )


def _written(files: Sequence[Sequence[Path]]) -> list[str]:
    """Name the files of each result, or the folder of many."""
    if len(files) <= MANY:
        return list(map(_named, files))
    return [f"{sum(map(len, files))} files in {escape_controls(str(files[0][0].parent))}"]


def _named(paths: Sequence[Path]) -> str:
    """Name files that differ only in their suffix: `out/A.json and .pdf`."""
    first, *rest = paths
    return escape_controls(" and ".join([str(first), *(path.suffix for path in rest)]))
