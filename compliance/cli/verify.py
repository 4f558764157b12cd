"""`compliance verify`: check sheets, folders of sheets and deliveries, step by step."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from compliance.cli._options import PATH, format_option, read_trust, trust_options
from compliance.cli._sheets import read_sheet, reject_non_sheet, sheets_of, silence_libraries
from compliance.cli._terminal import escape_controls, print_note
from compliance.cli._text import COLUMNS, print_json, wrap
from compliance.errors import DeliveryError, SheetError, UsageError
from compliance.report.results import exit_code

if TYPE_CHECKING:
    from compliance.delivery.check import DeliveryVerification
    from compliance.verification.result import Expected, Step, Verification


DELIVERY_OUTCOMES = {
    0: "Whole, and every sheet in it is as it was signed. They say: {said}.",
    1: "NOT to be relied on as it is.",
    3: "Intact as far as it was checked. The sheets say: {said}.",
}
UNSIGNED = (
    "Nobody has signed that this is all of it: sheets may be missing. Those here say: {said}."
)
APART = (
    "NOT to be relied on as it is, though each sheet in it holds by itself: the steps that fail "
    "say what is wrong around them."
)
STEP_MARGIN = " " * 5


@dataclass(frozen=True, slots=True)
class Delivered:
    """A delivery with what came out, or why it could not be read."""

    file: Path
    verification: DeliveryVerification | None
    fault: str = ""

    @property
    def code(self) -> int:
        """The exit code this one would have alone."""
        return 2 if self.verification is None else self.verification.exit_code


def is_delivery(path: Path) -> bool:
    """Whether `path` is to be checked as one: a folder, or a file that begins as a .zip does."""
    from compliance.delivery.open_delivery import is_zip

    return path.is_dir() or is_zip(path)


def check_delivery(path: Path, expected: Expected) -> Delivered:
    """Carry out the plan on the delivery at `path`."""
    from compliance.delivery.check import verify_delivery
    from compliance.verification import verify_as

    try:
        found = verify_delivery(
            path,
            lambda data: verify_as(data, expected),
            trusted=expected.signers,
            stamping=expected.stamping,
            any_signer=expected.any_signer,
        )
    except DeliveryError as fault:
        return Delivered(path, None, str(fault))
    return Delivered(path, found)


def print_delivery(checked: Delivered, print_step: Callable[[Step], None]) -> None:
    """The steps, and a line for each sheet."""
    found = checked.verification
    if found is None:
        return
    click.echo(escape_controls(f"{checked.file}: {_count(len(found.sheets))}"))
    for step in found.steps:
        print_step(step)
    for path, sheet in found.sheets.items():
        told = f"{path}: {sheet.number}: {sheet.said}"
        if sheet.exit_code == 1:
            told = f"{path}: {_why_not(sheet)}"
        for line in wrap(escape_controls(told), COLUMNS - len(STEP_MARGIN)):
            click.echo(STEP_MARGIN + line)
    for line in wrap(escape_controls(_outcome(found)), COLUMNS - 2):
        click.echo(f"  {line}")


def _why_not(sheet: Verification) -> str:
    from compliance.verification.signature_steps import only_untrusted

    return "its signer is not among the trusted" if only_untrusted(sheet) else "does not hold"


def _outcome(found: DeliveryVerification) -> str:
    said = Counter(sheet.said for sheet in found.sheets.values())
    counts = "; ".join(f"{count} {words}" for words, count in sorted(said.items()))
    text = DELIVERY_OUTCOMES[found.exit_code]
    if found.exit_code == 3 and not found.signed:
        text = UNSIGNED
    if found.exit_code == 1 and {each.exit_code for each in found.sheets.values()} == {0}:
        text = APART
    return text.format(said=counts)


def _count(sheets: int) -> str:
    return "a delivery of 1 sheet" if sheets == 1 else f"a delivery of {sheets} sheets"


def delivery_object(checked: Delivered, sheet: Callable[[Path, Verification], Any]) -> Any:
    """As JSON; `sheet` makes the object of one sheet."""
    found = checked.verification
    if found is None:
        return {"file": str(checked.file), "exit_code": checked.code, "message": checked.fault}
    return {
        "file": str(checked.file),
        "exit_code": checked.code,
        "steps": [
            {
                "step": step.number,
                "title": step.title,
                "status": str(step.status),
                "text": step.text,
                "details": list(step.details),
            }
            for step in found.steps
        ],
        "sheets": [sheet(Path(path), each) for path, each in found.sheets.items()],
    }


MARGIN = " " * 5

OUTCOMES = {
    0: "Intact, and computed again as stated. It says: {verdict}.",
    1: "NOT to be relied on, whatever it says.",
    3: "Intact as far as it was checked. It says: {verdict}.",
}
PAGES = " Whether its pages say so too was not checked."


@dataclass(frozen=True, slots=True)
class Checked:
    """A sheet with what came out, or why it could not be read."""

    file: Path
    verification: Verification | None
    fault: str = ""

    @property
    def code(self) -> int:
        """The exit code this one would have alone."""
        return 2 if self.verification is None else self.verification.exit_code


@click.command("verify")
@click.argument("sheets", metavar="SHEET|DELIVERY...", nargs=-1, required=True, type=PATH)
@trust_options("sign", "every signature to be stamped by one")
@click.option("--any-signer", is_flag=True, help="Accept whoever signed; only what is said counts.")
@format_option()
def command(
    sheets: tuple[Path, ...],
    trust: tuple[Path, ...],
    timestamp_trust: tuple[Path, ...],
    any_signer: bool,
    form: str,
) -> int:
    """Check each SHEET: signature, signer, time, attachments, and the outcome again.

    A DELIVERY is a folder or .zip as 'deliver' writes it: that it is whole, every sheet
    in it, and that it states of them what they are. Nothing is unpacked. Of another folder
    each sheet in it is checked by itself.

    A certificate is judged at the time that a trusted time stamp states, or else at the one
    that the signer claims. Whether it has been revoked is not looked up.

    Exit codes: 0 all of it holds, 1 something is broken or the signer is not among the
    trusted, 2 the input or the call is wrong, 3 intact but the signer was not checked,
    4 an internal or I/O failure; of several sheets the first of 4, 2, 1, 3, 0.
    """
    if trust and any_signer:
        raise UsageError("--trust and --any-signer exclude each other; give one of them")
    from compliance.verification.result import Expected

    expected = Expected(
        signers=tuple(read_trust(trust)),
        stamping=tuple(read_trust(timestamp_trust)),
        any_signer=any_signer,
    )
    checked = [each for sheet in sheets for each in _checked(sheet, expected)]
    if form == "json":
        print_json(_all(checked))
    else:
        _print(checked)
    for each in checked:
        if each.fault:
            print_note(each.fault)
    code = exit_code(checked)
    sheets_alone = [each for each in checked if isinstance(each, Checked)]
    twins = _twins(sheets_alone)
    for line in [*twins, *_misnamed(sheets_alone)]:
        print_note(line)
    return 1 if twins and code in (0, 3) else code


def _checked(path: Path, expected: Expected) -> list[Checked | Delivered]:
    """What `path` names, checked: one sheet or delivery, or every sheet of a plain folder."""
    try:
        found = sheets_of(path)
    except SheetError as fault:
        return [Checked(path, None, str(fault))]
    if found != [path]:
        print_note(f"{path}: a folder, no delivery, so whether sheets are missing is not known")
    return [_check(file, expected) for file in found]


def _check(file: Path, expected: Expected) -> Checked | Delivered:
    from compliance.verification import verify_as

    silence_libraries()
    if is_delivery(file):
        return check_delivery(file, expected)
    try:
        data = read_sheet(file)
        reject_non_sheet(file, data)
    except SheetError as fault:
        return Checked(file, None, str(fault))
    return Checked(file, verify_as(data, expected))


def _twins(checked: list[Checked]) -> list[str]:
    """Sheets of one number that are not one sheet, countersigned or not."""
    seen: dict[str, list[tuple[Path, bytes]]] = {}
    lines = []
    counted = Counter(each.verification.number for each in checked if each.verification)
    for each in checked:
        number = each.verification.number if each.verification else None
        if number is None or counted[number] < 2:
            continue
        data = read_sheet(each.file)
        for other, its in seen.setdefault(number, []):
            if not (data.startswith(its) or its.startswith(data)):
                lines.append(f"{other} and {each.file} are two sheets with one number, {number}")
        seen[number].append((each.file, data))
    return lines


def _misnamed(checked: list[Checked]) -> list[str]:
    """Files under the name that another sheet of the call was written under by `assess`."""
    numbers = {
        each.file: each.verification.number
        for each in checked
        if each.verification and each.verification.number
    }
    named = {number.rpartition("-")[0]: number for number in numbers.values()}
    return [
        f"{file} is sheet {number}, though {named[file.stem]} goes by that name"
        for file, number in numbers.items()
        if named.get(file.stem, number).rpartition("-")[0] != number.rpartition("-")[0]
    ]


# ---------------------------------------------------------------- text


def _print(checked: list[Checked | Delivered]) -> None:
    for index, each in enumerate(row for row in checked if row.verification):
        if index:
            click.echo()
        if isinstance(each, Delivered):
            print_delivery(each, _print_step)
            continue
        assert each.verification is not None
        number = each.verification.number
        click.echo(escape_controls(f"{each.file}: {number}" if number else f"{each.file}"))
        for step in each.verification.steps:
            _print_step(step)
        told = OUTCOMES[each.code].format(verdict=each.verification.said)
        if each.code != 1 and any(
            str(step.status) == "not done" for step in each.verification.steps
        ):
            told += PAGES
        for line in wrap(escape_controls(told), COLUMNS):
            click.echo(f"  {line}")


def _print_step(step: Step) -> None:
    head = f"{step.number}  {step.status:<8} {step.title}: "
    lines = wrap(escape_controls(head + step.text), COLUMNS - len(MARGIN))
    for line in [*lines, *(part for each in step.details for part in _detail(each))]:
        click.echo(f"  {line}" if line.startswith(head) else MARGIN + line)


def _detail(text: str) -> list[str]:
    return wrap(escape_controls(text), COLUMNS - len(MARGIN))


# ---------------------------------------------------------------- JSON


def _all(checked: list[Checked | Delivered]) -> dict[str, Any]:
    return {
        "sheets": [_object(each) for each in checked if isinstance(each, Checked)],
        "deliveries": [
            delivery_object(each, _verified) for each in checked if isinstance(each, Delivered)
        ],
    }


def _object(checked: Checked) -> dict[str, Any]:
    if checked.verification is None:
        return {"file": str(checked.file), "exit_code": checked.code, "message": checked.fault}
    return _verified(checked.file, checked.verification)


def _verified(file: Path, found: Verification) -> dict[str, Any]:
    return {
        "file": str(file),
        "number": found.number,
        "verdict": found.verdict,
        "conditional": found.conditional,
        "disposition": found.disposition,
        "exit_code": found.exit_code,
        "steps": [
            {
                "step": step.number,
                "title": step.title,
                "status": str(step.status),
                "text": step.text,
                "details": list(step.details),
            }
            for step in found.steps
        ],
        "signatures": [
            {
                "field": signature.field,
                "role": signature.role,
                "name": signature.signer.name,
                "organisation": signature.signer.organisation,
                "email": signature.signer.email,
                "issuer": signature.signer.issuer,
                "sha256": signature.signer.fingerprint,
                "claimed": _time(signature.claimed),
                "stamped": _time(signature.stamp and signature.stamp.time),
                "stamp_trusted": signature.stamp is not None
                and signature.stamp.trusted_as is not None,
                "trusted": signature.trusted_as is not None,
                "not_before": _time(signature.signer.not_before),
                "not_after": _time(signature.signer.not_after),
            }
            for signature in found.signatures
        ],
    }


def _time(moment: Any) -> str | None:
    return None if moment is None else moment.isoformat().replace("+00:00", "Z")
