"""The columns of readings: their names, and which of them a file has where."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from compliance.documents.words import meant, quoted
from compliance.readings.cells import NUMBER
from compliance.readings.problems import Problems
from compliance.readings.rows import Row
from compliance.readings.tables import Table

__all__ = ["CODES", "LEGAL", "OPTIONAL", "VALUES", "Columns", "check_header", "columns_of"]

CODES = (("r", "g", "b"), ("c1", "c2", "c3"))
VALUES = (("X", "Y", "Z"), ("Y", "x", "y"))
OPTIONAL = (
    "position", "window", "pattern", "background", "seconds", "encoding", "sd", "observer"
)  # fmt: skip
LEGAL = tuple(dict.fromkeys(name for names in (*CODES, *VALUES, OPTIONAL) for name in names))
FOLDED = {name.casefold() for name in LEGAL}
SEPARATORS = {";": "semicolons", "\t": "tabs"}

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


def check_header(header: Row, problems: Problems) -> None:
    """That a row of a CSV file is the header and names columns there are, each once.

    What else is wrong is noted; raises ReadingsError where it is no header at all.
    """
    _check_separator(header, problems)
    numbers = sum(NUMBER.fullmatch(cell) is not None for cell in header.cells)
    if header.blank or numbers >= min(3, len(header.cells)):  # no column is named so
        what = "a blank line" if header.blank else "numbers"
        raise problems.stop(f"{what}; expected the header row, e.g. r,g,b,X,Y,Z", header.line)
    seen: dict[str, int] = {}
    for place, name in enumerate(header.cells):
        _check_name(name, place, seen, header.line, problems)
        seen.setdefault(name, place)


def columns_of(table: Table, problems: Problems) -> Columns:
    """The columns of a table. Raises ReadingsError where a group of three is not whole."""
    at: dict[str, int] = {}
    for place, name in enumerate(table.names):
        at.setdefault(name, place)
    codes = _group(CODES, "code values", at, table, problems)
    values = _group(VALUES, "the measured colour", at, table, problems)
    problems.check()
    return Columns(len(table.names), at, codes, values)


def _check_separator(header: Row, problems: Problems) -> None:
    for separator, name in SEPARATORS.items():
        if any(separator in cell for cell in header.cells):
            raise problems.stop(
                f"the columns are separated by {name}; expected commas between columns "
                "and points in decimals",
                header.line,
            )


def _check_name(
    name: str, place: int, seen: Mapping[str, int], line: int, problems: Problems
) -> None:
    if not name:
        problems.add(f"column {place + 1} has no name; remove it or name it", line)
    elif name in seen:
        named = name if name in LEGAL else quoted(name)
        problems.add(f"the column stands twice, as {seen[name] + 1} and {place + 1}", line, named)
    elif name not in LEGAL:
        case = "; names are case-sensitive" if name.casefold() in FOLDED else ""
        problems.add(f"there is no column {quoted(name)}; {meant(name, LEGAL)}{case}", line)


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
