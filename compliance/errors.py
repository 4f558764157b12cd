"""Errors, worded so that the reader can correct them.

One root, one exit code per class. A message names the thing, the place, what
was found, what was expected and, if it helps, what to do. The command
line catches `ComplianceError` once; no other class may reach the user.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault in one file: `file:line: field: message`."""

    file: str
    """The file as the user named it."""
    message: str
    """What was found, what was expected, what to do; one line."""
    line: int | None = None
    """Line in the file, counted from 1."""
    field: str | None = None
    """Dotted path of the key, or the column."""

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        parts = (place, self.field, self.message)
        return ": ".join(part for part in parts if part)


class ComplianceError(Exception):
    """Root of every error that a user may see."""

    exit_code = 4


class UsageError(ComplianceError):
    """The call is wrong, or would overwrite something that already exists."""

    exit_code = 2


class InputError(ComplianceError):
    """A file is wrong; carries every problem found in it."""

    exit_code = 2

    def __init__(self, problems: Problem | Sequence[Problem]) -> None:
        self.problems = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class RuleError(InputError):
    """A rule file is wrong."""


class JobError(InputError):
    """A job file is wrong."""


class MeterError(InputError):
    """A meter file is wrong."""


class ReadingsError(InputError):
    """A readings file is wrong."""


class DeviationError(InputError):
    """A deviation is wrong, changed, expired, or for something else."""


class DeliveryError(InputError):
    """A delivery is wrong, or cannot be built."""


class IdentityError(ComplianceError):
    """A key or certificate cannot be used: wrong password, wrong kind, expired."""

    exit_code = 2


class TimestampError(ComplianceError):
    """A time-stamping server gave no usable time stamp: why, and what to do."""

    exit_code = 4

    def __init__(self, why: str, remedy: str = "") -> None:
        self.why = why
        super().__init__(f"{why}; {remedy}" if remedy else why)


class RevocationError(ComplianceError):
    """A certificate is revoked, or nothing tells whether it is: why, and what to do."""

    exit_code = 4


class SheetError(ComplianceError):
    """A file is not a compliance sheet, or a sheet cannot be written."""

    exit_code = 2


class OutputError(ComplianceError):
    """Writing failed: disk full, folder read-only."""

    exit_code = 4


def system_reason(error: OSError) -> str:
    """The system's reason for refusing, in lower case."""
    return (error.strerror or str(error)).lower()
