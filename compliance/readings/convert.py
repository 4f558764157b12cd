"""Convert readings from any format to one that can be written, and join them with their plan.

If a file has code values of its own, they must be the plan's: as codes, or in percent of the
signal, as many programs write them. The plan's are kept.

Cells are copied unchanged, so that no digit is lost; before anything is written, everything is
checked as for an assessment.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from importlib import import_module

import numpy as np

from compliance.colour import codes
from compliance.errors import UsageError
from compliance.model import CHROMATICITY_FLOOR, Encoding
from compliance.readings.load import FORMATS, read_raw
from compliance.readings.raw_table import (
    CODE_NAMES,
    CODES,
    MOST_DIGITS,
    NUMBER,
    OPTIONAL,
    VALUE_NAMES,
    WHOLE,
    SpectralOptions,
    Table,
    columns_of,
    whole_rows,
)
from compliance.readings.retake import marked
from compliance.readings.text import Problems, Row, text_of
from compliance.readings.validate import OBSERVER, encoding_of, stated_encoding, validate

PRINTED = 0.05
"""% of the signal, the rounding of a printed share."""

Fits = Callable[[Sequence[float], Sequence[int]], bool]
"""Whether three numbers of a file mean the same as three codes of the plan."""


@dataclass(frozen=True, slots=True)
class Source:
    """A file to convert, or a plan."""

    name: str
    """Its name in messages."""
    data: bytes


@dataclass(frozen=True, slots=True)
class Retake:
    """Readings of patches that were measured again."""

    source: Source
    reason: str
    """Why; stated in each row that they replace."""


@dataclass(frozen=True, slots=True)
class _File:
    """A source after reading."""

    data: bytes
    problems: Problems
    table: Table

    def measured(self) -> list[Row]:
        """The rows with a cell in each column. Raises ReadingsError if there are others."""
        rows = whole_rows(self.table, self.problems)
        self.problems.check()
        return rows


def _read(
    source: Source, form: str | None = None, spectral: SpectralOptions | None = None
) -> _File:
    problems = Problems(source.name)
    table = read_raw(text_of(source.data, problems), problems, form, spectral)
    return _File(source.data, problems, table)


def join_with_plan(files: Sequence[_File], plan: _File, encoding: Encoding | None) -> list[_File]:
    """The files with the code values and places of the plan, which continues from file to file.

    `encoding` is that of the plan's codes, if the plan does not state it. Raises ReadingsError,
    also if a file's own code values are not the plan's.
    """
    rows = whole_rows(plan.table, plan.problems)
    columns_of(plan.table, plan.problems)
    count = sum(len(file.table.rows) for file in files)
    if count != len(rows):
        message = f"the plan has {len(rows)} rows; expected as many readings, found {count}"
        raise plan.problems.stop(message)
    known = stated_encoding(plan.table, plan.problems) or encoding
    joined, at = [], 0
    for file in files:
        some = rows[at : at + len(file.table.rows)]
        at += len(some)
        table = replace(file.table, rows=tuple(file.measured()))
        if any(name in table.names for name in CODE_NAMES):
            _check_codes(table, plan.table, some, known, file.problems)
        joined.append(replace(file, table=_with_plan(table, plan.table, some)))
    return joined


def _with_plan(table: Table, plan: Table, rows: Sequence[Row]) -> Table:
    stay = [at for at, name in enumerate(table.names) if name not in CODE_NAMES]
    names = tuple(table.names[at] for at in stay)
    kept = [name for name in plan.names if name not in (*VALUE_NAMES, *names)]
    places = [plan.names.index(name) for name in kept]
    merged = tuple(
        Row(own.line, (*(row.cells[at] for at in places), *(own.cells[at] for at in stay)))
        for row, own in zip(rows, table.rows, strict=True)
    )
    return replace(
        table,
        names=(*kept, *names),
        rows=merged,
        encoding=table.encoding or plan.encoding,
        top="",
        doubt="",
    )


def _check_codes(
    table: Table, plan: Table, rows: Sequence[Row], encoding: Encoding | None, problems: Problems
) -> None:
    """Check that the file's own code values are the plan's, all as codes or all in percent."""
    names = next(group for group in CODES if group[0] in plan.names)
    if not set(names) <= set(table.names):
        message = f"other columns for code values than the plan's; expected {', '.join(names)}"
        raise problems.stop(message, table.line)
    readings: list[Fits] = [lambda numbers, triple: list(numbers) == list(triple)]
    if encoding is not None:
        readings.append(lambda numbers, triple: _in_percent(numbers, triple, encoding))
    for row, asked in zip(table.rows, rows, strict=True):
        cells = [row.cells[table.names.index(name)] for name in names]
        wanted = [asked.cells[plan.names.index(name)] for name in names]
        whole = all(WHOLE.fullmatch(cell) and len(cell) <= MOST_DIGITS for cell in wanted)
        good = whole and all(NUMBER.fullmatch(cell) for cell in cells)
        triple = [int(cell) for cell in wanted] if good else []
        readings = [fits for fits in readings if good and fits(list(map(float, cells)), triple)]
        if not readings:
            expected = f"{', '.join(wanted)} as in the plan, or the same in percent of the signal"
            message = f"found {', '.join(cells)}; expected {expected}"
            raise problems.stop(message, row.line, names[0])


def _in_percent(numbers: Sequence[float], triple: Sequence[int], encoding: Encoding) -> bool:
    signal = np.asarray(codes.decode(np.array(triple), encoding.bits, encoding.narrow))
    slack = 50 * float(codes.step(encoding.bits, encoding.narrow)) + PRINTED
    return bool(np.all(np.abs(np.array(numbers) - 100 * signal) <= slack))


@dataclass(frozen=True, slots=True)
class Converted:
    data: bytes
    count: int
    """Readings."""
    negative: int
    """Number of readings with a value below zero, which some formats' schemas do not allow."""
    forms: tuple[str, ...]
    """Formats of the sources."""
    encoding: Encoding


def convert(
    sources: Sequence[Source],
    to: str,
    *,
    created: datetime,
    tool: str,
    encoding: Encoding | None = None,
    form: str | None = None,
    plan: Source | None = None,
    spectral: SpectralOptions | None = None,
    retake: Retake | None = None,
) -> Converted:
    """The readings of all sources, one after the other, in the format `to`.

    With `retake`, its readings are added, and those that they replace are marked.

    `encoding` is that of the code values if the files do not state it; `form` requires a format
    of the sources. With `plan`, code values and places come from it, row by row. Values for
    an observer other than the one that rules use are computed from spectra only. `created` and
    `tool` are the time and the author stated in the file. Raises ReadingsError with all problems,
    UsageError if `to` cannot be written.
    """
    if to not in FORMATS or not FORMATS[to].writer:
        written = [name for name, each in FORMATS.items() if each.writer]
        raise UsageError(f"{to} cannot be written; expected {' or '.join(written)}")
    asked = spectral or SpectralOptions()
    if asked.observer != OBSERVER and to != "csv":
        raise UsageError(f"values for {asked.observer} can only be written as csv")
    files = [_read(source, form, asked) for source in sources]
    if asked.observer != OBSERVER:
        for file in files:
            if "observer" not in file.table.names:  # reading spectra adds this column
                message = "no spectra, from which to compute values for another observer"
                raise file.problems.stop(message)
    if plan is not None:
        files = join_with_plan(files, _read(plan), encoding)
    again = [_read(retake.source, form, asked)] if retake else []
    for file in (*files, *again):
        encoding = encoding_of(file.table, file.problems, encoding)
    assert encoding is not None
    checked = [
        validate(
            file.table,
            file.data,
            encoding,
            floor=CHROMATICITY_FLOOR,
            problems=file.problems,
            observer=asked.observer,
            complete=True,
        )
        for file in (*files, *again)
    ]
    tables = [file.table for file in files]
    if retake:
        *earlier, then = checked
        tables = [*marked(tables, earlier, then, retake.reason, again[0].problems), again[0].table]
    whole = _normal(tables)
    write: Callable[..., str] = import_module(f"compliance.readings.{FORMATS[to].writer}").write
    text = write(whole, encoding=encoding, created=created, tool=tool)
    return Converted(
        text.encode("utf-8"),
        len(whole.rows),
        sum(any(cell.startswith("-") for cell in row.cells[3:6]) for row in whole.rows),
        tuple(dict.fromkeys(file.table.form for file in (*files, *again))),
        encoding,
    )


def _normal(tables: Sequence[Table]) -> Table:
    """All rows with the same order of columns: codes, values, then any other column in use."""
    first = tables[0]
    shown = [columns_of(table, Problems("")) for table in tables]
    if len({(each.codes, each.values) for each in shown}) > 1:
        raise UsageError("the files have different columns; convert them one by one")
    names = (*shown[0].codes, *shown[0].values)
    extra = [
        name
        for name in OPTIONAL
        if name != "encoding" and any(cell for table in tables for cell in table.cells(name))
    ]
    rows = [
        Row(row.line, cells)
        for table in tables
        for row, cells in zip(
            table.rows,
            zip(*(table.cells(name) for name in (*names, *extra)), strict=True),
            strict=True,
        )
    ]
    return replace(first, names=(*names, *extra), rows=tuple(rows), labels={})
