"""Readings as CSV (RFC 4180) with the project's own columns.

Required are three columns of code values (`r, g, b` or `c1, c2, c3`) and the measured colour
(`X, Y, Z` in cd/m² or `Y, x, y`); optional position, window, pattern, background, seconds,
encoding, sd and observer.
"""

from __future__ import annotations

from compliance.readings.columns import check_header
from compliance.readings.problems import Problems
from compliance.readings.rows import rows_of
from compliance.readings.tables import Table
from compliance.readings.text import EXPECTED, language_of

__all__ = ["NAME", "read", "written"]

NAME = "csv"


def read(text: str, problems: Problems) -> Table:
    """The table in a CSV file's text. Raises ReadingsError where it is none."""
    language = language_of(text)
    if language:
        raise problems.stop(f"the file is {language}; {EXPECTED}")
    header, *rows = rows_of(text, problems)
    check_header(header, problems)
    if not rows:
        raise problems.stop("there are no readings below the header row", header.line)
    return Table(NAME, header.cells, tuple(rows), header.line)


def written(table: Table) -> str:
    """A table as CSV, every cell as it stands; LF at the ends of lines."""
    lines = [",".join(map(_quoted, cells)) for cells in (table.names, *_cells(table))]
    return "\n".join(lines) + "\n"


def _cells(table: Table) -> list[tuple[str, ...]]:
    return [row.cells for row in table.rows]


def _quoted(cell: str) -> str:
    """RFC 4180, 2.6 and 2.7."""
    if any(sign in cell for sign in ',"\r\n') or cell != cell.strip(" \t"):
        return '"' + cell.replace('"', '""') + '"'
    return cell
