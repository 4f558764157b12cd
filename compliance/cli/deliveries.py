"""What `compliance verify` says of a delivery: a folder or .zip of sheets."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from compliance.cli.layout import COLUMNS, wrap
from compliance.cli.terminal import harmless
from compliance.errors import DeliveryError

if TYPE_CHECKING:
    from compliance.delivery.check import DeliveryVerification
    from compliance.verification import Expected, Step, Verification

__all__ = ["Delivered", "check_delivery", "delivery_object", "is_delivery", "print_delivery"]

OUTCOMES = {
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
MARGIN = " " * 5


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
    from compliance.delivery.opened import is_zip

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
    click.echo(harmless(f"{checked.file}: {_count(len(found.sheets))}"))
    for step in found.steps:
        print_step(step)
    for path, sheet in found.sheets.items():
        told = f"{path}: {sheet.number}: {sheet.said}"
        if sheet.exit_code == 1:
            told = f"{path}: {_why_not(sheet)}"
        for line in wrap(harmless(told), COLUMNS - len(MARGIN)):
            click.echo(MARGIN + line)
    for line in wrap(harmless(_outcome(found)), COLUMNS - 2):
        click.echo(f"  {line}")


def _why_not(sheet: Verification) -> str:
    from compliance.verification.seal import only_strange

    return "its signer is not among the trusted" if only_strange(sheet) else "does not hold"


def _outcome(found: DeliveryVerification) -> str:
    said = Counter(sheet.said for sheet in found.sheets.values())
    counts = "; ".join(f"{count} {words}" for words, count in sorted(said.items()))
    text = OUTCOMES[found.exit_code]
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
