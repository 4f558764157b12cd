"""Readings as CSV (RFC 4180) with the project's own columns.

Required are three columns of code values (`r, g, b` or `c1, c2, c3`) and the measured colour
(`X, Y, Z` in cd/m² or `Y, x, y`); optional position, window, pattern, background, seconds,
encoding, sd and observer. CRLF, LF and CR all end a line; blank lines only at the end.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime

from compliance.model import Encoding
from compliance.readings.raw_table import LEGAL, NUMBER, SpectralOptions, Table
from compliance.readings.text import (
    EXPECTED,
    MOST_ROWS,
    Problems,
    Row,
    numbered_lines,
)
from compliance.yaml_nodes.messages import did_you_mean, quoted

NAME = "csv"
FIRST_CHARACTERS = 4096
"""in which to look for the first line that is not a comment"""
MOST_CHARACTERS = 4096
"""of a line"""
MOST_CELLS = 200
"""of a row"""
FOLDED = {name.casefold() for name in LEGAL}
SEPARATORS = {";": "semicolons", "\t": "tabs"}


def read(text: str, problems: Problems, _spectral: SpectralOptions) -> Table:
    """The table in a CSV file's text. Raises ReadingsError if it is not CSV."""
    language = _language_of(text)
    if language:
        raise problems.stop(f"the file is {language}; {EXPECTED}")
    header, *rows = rows_of(text, problems)
    _check_header(header, problems)
    if not rows:
        raise problems.stop("no readings below the header row", header.line)
    return Table(NAME, header.cells, tuple(rows), header.line)


def _language_of(text: str) -> str | None:
    """The language of a text, by its first line; None if it may be CSV."""
    lines = (line.strip() for line in text.lstrip()[:FIRST_CHARACTERS].splitlines())
    first = next((line for line in lines if line and not line.startswith("#")), "")
    if first.startswith("<"):
        return "HTML" if re.match(r"<(!doctype html|html)", first, re.IGNORECASE) else "XML"
    if first.startswith(("{", "[")):
        return "JSON"
    if first.startswith(("---", "%YAML")) or re.match(r"[A-Za-z_][\w-]*:(\s|$)", first):
        return "YAML"
    return None


def _check_header(header: Row, problems: Problems) -> None:
    """Check that a row is the header and names known columns, each once.

    Notes problems; raises ReadingsError if it is not a header at all.
    """
    for separator, name in SEPARATORS.items():
        if any(separator in cell for cell in header.cells):
            message = f"the columns are separated by {name}; expected commas between columns "
            raise problems.stop(message + "and points in decimals", header.line)
    numbers = sum(NUMBER.fullmatch(cell) is not None for cell in header.cells)
    if header.blank or numbers >= min(3, len(header.cells)):  # no column has a number as its name
        what = "a blank line" if header.blank else "numbers"
        raise problems.stop(f"found {what}; expected the header row, e.g. r,g,b,X,Y,Z", header.line)
    seen: dict[str, int] = {}
    for place, name in enumerate(header.cells):
        _check_name(name, place, seen, header.line, problems)
        seen.setdefault(name, place)


def _check_name(
    name: str, place: int, seen: Mapping[str, int], line: int, problems: Problems
) -> None:
    if not name:
        problems.add(f"column {place + 1} has no name; remove it or name it", line)
    elif name in seen:
        named = name if name in LEGAL else quoted(name)
        problems.add(f"duplicate column: columns {seen[name] + 1} and {place + 1}", line, named)
    elif name not in LEGAL:
        case = "; names are case-sensitive" if name.casefold() in FOLDED else ""
        problems.add(f"unknown column {quoted(name)}; {did_you_mean(name, LEGAL)}{case}", line)


def rows_of(text: str, problems: Problems) -> list[Row]:
    """All rows, the header first, without blank ones at the end; at least one.

    Raises ReadingsError if the text cannot be split into rows, has none or too many.
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
    """The rows one after the other, including blank ones.

    Raises ReadingsError if the text cannot be split into rows, or a line has more than
    `characters` or a row more than `cells_at_most`.
    """
    lines = numbered_lines(text, characters, problems, newline="")
    reader = csv.reader((line for _, line in lines), strict=True)
    begins = 1
    try:
        for cells in reader:
            if len(cells) > cells_at_most:
                message = f"the row has {len(cells)} cells; expected at most {cells_at_most}"
                raise problems.stop(message, begins)
            yield Row(begins, tuple(cell.strip(" \t") for cell in cells))
            begins = reader.line_num + 1
    except csv.Error as error:
        raise problems.stop(_message_of(str(error)), begins) from None


def _message_of(error: str) -> str:
    """The csv module's message in our words."""
    if "end of data" in error or "field larger" in error:
        return 'a quoted cell that begins in this row is not closed; expected a closing "'
    if "expected after" in error:
        return 'found text after a closing "; expected a comma or the end of the line'
    return f"the row cannot be read as CSV: {error}"


def write(table: Table, *, encoding: Encoding, created: datetime, tool: str) -> str:
    """A table as CSV, every cell unchanged, the encoding in each row; LF at line ends.

    The format has no place for `created` and `tool`.
    """
    del created, tool
    rows = ((*row.cells, encoding.name) for row in table.rows)
    return comma_separated([(*table.names, "encoding"), *rows])


def comma_separated(rows: Iterable[Sequence[str]]) -> str:
    """Rows of cells as CSV."""
    return "".join(",".join(map(_quoted, cells)) + "\n" for cells in rows)


def _quoted(cell: str) -> str:
    """A cell, in quotes if needed (RFC 4180, 2.6 and 2.7)."""
    if any(sign in cell for sign in ',"\r\n') or cell != cell.strip(" \t"):
        return '"' + cell.replace('"', '""') + '"'
    return cell
