"""What a verification comes to: a status per step, and what is said of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import TypeVar

from compliance.errors import ComplianceError, InputError
from compliance.model.signatures import Signature, Signer

TITLES = ("file intact", "signer", "time of signing", "attachments", "computed again", "pages")
"""Of the steps, in their order."""


@dataclass(frozen=True, slots=True)
class Expected:
    """Who is expected to sign, and to stamp: certificates of these, or of their authorities."""

    signers: tuple[Signer, ...]
    stamping: tuple[Signer, ...]
    """With any, every signature of a sheet has to bear a stamp."""
    any_signer: bool
    """Whoever signed is accepted."""


class Status(StrEnum):
    """Of a step."""

    OK = "ok"
    FAIL = "fail"
    UNKNOWN = "unknown"
    """Nothing wrong was found, and nothing was proven."""
    NOT_DONE = "not done"
    """It cannot be carried out here, says why, and decides nothing."""


@dataclass(frozen=True, slots=True)
class Step:
    """The outcome of one step of the plan."""

    number: int
    title: str
    status: Status
    text: str
    details: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Verification:
    """The outcome of all steps."""

    steps: tuple[Step, ...]
    signatures: tuple[Signature, ...]
    number: str | None
    """The sheet's, as stated in its assessment."""
    verdict: str | None
    """The assessment's, as stated; worth nothing unless `exit_code` is 0."""
    disposition: str | None = None
    """What the client makes of the verdict, as stated; likewise."""
    conditional: bool = False
    """Whether the verdict is stated to be conditional; likewise."""

    @property
    def said(self) -> str:
        """What the sheet says, in words: verdict with its condition, and disposition."""
        if self.verdict is None:
            return "nothing"
        words = f"conditionally {self.verdict}" if self.conditional else self.verdict
        return ", ".join(word for word in (words, self.disposition) if word).replace("-", " ")

    @property
    def exit_code(self) -> int:
        """0 all holds, 1 something is broken, 3 intact but not all could be checked."""
        found = {step.status for step in self.steps}
        if len(self.steps) != len(TITLES) or Status.FAIL in found:
            return 1
        return 3 if Status.UNKNOWN in found else 0


Outcome = tuple[Status, str, tuple[str, ...]]
"""Of a step: how it ended, a line, and further lines."""

T = TypeVar("T")


def result_or_exception(do: Callable[[], T]) -> T | Exception:
    """What `do` gives, or the exception that it ends in: a damaged file can raise any."""
    try:
        return do()
    except Exception as fault:
        return fault


def one_line(fault: Exception) -> str:
    """An exception in one line."""
    if isinstance(fault, InputError):
        return "; ".join(str(problem) for problem in fault.problems)
    words = str(fault).splitlines()[0] if str(fault) else ""
    if isinstance(fault, ValueError | ComplianceError):
        return words or type(fault).__name__
    return f"{type(fault).__name__}: {words}"


def worst_status(statuses: Iterable[Status]) -> Status:
    """That of a step with several parts."""
    found = set(statuses)
    return next(each for each in (Status.FAIL, Status.UNKNOWN, Status.OK) if each in found)


def format_utc(moment: datetime) -> str:
    """A time as it is printed."""
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M} UTC"
