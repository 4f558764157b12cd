"""From sheets to the files of a delivery."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from compliance import __version__
from compliance.delivery import bag
from compliance.delivery.page import page
from compliance.delivery.sheets import Sheet, payload, repeated, statements
from compliance.errors import DeliveryError, Problem

if TYPE_CHECKING:
    from compliance.identity import Identity
    from compliance.stamping import Stamper

__all__ = ["AGENT", "check_sheets", "packed", "sealed"]

AGENT = f"deliverable-compliance {__version__}"


def check_sheets(sheets: Sequence[Sheet], file: str) -> None:
    """That the sheets may go out together: each holds, all are of one job, no number twice.

    Raises DeliveryError, a line for each fault; `file` is what they were taken from.
    """
    problems = [
        Problem(f"{sheet.name}.pdf", f"{step.title}: {step.text}; it cannot be delivered")
        for sheet in sheets
        if sheet.verification.exit_code == 1
        for step in sheet.verification.steps
        if step.status == "fail"
    ]
    problems += [Problem(file, fault) for fault in repeated(sheets)]
    if not sheets:
        problems.append(Problem(file, "holds no sheet (.pdf)"))
    if problems:
        raise DeliveryError(problems)


def packed(sheets: Sequence[Sheet]) -> dict[str, bytes]:
    """All files of the delivery of `sheets` by path, unsigned: the same for the same sheets.

    KeyError, TypeError or ValueError where an assessment or an attachment is none.
    """
    ordered = sorted(sheets, key=lambda sheet: sheet.name)
    files = bag.made(payload(ordered), statements(ordered), page(ordered), AGENT)
    for name in files:
        if fault := bag.path_fault(name):
            raise ValueError(fault)
    return files


def sealed(
    files: dict[str, bytes], identity: Identity, when: datetime, stamper: Stamper | None = None
) -> dict[str, bytes]:
    """The files with a signature over all of them, through the tag manifest.

    Raises IdentityError where the certificate is not valid at `when` (aware), TimestampError
    where there is no time stamp and it is not optional.
    """
    from compliance.detached import sign_detached

    signature = sign_detached(files[bag.TAG_MANIFEST], identity, when=when, stamper=stamper)
    return {**files, bag.SIGNATURE: signature}
