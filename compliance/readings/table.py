"""Readings as CSV (RFC 4180): the project's own columns, checked hard.

Required are three columns of code values (`r, g, b` or `c1, c2, c3`) and the measured colour
(`X, Y, Z` in cd/m² or `Y, x, y`); optional position, window, pattern, background, seconds,
encoding and sd. Noise at black and repeated patches are normal.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from compliance.colorimetry.spaces import xyz_to_xy
from compliance.documents.files import read_bytes, sha256
from compliance.documents.words import meant, quoted
from compliance.errors import ReadingsError, UsageError
from compliance.model import (
    CHROMATICITY_FLOOR,
    ENCODINGS,
    PATTERNS,
    POSITIONS,
    Encoding,
    Readings,
    Triple,
)
from compliance.readings.cells import Cells
from compliance.readings.colour import NOISE, OUTSIDE, Colour, are_colours, tristimulus
from compliance.readings.columns import Columns, columns_of
from compliance.readings.problems import Problems
from compliance.readings.rows import Row, rows_of
from compliance.readings.text import MOST_BYTES, text_of

__all__ = ["load_readings", "readings_from_bytes"]


def load_readings(
    path: str | Path, encoding: Encoding | str, *, floor: float = CHROMATICITY_FLOOR
) -> Readings:
    """The readings in a CSV file.

    `encoding` is that of the code values, by itself or by name. Below `floor` (cd/m²) no
    chromaticity is judged, nor any colour refused for it. Raises ReadingsError with what is
    wrong, and UsageError for an unknown encoding.
    """
    known = _encoding(encoding)
    data = read_bytes(path, ReadingsError, "readings", limit=MOST_BYTES)
    return readings_from_bytes(data, str(path), known, floor=floor)


def readings_from_bytes(
    data: bytes, name: str, encoding: Encoding | str, *, floor: float = CHROMATICITY_FLOOR
) -> Readings:
    """The readings in a CSV file's bytes; `name` is what messages call it.

    Units, bounds and errors as `load_readings`.
    """
    known = _encoding(encoding)
    problems = Problems(name)
    rows = rows_of(text_of(data, problems), problems)
    header = rows.pop(0)
    columns = columns_of(header, problems)
    floor = max(floor, NOISE)
    if not rows:
        raise problems.stop("there are no readings below the header row", header.line)
    records = [record for row in rows if (record := _record(row, columns, known, floor, problems))]
    _check_colours(records, columns, floor, problems)
    problems.check()
    return Readings(
        encoding=known,
        codes=np.array([record.codes for record in records], dtype=np.int64),
        xyz=np.array([record.xyz for record in records], dtype=np.float64),
        position=tuple(record.position for record in records),
        window=np.array([record.window for record in records]),
        pattern=tuple(record.pattern for record in records),
        background=tuple(record.background for record in records),
        seconds=np.array([record.seconds for record in records]),
        deviation=np.array([record.deviation for record in records]),
        lines=tuple(record.line for record in records),
        file=name,
        data=data,
        sha256=sha256(data),
    )


def _encoding(encoding: Encoding | str) -> Encoding:
    if isinstance(encoding, Encoding):
        return encoding
    if encoding in ENCODINGS:
        return ENCODINGS[encoding]
    raise UsageError(f"{quoted(encoding)} is no encoding; {meant(encoding, ENCODINGS)}")


@dataclass(frozen=True, slots=True)
class _Record:
    line: int
    codes: Triple
    xyz: Colour
    position: str
    window: float
    pattern: str
    background: str
    seconds: float
    deviation: float


def _record(
    row: Row, columns: Columns, encoding: Encoding, floor: float, problems: Problems
) -> _Record | None:
    """One row's values; None where something in it is wrong, which is noted."""
    if not _is_whole(row, columns, problems):
        return None
    cells = Cells(row, columns.at, problems)
    r, g, b = (cells.code(column, encoding) for column in columns.codes)
    record = _Record(
        line=row.line,
        codes=(r, g, b),
        xyz=tristimulus(cells, columns, floor),
        position=cells.word_if("position", "centre", POSITIONS),
        window=cells.number_if("window", math.nan, _is_share, "% of area, above 0, up to 100"),
        pattern=cells.word_if("pattern", "", PATTERNS),
        background=cells.line_if("background"),
        seconds=cells.number_if("seconds", 0.0, _is_positive, "seconds, 0 or more"),
        deviation=cells.number_if("sd", math.nan, _is_positive, "% of the mean Y, 0 or more"),
    )
    stated = cells.text("encoding")
    if stated not in ("", encoding.name):
        cells.note_cell("encoding", "disagrees with what was said of this file", encoding.name)
    return None if cells.bad else record


def _is_whole(row: Row, columns: Columns, problems: Problems) -> bool:
    """Whether the row has as many cells as the header."""
    count = len(row.cells)
    if row.blank:
        problems.add("a blank line between the readings; remove it", row.line)
    elif count != columns.count:
        cells = "1 cell" if count == 1 else f"{count} cells"
        hint = "; decimals take a point, no comma" if count > columns.count else ""
        problems.add(f"{cells} where the header row has {columns.count}{hint}", row.line)
    else:
        return True
    return False


def _is_share(value: float) -> bool:
    return 0 < value <= 100


def _is_positive(value: float) -> bool:
    return value >= 0


def _check_colours(
    records: list[_Record], columns: Columns, floor: float, problems: Problems
) -> None:
    xyz = np.array([record.xyz for record in records], dtype=np.float64).reshape(-1, 3)
    for row in np.flatnonzero(~are_colours(xyz, floor)):
        colour = xyz[row] if columns.values[0] == "X" else (xyz[row][1], *xyz_to_xy(xyz[row]))
        told = zip(columns.values, colour, strict=True)
        stated = ", ".join(f"{name} {value:g}" for name, value in told)
        message = f"{stated} is no colour: over {OUTSIDE} in u′v′ outside the spectral locus"
        problems.add(message, records[row].line)
