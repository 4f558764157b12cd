"""`compliance countersign`: add a second signature to a sheet and keep the first as it is."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from compliance.cli._endings import Ending, endings_of, endings_of_signers, print_endings
from compliance.cli._files import (
    check_new_file,
    check_valid,
    lock_folder,
    read_sheet,
    verify_any_signer,
    write_back,
)
from compliance.cli._identity_options import (
    MAKE_ONE,
    SigningMeans,
    default_identity,
    long_term_options,
    pop_key_options,
    signing_options,
    warn_missing_timestamp,
)
from compliance.cli._options import (
    font_option,
    now_option,
    out_option,
    replace_option,
)
from compliance.cli._requirements import Requirements
from compliance.cli._terminal import print_plain
from compliance.documents import read_document
from compliance.errors import IdentityError, SheetError, UsageError
from compliance.plain_data import ShapeError
from compliance.report.verification import sheet_says_with_today

if TYPE_CHECKING:
    from compliance.model.results import Verification
    from compliance.model.signatures import Signature, Signer


PATH = click.Path(path_type=Path, dir_okay=False)
LONGEST_ROLE = 64
"""Most characters of a role; about as many as fit the box."""


@click.command("countersign")
@click.argument("sheet", metavar="SHEET", type=PATH)
@click.option(
    "--as", "role", metavar="ROLE", default="client", show_default=True, help="Role you sign in."
)
@out_option("File to write; default: SHEET itself.")
@replace_option("Overwrite the file at --out if it already exists.")
@now_option()
@signing_options("that signs")
@long_term_options()
@font_option()
def command(
    sheet: Path,
    role: str,
    out: Path | None,
    replace: bool,
    now: datetime,
    fonts: tuple[Path, ...],
    **given: Any,
) -> None:
    """Add a visible second signature to SHEET, in the box reserved for it.

    The sheet is first checked, as with 'verify --any-signer': a changed sheet is not signed.
    The first signature stays as it is; a sheet can have one countersignature.
    """
    keys = pop_key_options(given)
    keys.check()
    role = _checked(role)
    if out is not None:
        check_new_file(out, replace)
    means = keys.means()
    if means.identity is None:
        raise IdentityError(
            f"{default_identity()}: no identity; give --identity FILE, or create one: {MAKE_ONE}"
        )
    _check_letters(means.identity.signer, role, fonts)
    with lock_folder((out or sheet).parent):
        found, data = _countersigned(sheet, means, role, now, fonts)
        write_back(sheet, out, data, replace)
    held = Requirements((), now).validity_tail(found)
    said = f"{sheet_says_with_today(found)}; signed {_by(found.signatures[0])}"
    print_plain(f"{found.number} says: {said}{held}")
    print_plain(f"{out or sheet}: countersigned by {means.identity.signer.name} as {role}")
    warn_missing_timestamp(means.stamper)
    signers = [found.signatures[0].signer, means.identity.signer]
    print_endings([*_endings(data), *endings_of_signers(signers)], now)


def _check_letters(signer: Signer, role: str, fonts: Sequence[Path]) -> None:
    """Check that the names in the box can be drawn."""
    from compliance.lettering.choose import lettering
    from compliance.lettering.font_files import given_fonts
    from compliance.lettering.texts import signer_texts

    lettering(signer_texts(signer, role), given_fonts(fonts))


def _endings(data: bytes) -> list[Ending]:
    from compliance.evidence.attachments import largest_size, read_assessment
    from compliance.signing.attached_files import read_attachments

    try:
        stated = read_document(read_assessment(read_attachments(data, largest=largest_size)))
    except ShapeError:
        return []  # of an earlier version, with other words
    return list(endings_of(stated))


def _countersigned(
    sheet: Path, means: SigningMeans, role: str, when: datetime, fonts: Sequence[Path]
) -> tuple[Verification, bytes]:
    """Return the sheet's verification, and its bytes with the second signature."""
    from compliance.lettering.font_files import given_fonts
    from compliance.sheet.make_sheet import countersign_sheet

    data = read_sheet(sheet)
    found = verify_any_signer(data, when)
    _check_sheet(sheet, found)
    assert means.identity is not None
    _check_other(sheet, means.identity.signer, found.signatures[0])
    identity, stamper = means.identity, means.stamper
    signed = countersign_sheet(
        data,
        identity=identity,
        role=role,
        when=when,
        stamper=stamper,
        fonts=given_fonts(fonts),
    )
    return found, means.archived(signed, when)


def _check_sheet(sheet: Path, found: Verification) -> None:
    """Check that the sheet is valid and not countersigned yet."""
    check_valid(sheet, found, "countersigned")
    if found.is_newer:
        raise SheetError(
            f"{sheet}: not countersigned: made with definitions (engine) {found.engine}, which "
            "this version does not know; use a newer version"
        )
    _, *more = found.signatures
    if more:
        raise SheetError(
            f"{sheet}: is already countersigned {_by(more[0])}; a sheet can have only one "
            "countersignature"
        )


def _check_other(sheet: Path, signer: Signer, first: Signature) -> None:
    """Check that the second signer is not the first one."""
    from compliance.signing.certificates import same_key

    if same_key(signer.certificate, first.signer.certificate):
        raise SheetError(
            f"{sheet}: was signed {_by(first)} with this same key; the second signature needs "
            "another person's key: give --identity FILE"
        )


def _by(signature: Signature) -> str:
    when = signature.moment
    at = f" on {when.astimezone(UTC):%Y-%m-%d %H:%M} UTC" if when is not None else ""
    return f"by {signature.signer.name} as {signature.role}{at}"


def _checked(role: str) -> str:
    role = role.strip()
    if not role or not role.isprintable():
        raise UsageError(f"--as: {role!r} is not a role; expected e.g. 'Supervising engineer'")
    if len(role) > LONGEST_ROLE:
        raise UsageError(f"--as: has {len(role)} characters; expected at most {LONGEST_ROLE}")
    return role
