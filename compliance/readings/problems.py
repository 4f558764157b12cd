"""Collecting what is wrong with a readings file, and saying it."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

from compliance.errors import Problem, ReadingsError

__all__ = ["Problems", "nearest", "shown", "suggestion"]

MOST_TOLD = 20
MOST_SHOWN = 40
"""characters of a cell that a message repeats"""


class Problems:
    """The problems of one file: all are counted, the first ones are told."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.count = 0
        self._kept: list[Problem] = []

    def add(self, message: str, line: int | None = None, field: str | None = None) -> None:
        """Note one problem. They may come from several passes, each in order of lines."""
        self.count += 1
        self._kept.append(Problem(self.file, message, line, field))
        if len(self._kept) > 4 * MOST_TOLD:
            self._kept = self._first()

    def stop(
        self, message: str, line: int | None = None, field: str | None = None
    ) -> ReadingsError:
        """Note a problem behind which nothing can be read; raise what comes back."""
        self.add(message, line, field)
        return self.error()

    def check(self) -> None:
        """Raise if there are any."""
        if self.count:
            raise self.error()

    def error(self) -> ReadingsError:
        """What has been noted so far, by line, as one error."""
        told = self._first()
        if self.count > len(told):
            rest = self.count - len(told)
            told.append(Problem(self.file, f"and {rest} more problem{'s' if rest > 1 else ''}"))
        return ReadingsError(told)

    def _first(self) -> list[Problem]:
        return sorted(self._kept, key=lambda problem: problem.line or 0)[:MOST_TOLD]


def shown(cell: str) -> str:
    """A cell in quotes as a message repeats it: on one line, shortened, nothing unprintable."""
    return repr(cell if len(cell) <= MOST_SHOWN else cell[: MOST_SHOWN - 1] + "…")


def nearest(word: str, legal: Iterable[str]) -> str | None:
    """The legal word most like this one; None where none is."""
    words = list(legal)
    for candidate in words:
        if candidate.casefold() == word.casefold():
            return candidate
    return next(iter(get_close_matches(word.casefold(), words, n=1, cutoff=0.6)), None)


def suggestion(word: str, legal: Iterable[str]) -> str:
    """`did you mean …?` where a legal word is near, else all of them."""
    words = list(legal)
    found = nearest(word, words)
    return f"did you mean {found}?" if found else f"expected {', '.join(words)}"
