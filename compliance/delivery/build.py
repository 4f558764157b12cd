"""Build the files of a delivery from sheets, as a folder or as one .zip."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from compliance import __version__
from compliance.delivery import bag
from compliance.delivery.contents import Sheet, bag_info, duplicate_faults, payload
from compliance.delivery.page import render_page
from compliance.errors import DeliveryError, Problem
from compliance.report.verification import step_line

if TYPE_CHECKING:
    from compliance.signing.keys import Identity
    from compliance.signing.timestamps import Stamper


WHEN = (1980, 1, 1, 0, 0, 0)
"""The earliest time in a .zip: files of a delivery have no time of their own."""
UNIX = 3


def zip_bytes(files: Mapping[str, bytes], top: str) -> bytes:
    """Pack `files` by path below the folder `top`, sorted and uncompressed.

    Uncompressed, because libraries deflate differently, and sheets already contain their
    evidence deflated.
    """
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED, allowZip64=False) as archive:
        for name, data in sorted(files.items()):
            entry = zipfile.ZipInfo(f"{top}/{name}", WHEN)
            entry.create_system = UNIX
            entry.external_attr = 0o100644 << 16
            archive.writestr(entry, data)
    return out.getvalue()


AGENT = f"deliverable-compliance {__version__}"


def check_sheets(sheets: Sequence[Sheet], file: str) -> None:
    """Check the sheets of a delivery: each is valid, all are of one job, all numbers differ.

    Raises DeliveryError, a line for each fault; `file` is the folder or job they are from.
    """
    problems = [
        Problem(f"{sheet.name}.pdf", f"{step_line(step)}; it cannot be delivered")
        for sheet in sheets
        for step in sheet.verification.failed
    ]
    problems += [
        Problem(
            f"{sheet.name}.pdf",
            f"made with definitions (engine) {sheet.verification.engine}, which this version does "
            "not know; it cannot be delivered; use a newer version",
        )
        for sheet in sheets
        if sheet.verification.is_newer
    ]
    problems += [
        Problem(f"{sheet.name}.pdf", "its assessment cannot be read; it cannot be delivered")
        for sheet in sheets
        if sheet.stated is None and not (sheet.verification.failed or sheet.verification.is_newer)
    ]
    problems += [Problem(file, fault) for fault in duplicate_faults(sheets)]
    if not sheets:
        problems.append(Problem(file, "contains no sheets (.pdf)"))
    if problems:
        raise DeliveryError(problems)


def build_delivery(sheets: Sequence[Sheet]) -> dict[str, bytes]:
    """Build all files of a delivery by path, unsigned; always the same for the same sheets.

    KeyError, TypeError or ValueError if an assessment or an attachment is malformed.
    """
    ordered = sorted(sheets, key=lambda sheet: sheet.name)
    files = bag.build_bag(payload(ordered), bag_info(ordered), render_page(ordered), AGENT)
    for name in files:
        if fault := bag.path_fault(name):
            raise ValueError(fault)
    return files


def sign_delivery(
    files: dict[str, bytes], identity: Identity, when: datetime, stamper: Stamper | None = None
) -> dict[str, bytes]:
    """Add a signature over all files, through the tag manifest.

    Raises IdentityError if the certificate is not valid at `when` (aware), TimestampError if
    there is no time stamp and it is not optional.
    """
    from compliance.signing.detached import sign_detached

    signature = sign_detached(files[bag.TAG_MANIFEST], identity, when=when, stamper=stamper)
    return {**files, bag.SIGNATURE: signature}
