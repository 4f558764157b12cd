"""Readings of patches that were measured again, and the earlier rows that they replace.

A row that is replaced stays in the file with the reason in its column `replaced`; it is shown with
the assessment, and no value is computed from it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from compliance.model import Readings
from compliance.readings.raw_table import Table
from compliance.readings.text import Problems, Row

COLUMN = "replaced"

Identity = tuple[object, ...]
"""Codes, position, window, pattern, background and time of a reading."""


def marked(
    tables: Sequence[Table],
    earlier: Sequence[Readings],
    again: Readings,
    reason: str,
    problems: Problems,
) -> list[Table]:
    """The tables with `reason` in the rows that the readings taken `again` replace.

    `earlier` are the readings of each table. Raises ReadingsError if a reading taken again has no
    earlier one of the same patch, which is noted in `problems`.
    """
    new = _identities(again)
    old = {identity for readings in earlier for identity in _identities(readings)}
    for line, identity in zip(again.lines, new, strict=True):
        if identity not in old:
            problems.add(
                "no earlier reading of this patch to replace; expected one with the same codes, "
                "position, window, pattern, background and seconds",
                line,
            )
    problems.check()
    return [
        _marked(table, _identities(readings), set(new), reason)
        for table, readings in zip(tables, earlier, strict=True)
    ]


def _marked(
    table: Table, identities: Sequence[Identity], again: set[Identity], reason: str
) -> Table:
    """A table with the reason in some of the rows that are not yet replaced."""
    used, rows = iter(identities), []
    at = table.names.index(COLUMN) if COLUMN in table.names else None
    for row, stated in zip(table.rows, table.cells(COLUMN), strict=True):
        known = stated or (reason if next(used) in again else "")
        cells = list(row.cells)
        if at is None:
            cells.append(known)
        else:
            cells[at] = known
        rows.append(Row(row.line, tuple(cells)))
    names = table.names if at is not None else (*table.names, COLUMN)
    return replace(table, names=names, rows=tuple(rows))


def _identities(readings: Readings) -> list[Identity]:
    """The identity of each reading."""
    return [
        (
            *(int(code) for code in readings.codes[row]),
            readings.position[row],
            None if math.isnan(readings.window[row]) else float(readings.window[row]),
            readings.pattern[row],
            readings.background[row],
            float(readings.seconds[row]),
        )
        for row in range(len(readings))
    ]
