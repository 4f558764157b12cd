"""One row's cells: text to a number or a word, or a problem with its line and column."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType

from compliance.documents.words import meant, quoted
from compliance.model import Encoding
from compliance.readings.problems import Problems
from compliance.readings.rows import Row

__all__ = ["MOST_DIGITS", "NUMBER", "WHOLE", "Cells"]

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
            self.note(column, f"{quoted(cell)} is no {column}; {meant(cell, legal)}")
        return cell

    def line_if(self, column: str) -> str:
        """Free text on one line; empty where the file does not say."""
        cell = self.text(column)
        if len(cell) > MOST_CHARACTERS or not cell.isprintable():
            self.note_cell(column, "is no short text", f"{MOST_CHARACTERS} characters on one line")
        return cell
