"""Readings as text under our names of columns: what every reader of a format ends in."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from compliance.model import Encoding
from compliance.readings.text import Problems, Row
from compliance.yaml_nodes.messages import did_you_mean, quoted

NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
WHOLE = re.compile(r"[+-]?[0-9]+")
DECIMAL_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+(?:[eE][+-]?[0-9]+)?")
NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)", re.IGNORECASE)
MOST_DIGITS = 9
MOST_CHARACTERS = 80
"""of free text"""


class Cells:
    """The cells of one row by column name.

    A bad cell is noted and stands in as NaN, 0 or ""; `bad` says whether there was one.
    """

    def __init__(
        self,
        row: Row,
        at: Mapping[str, int],
        problems: Problems,
        said: Mapping[str, str] = MappingProxyType({}),
    ) -> None:
        """`said` is what the file calls a column where that is another name than ours."""
        self._row = row
        self._at = at
        self._problems = problems
        self._said = said
        self.bad = False

    def note(self, column: str, message: str) -> None:
        """Note a problem in the cell."""
        self._problems.add(message, self._row.line, self._said.get(column, column))
        self.bad = True

    def note_cell(self, column: str, what: str, expected: str) -> None:
        """Note that the cell's text is `what` where something else was expected."""
        self.note(column, f"{quoted(self.text(column))} {what}; expected {expected}")

    def text(self, column: str) -> str:
        """The cell; empty where the file has no such column."""
        at = self._at.get(column)
        return "" if at is None else self._row.cells[at]

    def code(self, column: str, encoding: Encoding) -> int:
        """An integer code value of the encoding."""
        cell = self.text(column)
        expected = f"a code value of {encoding.name}, 0 to {encoding.top}"
        if WHOLE.fullmatch(cell):
            code = int(cell) if len(cell) <= MOST_DIGITS else encoding.top + 1
            if 0 <= code <= encoding.top:
                return code
            self.note_cell(column, "is outside the encoding", expected)
        elif not math.isnan(self.number(column, expected)):
            self.note_cell(column, "is no whole number", expected)
        return 0

    def number(self, column: str, expected: str) -> float:
        """A finite number; `expected` says what would be right, e.g. `cd/m², e.g. 95.05`."""
        cell = self.text(column)
        if not cell:
            self.note(column, f"nothing stands here; expected {expected}")
        elif NUMBER.fullmatch(cell):
            value = float(cell)
            if math.isfinite(value):
                return value
            self.note_cell(column, "is no finite number", expected)
        elif NOT_FINITE.fullmatch(cell):
            self.note_cell(column, "is no finite number", expected)
        elif DECIMAL_COMMA.fullmatch(cell):
            self.note_cell(column, "has a decimal comma", f"a decimal point: {expected}")
        else:
            self.note_cell(column, "is no number", expected)
        return math.nan

    def number_if(
        self, column: str, unsaid: float, allowed: Callable[[float], bool], expected: str
    ) -> float:
        """A finite number that is allowed; `unsaid` where the file does not say."""
        if not self.text(column):
            return unsaid
        value = self.number(column, expected)
        if not math.isnan(value) and not allowed(value):
            self.note_cell(column, "is out of range", expected)
        return value

    def word_if(self, column: str, unsaid: str, legal: Sequence[str]) -> str:
        """One of the legal words; `unsaid` where the file does not say."""
        cell = self.text(column)
        if not cell:
            return unsaid
        if cell not in legal:
            self.note(column, f"{quoted(cell)} is no {column}; {did_you_mean(cell, legal)}")
        return cell

    def line_if(self, column: str) -> str:
        """Free text on one line; empty where the file does not say."""
        cell = self.text(column)
        if len(cell) > MOST_CHARACTERS or not cell.isprintable():
            self.note_cell(column, "is no short text", f"{MOST_CHARACTERS} characters on one line")
        return cell


@dataclass(frozen=True, slots=True)
class SpectralOptions:
    """How spectra become X, Y, Z; without a word for the observer that a rule judges."""

    observer: str = "cie-1931-2"
    unit: str = ""
    """Of spectral radiance, where a file states none."""


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of cells as they stand in a file, before any of them is judged."""

    form: str
    """The format's name."""
    names: tuple[str, ...]
    """Of `LEGAL`, in the order of the cells."""
    rows: tuple[Row, ...]
    line: int | None
    """Where the columns are named."""
    said: Mapping[str, str] = field(default_factory=dict)
    """What messages call a column where the format has another name for it."""
    encoding: str = ""
    """Of all code values, where the file says it once."""
    top: str = ""
    """The largest code value that there can be, where the file says it."""
    doubt: str = ""
    """What speaks against its code values; they are not read as such then."""

    def cells(self, name: str) -> list[str]:
        """One column from top to bottom; empty cells where there is no such column."""
        if name not in self.names:
            return [""] * len(self.rows)
        at = self.names.index(name)
        return [row.cells[at] if at < len(row.cells) else "" for row in self.rows]


def whole_rows(table: Table, problems: Problems) -> list[Row]:
    """The rows with as many cells as there are columns; others are noted and left out."""
    expected, whole = len(table.names), []
    for row in table.rows:
        count = len(row.cells)
        if row.blank:
            problems.add("a blank line between the readings; remove it", row.line)
        elif count == expected:
            whole.append(row)
        else:
            hint = ""
            if count > expected:
                comma = any(row.cells[expected:])
                hint = (
                    "decimals take a point, no comma" if comma else "remove the commas at its end"
                )
                hint = f"; {hint}"
            cells = "1 cell" if count == 1 else f"{count} cells"
            problems.add(f"{cells} where the header row has {expected}{hint}", row.line)
    return whole


CODES = (("r", "g", "b"), ("c1", "c2", "c3"))
VALUES = (("X", "Y", "Z"), ("Y", "x", "y"))
OPTIONAL = (
    "position", "window", "pattern", "background", "seconds", "encoding", "sd", "observer"
)  # fmt: skip
CODE_NAMES = tuple(name for names in CODES for name in names)
VALUE_NAMES = tuple(dict.fromkeys(name for names in VALUES for name in names))
LEGAL = (*CODE_NAMES, *VALUE_NAMES, *OPTIONAL)

NO_CODES = (
    "; where the meter wrote none, join them from the plan: compliance convert FILE OUT --plan PLAN"
)


@dataclass(frozen=True, slots=True)
class Columns:
    """Where each column stands."""

    count: int
    at: Mapping[str, int]
    codes: tuple[str, str, str]
    """`r, g, b` or `c1, c2, c3`."""
    values: tuple[str, str, str]
    """`X, Y, Z` or `Y, x, y`."""


def columns_of(table: Table, problems: Problems) -> Columns:
    """The columns of a table. Raises ReadingsError where a group of three is not whole."""
    at: dict[str, int] = {}
    for place, name in enumerate(table.names):
        at.setdefault(name, place)
    codes = _group(CODES, "code values", at, table, problems)
    values = _group(VALUES, "the measured colour", at, table, problems)
    problems.check()
    return Columns(len(table.names), at, codes, values)


def _group(
    choices: tuple[tuple[str, ...], ...],
    what: str,
    at: Mapping[str, int],
    table: Table,
    problems: Problems,
) -> tuple[str, str, str]:
    """The one of two groups of three columns that stands there whole."""
    first, second = choices
    whole = [group for group in choices if all(name in at for name in group)]
    present = list(dict.fromkeys(name for name in (*first, *second) if name in at))
    expected = f"expected {_told(first, table)} or {_told(second, table)}"
    if len(whole) == 1 and set(present) == set(whole[0]):
        a, b, c = whole[0]
        return a, b, c
    if not present:
        hint = NO_CODES if choices is CODES and table.form != "csv" else ""
        problems.add(f"no columns for {what}; {expected}{hint}", table.line)
    elif whole:
        problems.add(
            f"too many columns for {what}: {_told(present, table)}; {expected}", table.line
        )
    else:
        kept = _told(present, table)
        problems.add(f"columns for {what} are missing: only {kept}; {expected}", table.line)
    a, b, c = first
    return a, b, c


def _told(names: Sequence[str], table: Table) -> str:
    return ", ".join(table.said.get(name, name) for name in names)
