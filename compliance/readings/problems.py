"""Collecting what is wrong with a readings file, and saying it."""

from __future__ import annotations

from compliance.errors import Problem, ReadingsError

__all__ = ["Problems"]

MOST_TOLD = 20
MOST_COUNTED = 5000
"""Where nearly everything is wrong, the file is another than was meant, and is read no further."""


class Problems:
    """The problems of one file: all are counted, the first ones are told."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.count = 0
        self._kept: list[Problem] = []

    def add(self, message: str, line: int | None = None, field: str | None = None) -> None:
        """Note one problem. They may come from several passes, each in order of lines.

        Raises them all where there are too many.
        """
        self.count += 1
        self._kept.append(Problem(self.file, message, line, field))
        if len(self._kept) > 4 * MOST_TOLD:
            self._kept = self._first()
        if self.count == MOST_COUNTED:
            raise self.error()

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
            more = f"and {rest} more problem{'s' if rest > 1 else ''}"
            stopped = "; read no further" if self.count >= MOST_COUNTED else ""
            told.append(Problem(self.file, more + stopped))
        return ReadingsError(told)

    def _first(self) -> list[Problem]:
        return sorted(self._kept, key=lambda problem: problem.line or 0)[:MOST_TOLD]
