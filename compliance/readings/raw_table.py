"""Readings as text under our column names: the result of every format's reader."""

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
DECIMAL_COMMA = re.compile(r"[+-]?(?:[0-9]+,[0-9]*|,[0-9]+)(?:[eE][+-]?[0-9]+)?")
NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)", re.IGNORECASE)
MOST_DIGITS = 9
MOST_CHARACTERS = 80
"""of free text"""


class Cells:
    """The cells of one row by column name.

    A bad cell is noted and read as NaN, 0 or ""; `bad` is true if there was one.
    """

    def __init__(
        self,
        row: Row,
        at: Mapping[str, int],
        problems: Problems,
        labels: Mapping[str, str] = MappingProxyType({}),
    ) -> None:
        """`labels` holds the file's own column names, if they differ from ours."""
        self._row = row
        self._at = at
        self._problems = problems
        self._labels = labels
        self.bad = False

    def note(self, column: str, message: str) -> None:
        """Note a problem with the cell."""
        self._problems.add(message, self._row.line, self._labels.get(column, column))
        self.bad = True

    def note_cell(self, column: str, what: str, expected: str) -> None:
        """Note that the cell's text is `what`, and what was expected."""
        self.note(column, f"{quoted(self.text(column))} {what}; expected {expected}")

    def text(self, column: str) -> str:
        """The cell; empty if the file has no such column."""
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
            self.note_cell(column, "is not a whole number", expected)
        return 0

    def number(self, column: str, expected: str) -> float:
        """A finite number; `expected` describes it in messages, e.g. `cd/m², e.g. 95.05`."""
        cell = self.text(column)
        if not cell:
            self.note(column, f"the cell is empty; expected {expected}")
        elif NUMBER.fullmatch(cell):
            value = float(cell)
            if math.isfinite(value):
                return value
            self.note_cell(column, "is not a finite number", expected)
        elif NOT_FINITE.fullmatch(cell):
            self.note_cell(column, "is not a finite number", expected)
        elif DECIMAL_COMMA.fullmatch(cell):
            self.note_cell(column, "has a decimal comma", f"a decimal point: {expected}")
        else:
            self.note_cell(column, "is not a number", expected)
        return math.nan

    def number_if(
        self, column: str, default: float, allowed: Callable[[float], bool], expected: str
    ) -> float:
        """A finite number that is allowed; `default` if the cell is empty."""
        if not self.text(column):
            return default
        value = self.number(column, expected)
        if not math.isnan(value) and not allowed(value):
            self.note_cell(column, "is out of range", expected)
        return value

    def word_if(self, column: str, default: str, legal: Sequence[str]) -> str:
        """One of the legal words; `default` if the cell is empty."""
        cell = self.text(column)
        if not cell:
            return default
        if cell not in legal:
            self.note(column, f"unknown {column} {quoted(cell)}; {did_you_mean(cell, legal)}")
        return cell

    def line_if(self, column: str) -> str:
        """Free text on one line; may be empty."""
        cell = self.text(column)
        if len(cell) > MOST_CHARACTERS or not cell.isprintable():
            expected = f"at most {MOST_CHARACTERS} printable characters on one line"
            self.note_cell(column, "is not a short text", expected)
        return cell


@dataclass(frozen=True, slots=True)
class SpectralOptions:
    """How spectra become X, Y, Z; by default for the observer that rules use."""

    observer: str = "cie-1931-2"
    unit: str = ""
    """Of spectral radiance, if a file states none."""


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of cells as they are in a file, before any of them is checked."""

    form: str
    """The format's name."""
    names: tuple[str, ...]
    """Of `LEGAL`, in the order of the cells."""
    rows: tuple[Row, ...]
    line: int | None
    """The line that names the columns."""
    labels: Mapping[str, str] = field(default_factory=dict)
    """The format's own column names, for messages, if they differ from ours."""
    encoding: str = ""
    """Of all code values, if the file states it once."""
    top: str = ""
    """The largest possible code value, if the file states it."""
    doubt: str = ""
    """Why the code values may not be codes; then they are not read as such."""

    def cells(self, name: str) -> list[str]:
        """One column from top to bottom; empty cells if there is no such column."""
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
                    "write decimals with a point" if comma else "remove the empty cells at its end"
                )
                hint = f"; {hint}"
            cells = "1 cell" if count == 1 else f"{count} cells"
            problems.add(f"{cells}; expected {expected} as in the header row{hint}", row.line)
    return whole


CODES = (("r", "g", "b"), ("c1", "c2", "c3"))
VALUES = (("X", "Y", "Z"), ("Y", "x", "y"))
OPTIONAL = (
    "position", "window", "pattern", "background", "seconds", "encoding", "sd", "replaced",
    "observer",
)  # fmt: skip
CODE_NAMES = tuple(name for names in CODES for name in names)
VALUE_NAMES = tuple(dict.fromkeys(name for names in VALUES for name in names))
LEGAL = (*CODE_NAMES, *VALUE_NAMES, *OPTIONAL)
NUMERIC = (*CODE_NAMES, *VALUE_NAMES, "window", "seconds", "sd")
IGNORED = "x-"
"""Beginning of the names of columns that are the user's own."""


def is_ignored(name: str) -> bool:
    """Whether a column is the user's own."""
    return name.casefold().startswith(IGNORED)


NO_CODES = (
    "; if the file has none, take them from the plan that was measured: "
    "compliance convert FILE OUT --plan PLAN.csv"
)


@dataclass(frozen=True, slots=True)
class Columns:
    """The place of each column."""

    count: int
    at: Mapping[str, int]
    codes: tuple[str, str, str]
    """`r, g, b` or `c1, c2, c3`."""
    values: tuple[str, str, str]
    """`X, Y, Z` or `Y, x, y`."""


def columns_of(table: Table, problems: Problems) -> Columns:
    """The columns of a table. Raises ReadingsError if a group of three is not complete."""
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
    """The group of columns, of two possible ones, that is complete; notes if it is not clear."""
    first, second = choices
    whole = [group for group in choices if all(name in at for name in group)]
    present = list(dict.fromkeys(name for name in (*first, *second) if name in at))
    expected = f"expected {_listed(first, table)} or {_listed(second, table)}"
    if len(whole) == 1 and set(present) == set(whole[0]):
        a, b, c = whole[0]
        return a, b, c
    if not present:
        hint = NO_CODES if choices is CODES and table.form != "csv" else ""
        problems.add(f"no columns for {what}; {expected}{hint}", table.line)
    elif whole:
        problems.add(
            f"too many columns for {what}: {_listed(present, table)}; {expected}", table.line
        )
    else:
        kept = _listed(present, table)
        problems.add(f"missing columns for {what}: found only {kept}; {expected}", table.line)
    a, b, c = first
    return a, b, c


def _listed(names: Sequence[str], table: Table) -> str:
    return ", ".join(table.labels.get(name, name) for name in names)
