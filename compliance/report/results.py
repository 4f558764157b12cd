"""What became of each slot and deliverable, and the exit code of them all."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from compliance.model import Assessment, Outcome

CODES = {Outcome.COMPLIANT: 0, Outcome.NOT_COMPLIANT: 1, Outcome.UNDECIDED: 3}
ORDER = (4, 2, 1, 3, 0)
"""Over several results the first code present in this order is the program's."""


@dataclass(frozen=True, slots=True)
class Fault:
    """Why there is no assessment, or no file of it."""

    lines: tuple[str, ...]
    code: int


@dataclass(frozen=True, slots=True)
class Result:
    """One slot against one deliverable: an assessment, a fault, or both where writing failed."""

    slot: str
    """The slot's name; of a bare readings file the file's."""
    deliverable: str
    """The rule's id; the reference as written where the rule could not be read."""
    assessment: Assessment | None = None
    fault: Fault | None = None
    files: tuple[Path, ...] = ()
    """Written."""

    @property
    def code(self) -> int:
        """The exit code this one would have alone."""
        if self.fault is not None:
            return self.fault.code
        return CODES[self.assessment.verdict] if self.assessment else 4


class Coded(Protocol):
    """Anything with an exit code of its own."""

    @property
    def code(self) -> int:
        """The exit code this one would have alone."""


def exit_code(results: Iterable[Coded]) -> int:
    """The program's exit code over `results`; 4 where there are none."""
    present = {result.code for result in results}
    return next((code for code in ORDER if code in present), 4)
