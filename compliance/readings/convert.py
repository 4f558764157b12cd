"""From readings in any format to readings in one of those that are written.

Cells are carried over as they stand, so that no digit is lost; everything is judged as if it
were to be assessed before anything is written.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from importlib import import_module

from compliance.errors import UsageError
from compliance.model import CHROMATICITY_FLOOR, Encoding
from compliance.readings.columns import OPTIONAL, columns_of
from compliance.readings.formats import FORMATS, read_table
from compliance.readings.joining import joined
from compliance.readings.problems import Problems
from compliance.readings.records import OBSERVER, encoding_of, readings_of
from compliance.readings.rows import Row
from compliance.readings.tables import Spectral, Table
from compliance.readings.text import text_of

__all__ = ["Converted", "Source", "convert"]


@dataclass(frozen=True, slots=True)
class Source:
    """A file to convert, or a plan."""

    name: str
    """What messages call it."""
    data: bytes


@dataclass(frozen=True, slots=True)
class Converted:
    data: bytes
    count: int
    """Readings."""
    negative: int
    """Readings with a value below zero, which some formats' schemas do not allow."""
    forms: tuple[str, ...]
    """Formats read."""
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
    spectral: Spectral | None = None,
) -> Converted:
    """The readings of all sources, one after the other, in the format `to`.

    `encoding` is that of the code values where the files do not state it, `form` insists on
    the sources' format. With `plan` code values and places come from it, row by row. Values for
    another observer than a rule judges are computed of spectra alone. `created` is the time the
    file says of itself, `tool` who wrote it. Raises ReadingsError with what is wrong, UsageError
    where `to` is not written.
    """
    if to not in FORMATS or not FORMATS[to].writer:
        written = [name for name, each in FORMATS.items() if each.writer]
        raise UsageError(f"{to} is not written; expected {' or '.join(written)}")
    asked = spectral or Spectral()
    if asked.observer != OBSERVER and to != "csv":
        raise UsageError(f"values for {asked.observer} are written as csv, which says so")
    problems = [Problems(source.name) for source in sources]
    tables = [
        read_table(text_of(source.data, told), told, form, asked)
        for source, told in zip(sources, problems, strict=True)
    ]
    if asked.observer != OBSERVER:
        _check_spectra(tables, problems)
    if plan is not None:
        told = Problems(plan.name)
        tables = joined(
            tables, problems, read_table(text_of(plan.data, told), told), told, encoding
        )
    known = _encoding(tables, problems, encoding)
    for source, table, told in zip(sources, tables, problems, strict=True):
        readings_of(
            table,
            source.data,
            known,
            floor=CHROMATICITY_FLOOR,
            problems=told,
            observer=asked.observer,
        )
    whole = _normal(tables)
    write: Callable[..., str] = import_module(f"compliance.readings.{FORMATS[to].writer}").written
    text = write(whole, encoding=known, created=created, tool=tool)
    return Converted(
        text.encode("utf-8"),
        len(whole.rows),
        sum(any(cell.startswith("-") for cell in row.cells[3:6]) for row in whole.rows),
        tuple(dict.fromkeys(table.form for table in tables)),
        known,
    )


def _check_spectra(tables: Sequence[Table], problems: Sequence[Problems]) -> None:
    """That values for another observer are computed, which they are of spectra alone."""
    for table, told in zip(tables, problems, strict=True):
        if "observer" not in table.names:
            raise told.stop("has no spectra, whose values could be for another observer")


def _encoding(
    tables: Sequence[Table], problems: Sequence[Problems], given: Encoding | None
) -> Encoding:
    """The one encoding of all code values: what was given, or what the files state."""
    for table, told in zip(tables, problems, strict=True):
        given = encoding_of(table, told, given)
    assert given is not None
    return given


def _normal(tables: Sequence[Table]) -> Table:
    """All rows under one order of columns: codes, values, then what any row says."""
    first = tables[0]
    told = Problems("")
    shown = [columns_of(table, told) for table in tables]
    if len({(each.codes, each.values) for each in shown}) > 1:
        raise UsageError("the files have different columns; convert them one by one")
    names = (*shown[0].codes, *shown[0].values)
    said = [
        name
        for name in OPTIONAL
        if name != "encoding" and any(cell for table in tables for cell in table.cells(name))
    ]
    rows = [
        Row(row.line, cells)
        for table in tables
        for row, cells in zip(
            table.rows,
            zip(*(table.cells(name) for name in (*names, *said)), strict=True),
            strict=True,
        )
    ]
    return replace(first, names=(*names, *said), rows=tuple(rows), said={})
