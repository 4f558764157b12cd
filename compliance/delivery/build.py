"""Build the files of a delivery from its sheets."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from compliance import __version__
from compliance.delivery import bag
from compliance.delivery.contents import (
    PackedSheet,
    Sheet,
    bag_info,
    duplicate_faults,
    payload,
)
from compliance.delivery.page import render_page
from compliance.delivery.summary import summary_csv, summary_json
from compliance.errors import DeliveryError, Problem
from compliance.report.verification import step_line

if TYPE_CHECKING:
    from compliance.signing.keys import Identity
    from compliance.signing.timestamps import Stamper


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


def build_delivery(packed: Sequence[PackedSheet]) -> dict[str, bytes]:
    """Build all files of a delivery by path, unsigned; always the same for the same sheets.

    KeyError, TypeError or ValueError if an assessment or an attachment is malformed.
    """
    files: dict[str, bytes] = {}
    for each in packed:
        files |= each.files
    files = dict(sorted(files.items()))
    files |= description([each.sheet for each in packed])
    for name in files:
        if fault := bag.path_fault(name):
            raise ValueError(fault)
    return files


def description(sheets: Sequence[Sheet], agent: str = AGENT) -> dict[str, bytes]:
    """Build the files of a delivery that describe its sheets, by path.

    Raises as `build_delivery`.
    """
    ordered = sorted(sheets, key=lambda sheet: sheet.name)
    described = {
        bag.PAGE: render_page(ordered),
        bag.SUMMARY: summary_json(ordered),
        bag.TABLE: summary_csv(ordered),
    }
    return bag.tag_files(payload(ordered), bag_info(ordered), described, agent)


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
