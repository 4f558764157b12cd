"""From text to rows of cells with the line each begins on.

Source: RFC 4180. CRLF, LF and CR end a line alike; blank lines only at the end.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass

from compliance.readings.problems import Problems
from compliance.readings.text import EXPECTED

__all__ = ["MOST_CHARACTERS", "MOST_ROWS", "Row", "rows_of"]

MOST_ROWS = 50_000
MOST_CHARACTERS = 4096
"""of a line"""


@dataclass(frozen=True, slots=True)
class Row:
    line: int
    """Line of the file on which the row begins, counted from 1."""
    cells: tuple[str, ...]
    """Without the blanks around them."""

    @property
    def blank(self) -> bool:
        """Whether nothing stands in it, commas at most."""
        return not any(self.cells)


def rows_of(text: str, problems: Problems) -> list[Row]:
    """All rows, the header first, without blank ones at the end; one at least.

    Raises ReadingsError where the text cannot be cut into rows, has none or too many.
    """
    rows: list[Row] = []
    for row in _read(text, problems):
        if len(rows) > MOST_ROWS:
            raise problems.stop(f"more than {MOST_ROWS} readings; split the file", row.line)
        rows.append(row)
    while rows and rows[-1].blank:
        rows.pop()
    if not rows:
        raise problems.stop(f"the file is empty; {EXPECTED}")
    return rows


def _read(text: str, problems: Problems) -> Iterator[Row]:
    lines = io.StringIO(text, newline="")
    reader = csv.reader(_bounded(lines, problems), strict=True)
    begins = 1
    try:
        for cells in reader:
            yield Row(begins, tuple(cell.strip(" \t") for cell in cells))
            begins = reader.line_num + 1
    except csv.Error as error:
        raise problems.stop(_said(str(error)), begins) from None


def _bounded(lines: io.StringIO, problems: Problems) -> Iterator[str]:
    for number, line in enumerate(lines, start=1):
        if len(line) > MOST_CHARACTERS:
            raise problems.stop(
                f"the line has {len(line)} characters; expected at most {MOST_CHARACTERS}", number
            )
        yield line


def _said(error: str) -> str:
    """The csv module's complaint in our words."""
    if "end of data" in error or "field larger" in error:
        return 'a quoted cell that begins in this row is never closed; expected a closing "'
    if "expected after" in error:
        return 'text stands behind a closing "; expected a comma or the end of the line'
    return f"the row cannot be read as CSV: {error}"
