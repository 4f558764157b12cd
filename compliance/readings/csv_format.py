"""Readings as CSV (RFC 4180) with the project's own columns.

Required are three columns of code values (`r, g, b` or `c1, c2, c3`) and the measured colour
(`X, Y, Z` in cd/m² or `Y, x, y`); optional position, window, pattern, background, seconds,
encoding, sd, replaced and observer; columns that begin with `x-` are ignored. CRLF, LF and CR all
end a line; blank lines only at the end.

Cells are separated by commas and decimals have a point. A file whose header row is separated by
semicolons has a decimal comma in every number; the two are never mixed.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime

from compliance.model import Encoding
from compliance.readings.raw_table import (
    DECIMAL_COMMA,
    IGNORED,
    LEGAL,
    NUMBER,
    NUMERIC,
    SpectralOptions,
    Table,
    is_ignored,
)
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
CHROMATICITY = ("x", "y")
"""Columns whose names are those of others in another case."""
FOLDED = {name.casefold(): name for name in LEGAL if name not in CHROMATICITY}
"""Names of columns by their lower-case form."""


def read(text: str, problems: Problems, _spectral: SpectralOptions) -> Table:
    """The table in a CSV file's text. Raises ReadingsError if it is not CSV."""
    language = _language_of(text)
    if language:
        raise problems.stop(f"the file is {language}; {EXPECTED}")
    separator = _separator_of(text)
    header, *rows = rows_of(text, problems, separator)
    names = _names_of(header.cells)
    _check_header(header, names, problems)
    if not rows:
        raise problems.stop("no readings below the header row", header.line)
    if separator == ";":
        rows = [_with_points(row, names, header.cells, problems) for row in rows]
    labels = {
        name: own for name, own in zip(names, header.cells, strict=True) if name not in ("", own)
    }
    return Table(NAME, names, tuple(rows), header.line, labels)


def _separator_of(text: str) -> str:
    """A comma; a semicolon if the first line has such and no comma."""
    first = next(iter(text[:MOST_CHARACTERS].splitlines()), "")
    return ";" if ";" in first and "," not in first else ","


def _names_of(cells: Sequence[str]) -> tuple[str, ...]:
    """Our names of columns, whatever their case.

    X and x, Y and y are told apart, but where there is a Z, which goes with X and Y alone.
    """
    folded = [cell.casefold() for cell in cells]
    both = any(folded.count(name) > 1 for name in CHROMATICITY)
    exact = () if "z" in folded and not both else (*CHROMATICITY, "X", "Y")
    return tuple(
        cell if cell in exact else FOLDED.get(name, cell)
        for cell, name in zip(cells, folded, strict=True)
    )


def _with_points(row: Row, names: Sequence[str], labels: Sequence[str], problems: Problems) -> Row:
    """A row of a file with decimal commas, its numbers with points; others are noted."""
    cells = list(row.cells)
    for place, (name, cell) in enumerate(zip(names, row.cells, strict=False)):
        if name not in NUMERIC:
            continue
        if "." in cell and NUMBER.fullmatch(cell):
            message = f"{quoted(cell)} has a decimal point; expected a decimal comma, as semicolons"
            problems.add(f"{message} separate the columns", row.line, labels[place])
        elif DECIMAL_COMMA.fullmatch(cell):
            cells[place] = cell.replace(",", ".")
    return Row(row.line, tuple(cells))


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


def _check_header(header: Row, names: Sequence[str], problems: Problems) -> None:
    """Check that a row is the header and names known columns, each once.

    Notes problems; raises ReadingsError if it is not a header at all.
    """
    for sign, separated in (("\t", "tabs"), (";", "commas and semicolons")):
        if any(sign in cell for cell in header.cells):
            message = (
                f"the columns are separated by {separated}; expected commas and decimal points"
            )
            raise problems.stop(message + ", or semicolons and decimal commas", header.line)
    numbers = sum(NUMBER.fullmatch(cell) is not None for cell in header.cells)
    if header.blank or numbers >= min(3, len(header.cells)):  # no column has a number as its name
        what = "a blank line" if header.blank else "numbers"
        raise problems.stop(f"found {what}; expected the header row, e.g. r,g,b,X,Y,Z", header.line)
    seen: dict[str, int] = {}
    for place, name in enumerate(names):
        if not is_ignored(name):
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
        message = f"unknown column {quoted(name)}; {did_you_mean(name, LEGAL)}"
        problems.add(f"{message}; columns of your own begin with {IGNORED}", line)


def rows_of(text: str, problems: Problems, separator: str) -> list[Row]:
    """All rows, the header first, without blank ones at the end; at least one.

    Raises ReadingsError if the text cannot be split into rows, has none or too many.
    """
    rows: list[Row] = []
    for row in each_row(text, problems, separator=separator):
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
    separator: str = ",",
) -> Iterator[Row]:
    """The rows one after the other, including blank ones.

    Raises ReadingsError if the text cannot be split into rows, or a line has more than
    `characters` or a row more than `cells_at_most`.
    """
    lines = numbered_lines(text, characters, problems, newline="")
    reader = csv.reader((line for _, line in lines), strict=True, delimiter=separator)
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
        return 'found text after a closing "; expected a separator or the end of the line'
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
