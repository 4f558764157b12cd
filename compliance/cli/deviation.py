"""`compliance deviation`: accept a value outside its limits; check who accepted it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from compliance.cli._assess_inputs import Call, WorkItem
from compliance.cli._files import clean_name, verify_any_signer
from compliance.cli._options import read_trust
from compliance.cli._terminal import escape_controls, print_plain
from compliance.cli._text import COLUMNS, print_json, wrap
from compliance.documents import read_document
from compliance.errors import DeviationError, Problem
from compliance.grading.deviation_check import expiry
from compliance.model import Deviation, Value
from compliance.model.results import DeviationCheck
from compliance.model.stated import StatedAssessment
from compliance.plain_data import ShapeError, digest
from compliance.report.deviation_check import check_data, check_lines
from compliance.report.verification import step_line
from compliance.yaml_nodes.read_file import read_bytes

if TYPE_CHECKING:
    from compliance.model.signatures import Signer


from datetime import UTC, date

from compliance.cli._files import check_folder, check_new_file, check_targets, write_new
from compliance.cli._identity_options import (
    MAKE_ONE,
    default_identity,
    pop_key_options,
    signing_options,
    warn_missing_timestamp,
)
from compliance.cli._options import (
    PATH,
    client_trust_option,
    format_option,
    now_option,
    out_option,
    parse_date,
    replace_option,
    timestamp_trust_option,
)
from compliance.errors import IdentityError, UsageError
from compliance.report.exports import exit_code
from compliance.report.words.en.verdicts import accepted_sentence

LARGEST = 1 << 17
"""Most bytes of a deviation file."""
LARGEST_ASSESSMENT = 64 << 20
"""Most bytes of a sheet, or of an assessment document."""


def check(
    file: Path, trusted: Sequence[Signer] | None, stamping: Sequence[Signer], now: datetime
) -> DeviationCheck:
    """Check a deviation file against the trusted signers (None: none given) and the time.

    With `stamping`, certificates of time-stamping authorities, it needs a time stamp.
    """
    from compliance.evidence.deviation_file import read_deviation, require_deviation

    try:
        data = read_bytes(file, DeviationError, "deviation", limit=LARGEST)
        require_deviation(data, str(file))
    except DeviationError as fault:
        return DeviationCheck(str(file), None, faults=_messages(fault), code=2)
    try:
        deviation, signature = read_deviation(data, str(file), trusted or (), stamping)
    except DeviationError as fault:
        return DeviationCheck(str(file), None, faults=_messages(fault), code=1)
    faults = []
    if now >= expiry(deviation):
        faults.append(f"{file}: expired: it was accepted until {deviation.until.isoformat()}")
    if trusted is not None and signature.trusted_as is None:
        faults.append(f"{file}: the signer is not among the trusted certificates")
    stamp = signature.stamp
    proven = not stamping or (stamp is not None and stamp.trusted_as is not None)
    code = 1 if faults else 0 if signature.trusted_as and proven else 3
    return DeviationCheck(
        str(file), deviation, signature, tuple(faults), code, trusted is None, not stamping
    )


def _messages(fault: DeviationError) -> tuple[str, ...]:
    return tuple(str(problem) for problem in fault.problems)


def parts_of(file: Path, folder: Path) -> dict[Path, bytes]:
    """Return the signed data and the signature, by their paths in `folder`."""
    from compliance.evidence.deviation_file import payload_and_signature

    data = read_bytes(file, DeviationError, "deviation", limit=LARGEST)
    signed, signature = payload_and_signature(data, str(file))
    stem = clean_name(file.stem)
    return {folder / f"{stem}.signed.json": signed, folder / f"{stem}.p7s": signature}


# ---------------------------------------------------------------- for an assessment


def deviations_for(call: Call, cases: Sequence[WorkItem]) -> list[list[Deviation]]:
    """Return the deviations of the call and of its job, by the case that each is for.

    Signatures are checked, expiry and fit with the findings. One that the job keeps may be for
    a case that is not assessed in this call. Raises DeviationError, a line for each file that is
    not a deviation, was changed, is not signed by a trusted person, or is for another case.
    """
    found: list[list[Deviation]] = [[] for _ in cases]
    job = cases[0].source.job
    kept = job.deviations if job is not None else ()
    if not call.deviation and not kept:
        if call.client_trust:
            raise UsageError("--client-trust requires --deviation, or deviations in the job")
        return found
    from compliance.evidence.deviation_file import load_deviation

    trusted = read_trust(call.client_trust) if call.client_trust else None
    problems: list[Problem] = []
    seen: set[str] = set()
    for file in (*call.deviation, *kept):
        try:
            deviation = load_deviation(file, trusted)
        except DeviationError as fault:
            problems += fault.problems
            continue
        if (content := digest(deviation.document)) in seen:
            continue
        seen.add(content)
        places = [index for index, case in enumerate(cases) if is_for(deviation, case)]
        elsewhere = file in kept and (call.slots or call.rules)
        if places:
            found[places[0]].append(deviation)
        elif not (elsewhere and job is not None and deviation.job == job.reference):
            problems.append(Problem(str(file), _elsewhere(deviation, cases)))
    if problems:
        raise DeviationError(problems)
    return found


def is_for(deviation: Deviation, case: WorkItem) -> bool:
    """Return whether a deviation is for a case's job, slot and rule."""
    job = case.source.job
    named = (job.reference if job else None, case.source.name, case.deliverable)
    return named == (deviation.job, deviation.slot, deviation.rule)


def _elsewhere(deviation: Deviation, cases: Sequence[WorkItem]) -> str:
    first = cases[0].source.job
    slots = ", ".join(f"{case.source.name} by {case.deliverable}" for case in cases)
    return (
        f"is for job {deviation.job}, slot {deviation.slot} by {deviation.rule}; this call "
        f"assesses job {first.reference if first else 'not stated'}, slot {slots}"
    )


# ---------------------------------------------------------------- what is accepted


def document_in_file(file: Path, now: datetime) -> tuple[dict[str, Any], Signer | None]:
    """Read the assessment in a .json file or a sheet, as plain data, and the sheet's signer.

    Raises DeviationError if there is none, if it was changed, or if the sheet's signature is
    not valid.
    """
    facility = None
    data = read_bytes(file, DeviationError, "assessment", limit=LARGEST_ASSESSMENT)
    from compliance.evidence.attachments import numbering_fault, read_assessment

    if data.startswith(b"%PDF-"):
        data, facility = _from_sheet(data, file, now)
    try:
        stated = read_assessment({"assessment.json": data})
        fault = numbering_fault(stated)
    except ValueError as error:
        raise DeviationError(Problem(str(file), str(error))) from None
    if fault is not None:
        raise DeviationError(Problem(str(file), fault))
    return dict(stated), facility


def stated_in(document: Mapping[str, Any], file: str) -> StatedAssessment:
    """Read an assessment document; DeviationError if this tool did not write it."""
    try:
        return read_document(document)
    except ShapeError as fault:
        raise not_ours(file, str(fault)) from None


def not_ours(file: str, fault: str) -> DeviationError:
    """Return the error for a document that this tool did not write."""
    return DeviationError(Problem(file, f"is not an assessment document of this tool ({fault})"))


def _from_sheet(data: bytes, file: Path, now: datetime) -> tuple[bytes, Signer]:
    from compliance.evidence.attachments import largest_size
    from compliance.signing.attached_files import read_attachments

    found = verify_any_signer(data, now)
    if found.failed:
        fault = f"{step_line(found.failed[0])}; see: compliance verify {file}"
        raise DeviationError(Problem(str(file), fault))
    attached = read_attachments(data, largest=largest_size)
    return attached["assessment.json"], found.signatures[0].signer


# ---------------------------------------------------------------- what is printed


def print_checked(checked: Sequence[DeviationCheck], form: str) -> None:
    """Print the result of every file; faults on standard error."""
    if form == "json":
        print_json({"deviations": [check_data(each) for each in checked]})
    else:
        for index, lines in enumerate(filter(None, map(check_lines, checked))):
            if index:
                click.echo()
            first, *rest = lines
            print_plain(first)
            for line in rest:
                for part in wrap(escape_controls(line.replace("\u00a0", " ")), COLUMNS - 2):
                    click.echo(f"  {part}")
    for each in checked:
        for fault in each.faults:
            print_plain(fault, err=True)


@click.group("deviation")
def command() -> None:
    """Accept a value outside its limits; check who accepted it.

    With a deviation a client accepts, by signature and until a date, that one slot misses one
    requirement as far as it was measured, and no further. It does not change the verdict:
    'assess --deviation' states it beside the finding.
    """


def _parse_value(ctx: click.Context, param: click.Parameter, value: str | None) -> Value | None:
    """Parse a number, or two with a comma."""
    if value is None:
        return None
    try:
        numbers = [float(part) for part in value.split(",")]
    except ValueError:
        numbers = []
    if len(numbers) not in (1, 2) or not all(map(math.isfinite, numbers)):
        message = f"{value!r} is not a value; expected a number, e.g. 115, or two, e.g. 0.01,0.02"
        raise click.BadParameter(message, ctx, param)
    return numbers[0] if len(numbers) == 1 else (numbers[0], numbers[1])


@command.command("new")
@click.argument("source", metavar="ASSESSMENT.json|SHEET.pdf", type=PATH)
@click.option("--requirement", metavar="ID", required=True, help="Requirement that is missed.")
@click.option("--reason", required=True, help="Why it is accepted.")
@click.option("--accepted-by", metavar="NAME", required=True, help="Who accepts it.")
@click.option(
    "--until",
    metavar="DATE",
    required=True,
    callback=parse_date,
    help="Last day it is accepted, e.g. 2026-12-31.",
)
@click.option(
    "--up-to",
    metavar="VALUE",
    callback=_parse_value,
    help="Also accept another value, e.g. of a re-measurement, up to this one, in the same unit; "
    "two numbers with a comma for x and y. Default: no further than the value now.",
)
@out_option("File to write.", required=True)
@replace_option("Overwrite the file if it already exists.")
@now_option()
@signing_options("of the person who accepts")
def new(source: Path, out: Path, replace: bool, now: datetime, **given: Any) -> None:
    """Accept one value of an assessment that lies outside its limits.

    The client, or another person who may accept it, signs; the facility gets the file.
    """
    from compliance.evidence.deviation_file import (
        Acceptance,
        check_acceptor,
        mark_checked,
        new_deviation,
        read_deviation,
    )

    keys = pop_key_options(given)
    keys.check()
    until: date = given["until"]
    if until < now.astimezone(UTC).date():
        raise UsageError(f"--until: {until.isoformat()} is in the past")
    check_new_file(out, replace)
    document, facility = document_in_file(source, now)
    stated = stated_in(document, str(source))
    acceptance = Acceptance(
        reason=_line("--reason", given["reason"]),
        accepted_by=_line("--accepted-by", given["accepted_by"]),
        accepted=now,
        until=until,
        up_to=given["up_to"],
    )
    means = keys.means()
    if means.identity is None:
        raise IdentityError(
            f"{default_identity()}: no identity; give --identity FILE, or create one: {MAKE_ONE}"
        )
    data = new_deviation(
        stated,
        given["requirement"],
        acceptance,
        means.identity,
        stamper=means.stamper,
        file=str(source),
    )
    deviation, _ = read_deviation(data, str(out))
    if facility is not None:
        check_acceptor(deviation, facility)
    write_new({out: data}, replace=replace)
    sentence = accepted_sentence(mark_checked(deviation))
    print_plain(f"{out}: {sentence}".replace("\u00a0", " "))
    warn_missing_timestamp(means.stamper)


@command.command("verify")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=PATH)
@client_trust_option("accept deviations")
@timestamp_trust_option("the deviation")
@click.option(
    "--unpack",
    metavar="DIR",
    type=PATH,
    help="Also write the signed data and the signature, for 'openssl cms -verify'.",
)
@replace_option("Overwrite files that already exist in DIR.")
@now_option()
@format_option()
def verify(
    files: tuple[Path, ...],
    client_trust: tuple[Path, ...],
    timestamp_trust: tuple[Path, ...],
    unpack: Path | None,
    replace: bool,
    now: datetime,
    form: str,
) -> int:
    """Check each deviation FILE: unchanged, signer, not expired.

    Exit codes: 0 all valid, 1 one was changed, has expired or has an untrusted signer, 2 wrong
    input or call, 3 unchanged, but the signer or the time stamp was not checked.
    """
    trusted = read_trust(client_trust) if client_trust else None
    stamping = read_trust(timestamp_trust)
    checked = [check(file, trusted, stamping, now) for file in files]
    if unpack is not None:
        _unpack(files, unpack, replace)
    print_checked(checked, form)
    return exit_code(checked)


def _unpack(files: tuple[Path, ...], folder: Path, replace: bool) -> None:
    written: dict[Path, bytes] = {}
    for file in files:
        written |= parts_of(file, folder)
    check_folder(folder)
    check_targets(written, replace)
    write_new(written, replace=replace)


def _line(option: str, text: str) -> str:
    try:
        text.encode()
    except UnicodeEncodeError:
        # A system with another encoding turns unknown characters into surrogates.
        fault = f"{option}: has characters that this system's encoding does not have"
        raise UsageError(f"{fault}; expected UTF-8, e.g. with PYTHONUTF8=1") from None
    return " ".join(text.split())
