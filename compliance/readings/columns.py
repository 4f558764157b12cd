"""The header row: which columns a readings file has, and where."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from compliance.documents.words import meant, quoted
from compliance.readings.cells import NUMBER
from compliance.readings.problems import Problems
from compliance.readings.rows import Row

__all__ = ["Columns", "columns_of"]

CODES = (("r", "g", "b"), ("c1", "c2", "c3"))
VALUES = (("X", "Y", "Z"), ("Y", "x", "y"))
OPTIONAL = ("position", "window", "pattern", "background", "seconds", "encoding", "sd")
LEGAL = tuple(dict.fromkeys(name for names in (*CODES, *VALUES, OPTIONAL) for name in names))
FOLDED = {name.casefold() for name in LEGAL}
SEPARATORS = {";": "semicolons", "\t": "tabs"}


@dataclass(frozen=True, slots=True)
class Columns:
    """Where each column stands."""

    count: int
    at: Mapping[str, int]
    codes: tuple[str, str, str]
    """`r, g, b` or `c1, c2, c3`."""
    values: tuple[str, str, str]
    """`X, Y, Z` or `Y, x, y`."""


def columns_of(header: Row, problems: Problems) -> Columns:
    """The columns that the header row names. Raises ReadingsError where it is no header."""
    _check_separator(header, problems)
    if header.blank or all(NUMBER.fullmatch(cell) for cell in header.cells):
        what = "a blank line" if header.blank else "numbers"
        raise problems.stop(f"{what}; expected the header row, e.g. r,g,b,X,Y,Z", header.line)
    at: dict[str, int] = {}
    for place, name in enumerate(header.cells):
        _check_name(name, place, at, header.line, problems)
        at.setdefault(name, place)
    codes = _group(CODES, "code values", at, header.line, problems)
    values = _group(VALUES, "the measured colour", at, header.line, problems)
    problems.check()
    return Columns(len(header.cells), at, codes, values)


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
        problems.add(f"the column stands twice, as {seen[name] + 1} and {place + 1}", line, name)
    elif name not in LEGAL:
        case = "; names are case-sensitive" if name.casefold() in FOLDED else ""
        problems.add(f"there is no column {quoted(name)}; {meant(name, LEGAL)}{case}", line)


def _group(
    choices: tuple[tuple[str, ...], ...],
    what: str,
    at: Mapping[str, int],
    line: int,
    problems: Problems,
) -> tuple[str, str, str]:
    """The one of two groups of three columns that stands there whole."""
    first, second = choices
    whole = [group for group in choices if all(name in at for name in group)]
    present = [name for name in (*first, *second) if name in at]
    alternatives = f"{', '.join(first)} or {', '.join(second)}"
    if len(whole) == 1 and set(present) == set(whole[0]):
        a, b, c = whole[0]
        return a, b, c
    if not present:
        problems.add(f"no columns for {what}; expected {alternatives}", line)
    elif whole:
        kept = ", ".join(dict.fromkeys(present))
        problems.add(f"too many columns for {what}: {kept}; expected {alternatives}", line)
    else:
        kept = ", ".join(dict.fromkeys(present))
        problems.add(f"columns for {what} are missing: only {kept}; expected {alternatives}", line)
    a, b, c = first
    return a, b, c
