"""`compliance archive`: keep a signed sheet verifiable after its certificates have expired."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from compliance.cli._files import (
    check_new_file,
    check_valid,
    lock_folder,
    read_sheet,
    verify_any_signer,
    write_back,
)
from compliance.cli._identity_options import fetcher_of, private_option
from compliance.cli._options import now_option, out_option, replace_option
from compliance.cli._terminal import print_plain
from compliance.errors import SheetError

if TYPE_CHECKING:
    from compliance.model.results import Verification


PATH = click.Path(path_type=Path, dir_okay=False)


@click.command("archive")
@click.argument("sheet", metavar="SHEET", type=PATH)
@click.option(
    "--timestamp",
    metavar="URL",
    required=True,
    help="Get the time stamp from this server (RFC 3161).",
)
@out_option("File to write; default: SHEET itself.")
@replace_option("Overwrite the file at --out if it already exists.")
@now_option()
@private_option("revocation data")
def command(
    sheet: Path,
    timestamp: str,
    out: Path | None,
    replace: bool,
    now: datetime,
    allow_private_addresses: bool,
) -> None:
    """Add an archive stamp to a signed SHEET (PAdES B-LTA).

    Certificates and revocation lists or answers, from the addresses that the certificates name,
    and a time stamp of the whole file, so that 'verify' can judge the signatures when certificates
    have expired and authorities are gone. Do it again before the certificate of the last archive
    stamp expires; 'verify' prints when that is. 'assess' and 'countersign' do the same with
    --long-term.

    The sheet is first checked, as with 'verify --any-signer'. What is in the file stays as it is.
    """
    if out is not None:
        check_new_file(out, replace)
    from compliance.signing.timestamps import Stamper

    stamper = Stamper(timestamp)
    with lock_folder((out or sheet).parent):
        data = read_sheet(sheet)
        found = verify_any_signer(data, now)
        _check_sheet(sheet, found)
        from compliance.signing.archive import archive

        fetcher = fetcher_of(allow_private_addresses)
        stamped = archive(data, when=now, stamper=stamper, fetcher=fetcher)
        write_back(sheet, out, stamped, replace)
    number = len(found.stamps) + 1
    print_plain(f"{found.number}: archive stamp {number}, which covers the whole sheet")


def _check_sheet(sheet: Path, found: Verification) -> None:
    """Check that the sheet is valid and has room for another archive stamp."""
    from compliance.signing.pdf_file import MOST_REVISIONS

    check_valid(sheet, found, "stamped")
    if len(found.signatures) + len(found.stamps) + 1 >= MOST_REVISIONS:
        raise SheetError(f"{sheet}: not stamped: it has {len(found.stamps)} archive stamps already")
