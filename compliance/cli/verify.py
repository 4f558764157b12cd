"""`compliance verify`: check sheets, folders of sheets and deliveries, step by step."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

import click

from compliance.cli._files import (
    check_new_file,
    read_sheet,
    reject_non_sheet,
    sheets_of,
    silence_libraries,
    write_new,
)
from compliance.cli._options import (
    PATH,
    check_fonts,
    client_trust_option,
    crl_option,
    font_option,
    format_option,
    now_option,
    read_known_rules,
    read_lists,
    read_trust,
    timestamp_trust_option,
    trust_option,
)
from compliance.cli._requirements import Requirements, requirement_options
from compliance.cli._terminal import escape_controls, print_note, print_plain
from compliance.cli._text import COLUMNS, print_json, wrap
from compliance.errors import DeliveryError, SheetError, UsageError
from compliance.model.results import (
    DeliveryVerification,
    Expected,
    Required,
    Step,
    Verification,
    known_rules,
)
from compliance.report.exports import exit_code
from compliance.report.verification import (
    delivery_data,
    delivery_outcome,
    delivery_sheets,
    delivery_title,
    sheet_data,
    sheet_outcome,
    step_details,
    step_text,
    step_title,
)

MARGIN = " " * 5


@dataclass(frozen=True, slots=True)
class Checked:
    """A sheet or a delivery with its verification, or why it could not be read."""

    file: Path
    verification: Verification | DeliveryVerification | None
    fault: str = ""
    is_delivery: bool = False
    code: int = 2
    """The exit code for this one alone, with what is required."""

    @property
    def number(self) -> str | None:
        """The number of a sheet that states one."""
        return self.verification.number if isinstance(self.verification, Verification) else None


@click.command("verify")
@click.argument("sheets", metavar="SHEET|DELIVERY...", nargs=-1, required=True, type=PATH)
@trust_option()
@client_trust_option("countersign and accept deviations")
@timestamp_trust_option("every signature")
@click.option(
    "--any-signer",
    is_flag=True,
    help="Accept any signer: check everything but who signed. A facility still cannot accept or "
    "countersign for its client.",
)
@requirement_options()
@click.option(
    "--rules",
    metavar="FOLDER|DIGEST",
    multiple=True,
    help="Your own copies of rules that are not shipped: a folder of rule files, or the SHA-256 of "
    "one; may be repeated.",
)
@crl_option()
@font_option()
@click.option(
    "--redraw",
    metavar="OUT",
    type=PATH,
    help="Also write the pages as this version draws them from the evidence of the one SHEET, not "
    "signed, to compare them by eye.",
)
@now_option("Time of the check as RFC 3339: nothing can have been signed later; default: now.")
@format_option()
def command(
    sheets: tuple[Path, ...],
    trust: tuple[Path, ...],
    client_trust: tuple[Path, ...],
    timestamp_trust: tuple[Path, ...],
    any_signer: bool,
    required: tuple[Required, ...],
    on: date | None,
    rules: tuple[str, ...],
    crls: tuple[Path, ...],
    fonts: tuple[Path, ...],
    redraw: Path | None,
    now: datetime,
    form: str,
) -> int:
    """Check each SHEET: signature, signer, time, attachments, and the outcome recomputed.

    A DELIVERY is a folder or .zip as 'deliver' writes it: checks that it is complete, every
    sheet in it, and that it lists the sheets correctly. Nothing is unpacked. In any other
    folder each sheet is checked by itself.

    A certificate is judged at the time of a trusted time stamp, or else at the time that the
    signer claims. Whether it was revoked by then is judged from the lists and answers that an
    archive stamp carries (--long-term of 'assess' and 'countersign', 'archive') and from --crl;
    without any revocation is not checked. Nothing is fetched.

    A sheet of an earlier version whose definitions (engine) were others is computed again by
    today's: both outcomes are printed, and the exit code is 3. So it is if the pages cannot be
    compared here, because another version or other libraries drew them; --redraw OUT draws the
    same evidence here.

    The rule must be the one that is shipped under its id and revision. One that nobody ships is
    named first, with exit code 3, unless --rules gives your own copy of it.

    Letters that another type face drew are drawn again with the same face, if the system has it
    or --font gives it; else their shapes are not checked, and the exit code is 3.

    Exit codes: 0 valid, 1 something is broken or the signer is not trusted, 2 wrong input or
    call, 3 intact but not everything was checked or compared, 4 internal or I/O failure; of
    several sheets the first of 4, 2, 1, 3, 0. That a verdict has expired changes the exit code
    only with --require current.
    """
    for option, given in (("--trust", trust), ("--client-trust", client_trust)):
        if given and any_signer:
            raise UsageError(f"give {option} or --any-signer, not both")
    if redraw is not None:
        _check_redraw(sheets, redraw)
    expected = Expected(
        signers=tuple(read_trust(trust)),
        stamping=tuple(read_trust(timestamp_trust)),
        any_signer=any_signer,
        clients=tuple(read_trust(client_trust)),
        lists=read_lists(crls),
        now=now,
        rules=known_rules(read_known_rules(rules)),
        fonts=check_fonts(fonts),
    )
    requirements = Requirements.given(required, on, now)
    checked = [each for sheet in sheets for each in _checked(sheet, expected, requirements)]
    if form == "json":
        print_json(
            {
                "sheets": [_data(each, requirements) for each in checked if not each.is_delivery],
                "deliveries": [_data(each, requirements) for each in checked if each.is_delivery],
            }
        )
    else:
        _print(checked, requirements)
    for each in checked:
        if each.fault:
            print_note(each.fault)
        elif redraw is not None:
            _write_redrawn(each.file, redraw, fonts)
    code = exit_code(checked)
    numbered = [each for each in checked if each.number]
    twins = _twins(numbered)
    for line in [*twins, *_misnamed(numbered)]:
        print_note(line)
    return 1 if twins and code in (0, 3) else code


# ---------------------------------------------------------------- the checks


def _checked(path: Path, expected: Expected, required: Requirements) -> list[Checked]:
    """Check what `path` names: one sheet or delivery, or every sheet of a plain folder."""
    try:
        files = sheets_of(path)
    except SheetError as fault:
        return [Checked(path, None, str(fault))]
    if files != [path]:
        print_note(f"{path}: is a folder, not a delivery; cannot tell whether sheets are missing")
    return [_check(file, expected, required) for file in files]


def _check(file: Path, expected: Expected, required: Requirements) -> Checked:
    from compliance.delivery.open_delivery import is_zip
    from compliance.verification import verify_as

    silence_libraries()
    if file.is_dir() or is_zip(file):
        return _check_delivery(file, expected, required)
    try:
        data = read_sheet(file)
        reject_non_sheet(file, data)
    except SheetError as fault:
        return Checked(file, None, str(fault))
    verification = verify_as(data, expected)
    return Checked(file, verification, code=required.code(verification))


def _check_delivery(path: Path, expected: Expected, required: Requirements) -> Checked:
    from compliance.delivery.check import verify_delivery
    from compliance.verification import verify_as

    try:
        verification = verify_delivery(
            path,
            lambda data: verify_as(data, expected),
            trusted=expected.signers,
            stamping=expected.stamping,
            any_signer=expected.any_signer,
            now=expected.now,
            lists=expected.lists,
        )
    except DeliveryError as fault:
        return Checked(path, None, str(fault), is_delivery=True)
    code = required.code(verification)
    return Checked(path, verification, is_delivery=True, code=code)


def _check_redraw(sheets: Sequence[Path], out: Path) -> None:
    from compliance.delivery.open_delivery import is_zip

    if len(sheets) != 1 or sheets[0].is_dir() or is_zip(sheets[0]):
        raise UsageError("--redraw: draws one sheet; name one SHEET and no delivery or folder")
    check_new_file(out, replace=False)


def _write_redrawn(file: Path, out: Path, fonts: Sequence[Path]) -> None:
    """Write a sheet's pages drawn again; where they cannot be, it is not valid anyway."""
    from compliance.verification.redraw import redrawn_sheet

    try:
        data = redrawn_sheet(read_sheet(file), fonts)
    except SheetError as fault:
        print_note(f"{file}: {fault}")
        return
    write_new({out: data}, replace=False)
    print_note(f"{out}: the pages of the same evidence as this version draws them, not signed")


def _twins(sheets: Sequence[Checked]) -> list[str]:
    """List different sheets with the same number; a countersigned copy is the same sheet."""
    seen: dict[str | None, list[tuple[Path, bytes]]] = {}
    lines = []
    counted = Counter(sheet.number for sheet in sheets)
    for sheet in sheets:
        if counted[sheet.number] < 2:
            continue
        data = read_sheet(sheet.file)
        others = seen.setdefault(sheet.number, [])
        lines += [
            f"{other} and {sheet.file} are different sheets with the same number, {sheet.number}"
            for other, its in others
            if not (data.startswith(its) or its.startswith(data))
        ]
        others.append((sheet.file, data))
    return lines


def _misnamed(sheets: Sequence[Checked]) -> list[str]:
    """List files with the name that `assess` gives to another sheet of the call."""
    numbers = {sheet.file: sheet.number for sheet in sheets if sheet.number}
    named = {number.rpartition("-")[0]: number for number in numbers.values()}
    return [
        f"{file} is sheet {number}, but its name belongs to {named[file.stem]}"
        for file, number in numbers.items()
        if named.get(file.stem, number).rpartition("-")[0] != number.rpartition("-")[0]
    ]


# ---------------------------------------------------------------- what is printed


def _print(checked: Sequence[Checked], required: Requirements) -> None:
    for index, each in enumerate(row for row in checked if row.verification):
        if index:
            click.echo()
        if isinstance(each.verification, DeliveryVerification):
            _print_delivery(each.file, each.verification, required)
        elif each.verification is not None:
            _print_sheet(each.file, each.verification, required)


def _print_sheet(file: Path, sheet: Verification, required: Requirements) -> None:
    print_plain(f"{file}: {sheet.number}" if sheet.number else f"{file}")
    _print_first([*sheet_outcome(sheet)], sheet, required)
    if sheet.replaces:
        _print_wrapped(f"Replaces {sheet.replaces}", "  ", COLUMNS - 2)
    _print_steps(sheet.steps)


def _print_first(
    outcome: Iterable[str], subject: Verification | DeliveryVerification, required: Requirements
) -> None:
    """Print how long it holds, the outcome, and what is required."""
    held = required.validity_line(subject)
    for line in [*([f"{held}."] if held else []), *outcome, *required.answer_lines(subject)]:
        _print_wrapped(line, "  ", COLUMNS - 2)


def _print_delivery(file: Path, delivery: DeliveryVerification, required: Requirements) -> None:
    print_plain(f"{file}: {delivery_title(delivery)}")
    _print_first([delivery_outcome(delivery)], delivery, required)
    tails = map(required.validity_tail, delivery.sheets.values())
    for line, held in zip(delivery_sheets(delivery), tails, strict=True):
        _print_wrapped(line + held, MARGIN, COLUMNS - len(MARGIN))
    _print_steps(delivery.steps)


def _print_steps(steps: Iterable[Step]) -> None:
    room = COLUMNS - len(MARGIN)
    for step in steps:
        head = f"{step.number}  {step.status:<8} {step_title(step)}: "
        first, *rest = wrap(escape_controls(head + step_text(step)), room)
        click.echo(f"  {first}")
        for line in rest:
            click.echo(MARGIN + line)
        for detail in step_details(step):
            _print_wrapped(detail, MARGIN, room)


def _print_wrapped(text: str, margin: str, columns: int) -> None:
    for line in wrap(escape_controls(text), columns):
        click.echo(margin + line)


def _data(checked: Checked, required: Requirements) -> dict[str, Any]:
    file = str(checked.file)
    if checked.verification is None:
        return {"file": file, "exit_code": checked.code, "message": checked.fault}
    first = {"file": file, **required.data(checked.verification)}
    if isinstance(checked.verification, DeliveryVerification):
        data = delivery_data(file, checked.verification)
        sheets = checked.verification.sheets.values()
        inside = zip(data["sheets"], sheets, strict=True)
        data["sheets"] = [{**required.data(sheet), **entry} for entry, sheet in inside]
    else:
        data = sheet_data(file, checked.verification)
    return {**first, **data, "exit_code": checked.code}
