"""Measured values joined with the plan that they were measured by, row by row.

Where a file has code values beside its values, they must be the plan's: as codes, or in percent
of the signal, as many programs write them. The plan's own are kept.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from compliance.colorimetry import codes
from compliance.model import Encoding
from compliance.readings.cells import MOST_DIGITS, NUMBER, WHOLE
from compliance.readings.columns import CODES, VALUES, columns_of
from compliance.readings.problems import Problems
from compliance.readings.records import stated_encoding
from compliance.readings.rows import Row
from compliance.readings.tables import Table, whole_rows

__all__ = ["joined"]

CODE_NAMES = tuple(name for group in CODES for name in group)
VALUE_NAMES = tuple(dict.fromkeys(name for group in VALUES for name in group))
PRINTED = 0.05
"""% of the signal by which a printed share may be rounded."""

Fits = Callable[[Sequence[float], Sequence[int]], bool]
"""Whether three numbers of a file say what three codes of the plan do."""


def joined(
    tables: Sequence[Table],
    problems: Sequence[Problems],
    plan: Table,
    told: Problems,
    encoding: Encoding | None,
) -> list[Table]:
    """The tables with the code values and places of the plan, the one after the other.

    `told` takes what is wrong with the plan; `encoding` is that of its codes where it does not
    state it. Raises ReadingsError, also where a file's own code values are not the plan's.
    """
    rows = whole_rows(plan, told)
    columns_of(plan, told)
    count = sum(len(table.rows) for table in tables)
    if count != len(rows):
        raise told.stop(f"the plan has {len(rows)} rows, and there are {count} readings")
    known = stated_encoding(plan, told) or encoding
    found, at = [], 0
    for table, mine in zip(tables, problems, strict=True):
        some = rows[at : at + len(table.rows)]
        at += len(table.rows)
        measured = whole_rows(table, mine)
        mine.check()
        own = [name for name in CODE_NAMES if name in table.names]
        if own:
            _check_codes(replace(table, rows=tuple(measured)), plan, some, known, mine)
        found.append(_with_plan(table, plan, some, measured))
    return found


def _with_plan(table: Table, plan: Table, rows: Sequence[Row], measured: Sequence[Row]) -> Table:
    stay = [at for at, name in enumerate(table.names) if name not in CODE_NAMES]
    names = tuple(table.names[at] for at in stay)
    kept = [name for name in plan.names if name not in (*VALUE_NAMES, *names)]
    places = [plan.names.index(name) for name in kept]
    merged = tuple(
        Row(found.line, (*(row.cells[at] for at in places), *(found.cells[at] for at in stay)))
        for row, found in zip(rows, measured, strict=True)
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
    """That the file's own code values are the plan's, all as codes or all in percent."""
    names = next(group for group in CODES if group[0] in plan.names)
    if not set(names) <= set(table.names):
        raise problems.stop(f"has other code values than the plan, {', '.join(names)}", table.line)
    readings: list[Fits] = [_same]
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
            what = f"{', '.join(cells)} where the plan has {', '.join(wanted)}"
            told = f"{what}; expected those codes, or in percent of the signal"
            raise problems.stop(told, row.line, names[0])


def _same(numbers: Sequence[float], triple: Sequence[int]) -> bool:
    return list(numbers) == list(triple)


def _in_percent(numbers: Sequence[float], triple: Sequence[int], encoding: Encoding) -> bool:
    signal = np.asarray(codes.decode(np.array(triple), encoding.bits, encoding.narrow))
    slack = 50 * float(codes.step(encoding.bits, encoding.narrow)) + PRINTED
    return bool(np.all(np.abs(np.array(numbers) - 100 * signal) <= slack))
