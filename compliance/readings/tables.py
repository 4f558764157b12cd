"""Readings as text under our names of columns: what every reader of a format ends in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from compliance.readings.problems import Problems
from compliance.readings.rows import Row

__all__ = ["Spectral", "Table", "whole_rows"]


@dataclass(frozen=True, slots=True)
class Spectral:
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
    """Of `columns.LEGAL`, in the order of the cells."""
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
    return [row for row in table.rows if _is_whole(row, len(table.names), problems)]


def _is_whole(row: Row, expected: int, problems: Problems) -> bool:
    """Whether the row has as many cells as the header."""
    count = len(row.cells)
    if row.blank:
        problems.add("a blank line between the readings; remove it", row.line)
    elif count != expected:
        cells = "1 cell" if count == 1 else f"{count} cells"
        problems.add(f"{cells} where the header row has {expected}{_hint(row, expected)}", row.line)
    else:
        return True
    return False


def _hint(row: Row, expected: int) -> str:
    """Why a row may have more cells than the header."""
    if len(row.cells) <= expected:
        return ""
    if any(row.cells[expected:]):
        return "; decimals take a point, no comma"
    return "; remove the commas at its end"
