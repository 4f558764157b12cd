"""Readings as CSV (RFC 4180) with the project's own columns.

Required are three columns of code values (`r, g, b` or `c1, c2, c3`) and the measured colour
(`X, Y, Z` in cd/m² or `Y, x, y`); optional position, window, pattern, background, seconds,
encoding, sd and observer.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from compliance.model import Encoding
from compliance.readings.raw_table import SpectralOptions, Table, check_header
from compliance.readings.text import EXPECTED, Problems, language_of, rows_of

NAME = "csv"


def read(text: str, problems: Problems, _spectral: SpectralOptions | None = None) -> Table:
    """The table in a CSV file's text. Raises ReadingsError where it is none."""
    language = language_of(text)
    if language:
        raise problems.stop(f"the file is {language}; {EXPECTED}")
    header, *rows = rows_of(text, problems)
    check_header(header, problems)
    if not rows:
        raise problems.stop("there are no readings below the header row", header.line)
    return Table(NAME, header.cells, tuple(rows), header.line)


def write(table: Table, *, encoding: Encoding, created: datetime, tool: str) -> str:
    """A table as CSV, every cell as it stands, the encoding in each row; LF at line ends.

    The format has no place for `created` and `tool`.
    """
    del created, tool
    rows = ((*row.cells, encoding.name) for row in table.rows)
    return comma_separated([(*table.names, "encoding"), *rows])


def comma_separated(rows: Iterable[Sequence[str]]) -> str:
    """Rows of cells as CSV."""
    return "".join(",".join(map(_quoted, cells)) + "\n" for cells in rows)


def _quoted(cell: str) -> str:
    """RFC 4180, 2.6 and 2.7."""
    if any(sign in cell for sign in ',"\r\n') or cell != cell.strip(" \t"):
        return '"' + cell.replace('"', '""') + '"'
    return cell
