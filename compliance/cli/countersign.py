"""`compliance countersign`: a second signature on a sheet, which leaves the first as it is."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from compliance.cli._files import (
    check_new_file,
    lock_folder,
    read_sheet,
    verify_any_signer,
    write_file,
    write_new,
)
from compliance.cli._identity_options import (
    MAKE_ONE,
    SigningMeans,
    default_identity,
    pop_key_options,
    signing_options,
    warn_missing_timestamp,
)
from compliance.cli._options import now_option, out_option, replace_option
from compliance.cli._terminal import print_plain
from compliance.errors import IdentityError, SheetError, UsageError
from compliance.report.verification import sheet_says, step_line

if TYPE_CHECKING:
    from compliance.model.results import Verification
    from compliance.model.signatures import Signature, Signer


PATH = click.Path(path_type=Path, dir_okay=False)
LONGEST_ROLE = 64
"""Characters: as many as fit the box, nearly."""
PATIENCE = timedelta(minutes=5)
"""By which the clock here may be behind the one of whoever signed first."""


@click.command("countersign")
@click.argument("sheet", metavar="SHEET", type=PATH)
@click.option(
    "--as", "role", metavar="ROLE", default="client", show_default=True, help="As whom you sign."
)
@out_option("File to write; SHEET itself unless said.")
@replace_option("Write over a file that stands at --out.")
@now_option()
@signing_options("that signs; the user's own unless said.")
def command(
    sheet: Path, role: str, out: Path | None, replace: bool, now: datetime, **given: Any
) -> None:
    """Add a visible second signature to SHEET, in the box that waits for it.

    The sheet is checked first, as 'verify --any-signer' does: nobody puts a name to what
    was changed. The first signature stays as it is; a sheet takes one countersignature.
    """
    keys = pop_key_options(given)
    keys.check()
    role = _checked(role)
    if out is not None:
        check_new_file(out, replace)
    means = keys.means()
    if means.identity is None:
        raise IdentityError(
            f"{default_identity()}: there is no identity; give --identity FILE, or make one: "
            f"{MAKE_ONE}"
        )
    with lock_folder((out or sheet).parent):
        found, data = _countersigned(sheet, means, role, now)
        if out is None:
            write_file(sheet, data)
        else:
            write_new({out: data}, replace=replace)
    print_plain(f"{found.number} says: {sheet_says(found)}; signed {_by(found.signatures[0])}")
    print_plain(f"{out or sheet}: countersigned by {means.identity.signer.name} as {role}")
    warn_missing_timestamp(means.stamper)


def _countersigned(
    sheet: Path, means: SigningMeans, role: str, when: datetime
) -> tuple[Verification, bytes]:
    """What the sheet was found to be, and its bytes with the second signature."""
    from compliance.sheet.make_sheet import countersign_sheet

    data = read_sheet(sheet)
    found = verify_any_signer(data)
    _check_sheet(sheet, found, when)
    assert means.identity is not None
    _check_other(sheet, means.identity.signer, found.signatures[0])
    identity, stamper = means.identity, means.stamper
    signed = countersign_sheet(data, identity=identity, role=role, when=when, stamper=stamper)
    return found, signed


def _check_sheet(sheet: Path, found: Verification, when: datetime) -> None:
    """That the sheet holds, and that its second place is free."""
    if found.failed:
        raise SheetError(
            f"{sheet}: not countersigned, for it does not hold: {step_line(found.failed[0])}; "
            f"see: compliance verify {sheet}"
        )
    first, *more = found.signatures
    if more:
        raise SheetError(
            f"{sheet}: is countersigned already, {_by(more[0])}; a sheet takes one countersignature"
        )
    if first.claimed is not None and first.claimed - when > PATIENCE:
        raise SheetError(
            f"{sheet}: was signed {_by(first)}, later than the time of signing, "
            f"{when.astimezone(UTC):%Y-%m-%d %H:%M} UTC; set the clock, or give --now"
        )


def _check_other(sheet: Path, signer: Signer, first: Signature) -> None:
    """That who signs now is not who signed first."""
    from compliance.signing.certificates import same_key

    if same_key(signer.certificate, first.signer.certificate):
        raise SheetError(
            f"{sheet}: was signed {_by(first)}, with this very key; a second signature is "
            "somebody else's: give --identity FILE with theirs"
        )


def _by(signature: Signature) -> str:
    when = signature.moment
    at = f" on {when.astimezone(UTC):%Y-%m-%d %H:%M} UTC" if when is not None else ""
    return f"by {signature.signer.name} as {signature.role}{at}"


def _checked(role: str) -> str:
    role = role.strip()
    if not role or not role.isprintable():
        raise UsageError(f"--as: {role!r} is no role; expected words like 'Supervising engineer'")
    if len(role) > LONGEST_ROLE:
        raise UsageError(f"--as: has {len(role)} characters; expected {LONGEST_ROLE} at most")
    return role
