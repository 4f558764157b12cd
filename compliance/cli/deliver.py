"""`compliance deliver`: pack a job's sheets and their evidence into one folder or .zip."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from compliance.cli._assess_inputs import SUFFIXES, job_cases, outputs
from compliance.cli._endings import Ending, endings_of, endings_of_signers, print_endings
from compliance.cli._files import (
    check_new_file,
    check_place,
    clean_name,
    sheets_in,
    verify_any_signer,
    write_folder,
    write_new,
)
from compliance.cli._identity_options import (
    KeyOptions,
    SigningMeans,
    pop_key_options,
    signing_options,
    warn_missing_timestamp,
)
from compliance.cli._options import (
    PATH,
    allow_outside_option,
    now_option,
    out_option,
    replace_option,
    specs_option,
)
from compliance.cli._requirements import Requirements
from compliance.cli._terminal import print_plain
from compliance.errors import DeliveryError, Problem, UsageError
from compliance.evidence.attachments import (
    BEFORE,
    JOB,
    METER,
    READINGS,
    Attached,
    parse_json,
    readings_name,
)
from compliance.model import Rule
from compliance.plain_data import digest
from compliance.report.verification import sheet_says_with_today
from compliance.yaml_nodes.read_file import read_bytes

if TYPE_CHECKING:
    from compliance.cli._assess_inputs import WorkItem
    from compliance.delivery.contents import PackedSheet, Sheet
    from compliance.model import Readings
    from compliance.model.stated import StatedAssessment


def stale_parts(packed: PackedSheet, case: WorkItem) -> Iterator[str]:
    """Name the parts of a sheet's evidence that differ from its case's files now.

    Raises ComplianceError if the case's files cannot be read.
    """
    readings, before, meter = case.source.read()
    job, sheet = case.source.job, packed.attached
    yield from _keys(_document(sheet, JOB), job.document if job else None, "job")
    yield from _read(sheet, READINGS, readings)
    yield from _read(sheet, BEFORE, before)
    yield from _keys(_document(sheet, METER), meter.document if meter else None, "meter")
    if not isinstance(case.rule, Rule):
        raise case.rule
    if packed.sheet.assessment.rule.digest != case.rule.digest:
        yield f"rule {case.rule.id}"
    yield from _new_deviations(packed.sheet.assessment, case)


def _new_deviations(stated: StatedAssessment, case: WorkItem) -> Iterator[str]:
    """Name the deviations that the job keeps for a sheet and that it does not mention."""
    job = case.source.job
    if job is None or not job.deviations:
        return
    from compliance.cli.deviation import is_for
    from compliance.evidence.deviation_file import load_deviation

    known = {each.sha256 for each in (*stated.deviations, *stated.lapsed)}
    for file in job.deviations:
        deviation = load_deviation(file)
        if is_for(deviation, case) and digest(deviation.document) not in known:
            yield f"deviation ({file})"


def _document(attached: Attached, name: str) -> Any:
    return parse_json(attached[name], name) if name in attached else None


def _read(attached: Attached, part: str, readings: Readings | None) -> Iterator[str]:
    data = attached.get(readings_name(part, attached))
    if data != (readings.data if readings else None):
        yield f"{part} ({readings.file})" if readings else part


def _keys(stated: Any, now: Any, place: str) -> Iterator[str]:
    """Name the keys in which two documents differ, as deep as both are mappings."""
    if isinstance(stated, Mapping) and isinstance(now, Mapping):
        for key in dict.fromkeys([*stated, *now]):
            yield from _keys(stated.get(key), now.get(key), f"{place}.{key}")
    elif isinstance(stated, list) and isinstance(now, list) and len(stated) == len(now):
        for entry, other in zip(stated, now, strict=True):
            yield from _keys(entry, other, place)
    elif stated != now:
        yield place


OTHER_ARCHIVES = (".7z", ".bz2", ".gz", ".rar", ".tar", ".tbz", ".tgz", ".txz", ".xz", ".zst")
"""Suffixes of archives that are not .zip."""


@click.command("deliver")
@click.argument("source", metavar="DIR|JOB", type=PATH)
@out_option("Folder or .zip to write.", metavar="FOLDER|FILE.zip", required=True)
@click.option(
    "--sheets",
    "folder",
    metavar="DIR",
    type=PATH,
    help="With JOB: the folder that 'assess --out' wrote its sheets to.",
)
@click.option("--no-signature", is_flag=True, help="Do not sign the delivery as a whole.")
@replace_option("Overwrite an existing delivery.")
@specs_option("With JOB: folder of further rule files; may be repeated.")
@allow_outside_option("With JOB: let it name files outside its own folder.")
@now_option("Time of signing as RFC 3339; default: now.")
@signing_options("that signs the delivery")
def command(
    source: Path,
    out: Path,
    folder: Path | None,
    no_signature: bool,
    replace: bool,
    specs: tuple[Path, ...],
    allow_outside: bool,
    now: datetime,
    **given: Any,
) -> int:
    """Pack the signed sheets in DIR for the client, or those of JOB from --sheets DIR.

    Writes a BagIt bag (RFC 8493): sheets, evidence, certificates, and an overview, index.html.
    All sheets must be valid and belong to one job; with JOB, they must match its current
    files. Check the delivery with 'compliance verify'.
    """
    from compliance.delivery.build import build_delivery, check_sheets, sign_delivery

    keys = pop_key_options(given)
    keys.check()
    if no_signature and keys != KeyOptions():
        raise UsageError("--no-signature cannot be combined with options of a key or a time stamp")
    cases = _cases(source, folder, specs, allow_outside)
    files = list(cases)
    archive = out.suffix.lower() == ".zip"
    _check_out(out, archive, replace, files)
    means = SigningMeans() if no_signature else keys.means()
    packed = _packed(files, now)
    sheets = [each.sheet for each in packed]
    check_sheets(sheets, str(folder or source))
    _check_current(dict(zip(files, packed, strict=True)), cases)
    contents = build_delivery(packed)
    if means.identity is not None:
        contents = sign_delivery(contents, means.identity, now, means.stamper)
    if archive:
        from compliance.delivery.stored_zip import zip_bytes

        write_new({out: zip_bytes(contents, clean_name(out.stem))}, replace=replace)
    else:
        write_folder(out, contents, replace=replace)
    _print_outcome(out, sheets, means, now)
    return 0


def _check_out(out: Path, archive: bool, replace: bool, files: Sequence[Path]) -> None:
    if any(file.resolve().is_relative_to(out.resolve()) for file in files):
        raise UsageError(f"--out: the sheets are in {out}; choose another place")
    if out.suffix.lower() in OTHER_ARCHIVES:
        raise UsageError(f"--out: {out}: expected the name of a folder or of a .zip file")
    if archive:
        check_new_file(out, replace)
    else:
        check_place(out, replace)


# ---------------------------------------------------------------- the sheets


def _cases(
    source: Path, folder: Path | None, specs: Sequence[Path], allow_outside: bool
) -> Mapping[Path, WorkItem | None]:
    """Return the sheets' files; for a job, each with its case. Raises DeliveryError if one of the
    job's sheets is missing."""
    if source.is_dir():
        if folder is not None or specs or allow_outside:
            raise UsageError("--sheets, --specs and --allow-outside require a job file")
        return dict.fromkeys(sheets_in(source))
    if source.suffix.lower() not in SUFFIXES:
        raise UsageError(
            f"{source}: expected a folder of sheets, or a job file whose name ends in .yaml"
        )
    if folder is None:
        raise UsageError("a job file requires --sheets DIR, the folder of its sheets")
    cases = job_cases(source, (), (), specs, allow_outside=allow_outside)
    wanted = [path for (path,) in outputs(cases, folder, [".pdf"])]
    missing = [path for path in wanted if not path.is_file()]
    if missing:
        fault = "sheet not found; write it with 'compliance assess'"
        raise DeliveryError([Problem(str(path), fault) for path in missing])
    return dict(zip(wanted, cases, strict=True))


def _check_current(
    sheets: Mapping[Path, PackedSheet], cases: Mapping[Path, WorkItem | None]
) -> None:
    """Check that each sheet matches its job's files as they are now. Raises DeliveryError."""

    problems = []
    for file, sheet in sheets.items():
        case = cases[file]
        stale = ", ".join(stale_parts(sheet, case)) if case is not None else ""
        if stale:
            why = f"the job has changed since: {stale}"
            what = "assess it again, or give only the folder to deliver the sheets as they are"
            problems.append(Problem(str(file), f"{why}; {what}"))
    if problems:
        raise DeliveryError(problems)


def _packed(files: Sequence[Path], now: datetime) -> list[PackedSheet]:
    from compliance.delivery.contents import packed_sheet
    from compliance.verification import LARGEST_SHEET

    sheets, names = [], dict[str, Path]()
    for file in files:
        name = clean_name(file.stem)
        other = names.setdefault(name.casefold(), file)
        if other is not file:
            raise DeliveryError(
                Problem(str(file), f"would get the same name as {other}; rename one of them")
            )
        data = read_bytes(file, DeliveryError, "sheet", limit=LARGEST_SHEET)
        sheets.append(packed_sheet(name, data, verify_any_signer(data, now)))
    return sheets


# ---------------------------------------------------------------- the outcome


def _print_outcome(out: Path, sheets: Sequence[Sheet], means: SigningMeans, now: datetime) -> None:
    required = Requirements((), now)
    endings: list[Ending] = []
    for sheet in sheets:
        count = len(sheet.verification.signatures)
        signatures = "1 signature" if count == 1 else f"{count} signatures"
        said = f"{sheet_says_with_today(sheet.verification)}, {signatures}"
        print_plain(f"{sheet.name}: {said}{required.validity_tail(sheet.verification)}")
        endings += endings_of(sheet.assessment)
        endings += endings_of_signers(each.signer for each in sheet.verification.signatures)
    if means.identity is None:
        print_plain("The delivery itself is not signed; each sheet in it is.")
    else:
        print_plain(f"Delivery signed by {means.identity.signer.name}.")
    print_plain(f"Written: {out}")
    warn_missing_timestamp(means.stamper)
    own = [means.identity.signer] if means.identity is not None else []
    print_endings([*endings, *endings_of_signers(own)], now)
