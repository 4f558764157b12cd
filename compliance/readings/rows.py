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

__all__ = ["MOST_CELLS", "MOST_CHARACTERS", "MOST_ROWS", "Row", "each_row", "rows_of"]

MOST_ROWS = 50_000
MOST_CHARACTERS = 4096
"""of a line"""
MOST_CELLS = 200
"""of a row"""


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
    for row in each_row(text, problems):
        if len(rows) > MOST_ROWS:
            raise problems.stop(f"more than {MOST_ROWS} readings; split the file", row.line)
        rows.append(row)
    while rows and rows[-1].blank:
        rows.pop()
    if not rows:
        raise problems.stop(f"the file is empty; {EXPECTED}")
    return rows


def each_row(
    text: str,
    problems: Problems,
    *,
    characters: int = MOST_CHARACTERS,
    cells_at_most: int = MOST_CELLS,
) -> Iterator[Row]:
    """The rows one after the other, blank ones too.

    Raises ReadingsError where the text cannot be cut into rows, or a line has more than
    `characters` or a row more than `cells_at_most`.
    """
    lines = io.StringIO(text, newline="")
    reader = csv.reader(_bounded(lines, characters, problems), strict=True)
    begins = 1
    try:
        for cells in reader:
            if len(cells) > cells_at_most:
                message = f"the row has {len(cells)} cells; expected at most {cells_at_most}"
                raise problems.stop(message, begins)
            yield Row(begins, tuple(cell.strip(" \t") for cell in cells))
            begins = reader.line_num + 1
    except csv.Error as error:
        raise problems.stop(_said(str(error)), begins) from None


def _bounded(lines: io.StringIO, most: int, problems: Problems) -> Iterator[str]:
    for number, line in enumerate(lines, start=1):
        if len(line) > most:
            raise problems.stop(
                f"the line has {len(line)} characters; expected at most {most}", number
            )
        yield line


def _said(error: str) -> str:
    """The csv module's complaint in our words."""
    if "end of data" in error or "field larger" in error:
        return 'a quoted cell that begins in this row is never closed; expected a closing "'
    if "expected after" in error:
        return 'text stands behind a closing "; expected a comma or the end of the line'
    return f"the row cannot be read as CSV: {error}"
