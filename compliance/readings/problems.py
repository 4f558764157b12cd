"""Collecting what is wrong with a readings file, and saying it."""

from __future__ import annotations

from compliance.errors import Problem, ReadingsError

__all__ = ["Problems"]

MOST_TOLD = 20
MOST_COUNTED = 5000
"""Where nearly everything is wrong, the file is another than was meant, and is read no further."""
MOST_NAMED = 3
"""Further lines named of a problem that stands in several."""


class Problems:
    """The problems of one file: all are counted, the first ones are told, like ones as one."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.count = 0
        self._lines: dict[tuple[str, str | None], list[int]] = {}
        """Lines of each message and field; 0 for the file as a whole."""

    def add(self, message: str, line: int | None = None, field: str | None = None) -> None:
        """Note one problem. They may come from several passes, each in order of lines.

        Raises them all where there are too many.
        """
        self.count += 1
        self._lines.setdefault((message, field), []).append(line or 0)
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
        groups = sorted(self._lines.items(), key=lambda group: min(group[1]))[:MOST_TOLD]
        told = [self._problem(message, field, lines) for (message, field), lines in groups]
        rest = self.count - sum(len(lines) for _, lines in groups)
        words = [f"and {rest} more problem{'s' if rest > 1 else ''}"] if rest else []
        if self.count >= MOST_COUNTED:
            words.append("read no further")
        if words:
            told.append(Problem(self.file, "; ".join(words)))
        return ReadingsError(told)

    def _problem(self, message: str, field: str | None, lines: list[int]) -> Problem:
        first, *others = sorted(set(lines))
        return Problem(self.file, message + _likewise(others), first or None, field)


def _likewise(lines: list[int]) -> str:
    if not lines:
        return ""
    if len(lines) > MOST_NAMED:
        return f"; likewise in {len(lines)} more lines"
    *some, last = map(str, lines)
    return (
        f"; likewise in lines {', '.join(some)} and {last}"
        if some
        else f"; likewise in line {last}"
    )
