"""From a table of text to readings: every cell checked, every colour possible.

Source: CIE 1931 standard colorimetric observer, ISO/CIE 11664-1: no light is outside the
spectral locus.

Noise at black and repeated patches are normal. A meter corrected by a matrix reads a little less
than no light in X or Z where a saturated colour has hardly any, in proportion to its luminance: the
locus bounds X and Z of a lit patch, the noise those of a dark one. X, Y, Z and Y, x, y of one
colour are treated alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from compliance.colour.chromaticity_diagram import distance_outside
from compliance.colour.spaces import xyz_to_uv, xyz_to_xy
from compliance.model import (
    CHROMATICITY_FLOOR,
    ENCODINGS,
    PATTERNS,
    POSITIONS,
    Array,
    Encoding,
    Readings,
    ReplacedReading,
    Triple,
)
from compliance.readings.raw_table import (
    MOST_DIGITS,
    WHOLE,
    Cells,
    Columns,
    Table,
    columns_of,
    whole_rows,
)
from compliance.readings.text import Problems, Row
from compliance.yaml_nodes.messages import did_you_mean, quoted
from compliance.yaml_nodes.read_file import sha256

NOISE = 0.01
"""cd/m²; X, Y, Z may be this much below zero at any luminance; a smaller Y has no chromaticity"""
MOST = 1_000_000.0
"""cd/m²; no display's reading is above it"""
OUTSIDE = 0.01
"""in u′v′; a reading may be this far outside the spectral locus"""
CHUNK = 4096

Colour = tuple[float, float, float]
UNKNOWN: Colour = (0.0, 0.0, 0.0)


def tristimulus(cells: Cells, columns: Columns, floor: float) -> Colour:
    """X, Y, Z in cd/m² of a row, from its X, Y, Z or its Y, x, y; bad cells are noted."""
    first, second, third = columns.values
    if first == "X":
        return _light(cells, first), _luminance(cells, second), _light(cells, third)
    level = _luminance(cells, first)
    x = cells.number(second, "CIE 1931 x, e.g. 0.3127")
    y = cells.number(third, "CIE 1931 y, e.g. 0.3290")
    if math.isnan(x + y) or not -NOISE <= level <= MOST:
        return UNKNOWN
    return _from_chromaticity(cells, level, x, y, floor)


def _light(cells: Cells, column: str) -> float:
    value = cells.number(column, "cd/m², e.g. 95.05")
    if value > MOST:
        cells.note_cell(column, "is more than any display can show", "cd/m², e.g. 95.05")
    return value


def _luminance(cells: Cells, column: str) -> float:
    value = _light(cells, column)
    if value < -NOISE:
        cells.note_cell(column, "is below the noise at black", f"{-NOISE} cd/m² or more")
    return value


def _from_chromaticity(cells: Cells, level: float, x: float, y: float, floor: float) -> Colour:
    """X, Y, Z of Y, x, y. A dark row without chromaticity is black and keeps its luminance."""
    if level == 0:
        return 0.0, 0.0, 0.0
    if y == 0:
        if level >= floor:
            cells.note_cell("y", f"leaves a patch of {level:g} cd/m² without colour", "y above 0")
        return level, level, level
    colour = x * level / y, level, (1 - x - y) * level / y
    if not all(abs(value) <= MOST for value in colour):
        cells.note_cell("y", f"with x {x:g} and Y {level:g} is not a colour", "CIE 1931 x, y")
    return colour


def are_plausible(xyz: Array, floor: float) -> NDArray[np.bool_]:
    """Whether colours (R, 3) lie within the spectral locus, or at most `OUTSIDE` beyond it.

    Below the floor chromaticity is noise. There only an X or Z beyond the noise counts. If it is
    above, the luminance is raised to the floor: a point that is then outside is not a colour at any
    luminance. If it is below zero, it must be so in proportion to the luminance.
    """
    level = max(floor, CHROMATICITY_FLOOR)
    bright = xyz[:, 1] >= floor
    negative = ~bright & (np.minimum(xyz[:, 0], xyz[:, 2]) < -NOISE)
    glaring = ~bright & ~negative & (np.maximum(xyz[:, 0], xyz[:, 2]) >= level)
    colours = xyz.copy()
    colours[glaring, 1] = level
    good = ~(negative & (xyz[:, 1] < NOISE))
    judged = np.flatnonzero(bright | glaring | (negative & good))
    for start in range(0, len(judged), CHUNK):
        some = judged[start : start + CHUNK]
        good[some] = distance_outside(xyz_to_uv(colours[some])) <= OUTSIDE  # NaN is none
    return good


OBSERVER = "cie-1931-2"
"""The observer that rules use: CIE 1931, 2° (ISO/CIE 11664-1)."""
MANY = 4
"""With so many code values above the encoding's largest, it may be the wrong encoding."""


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
    replaced: str


def validate(
    table: Table,
    data: bytes,
    encoding: Encoding | None,
    *,
    floor: float,
    problems: Problems,
    observer: str = OBSERVER,
    complete: bool = False,
) -> Readings:
    """A table's readings; `data` are the bytes it was read from.

    Rows of a plan that are not filled in are left out, if any other is and the table need not be
    `complete`.

    `encoding` is that of its code values, None if the file must state it. Below `floor` (cd/m²)
    no chromaticity is judged. An `observer` other than the one that rules use is for files that
    are only converted. Raises ReadingsError with all problems.
    """
    columns = columns_of(table, problems)
    floor = max(floor, NOISE)
    if table.doubt:
        raise problems.stop(table.doubt, table.line, table.labels.get("r"))
    encoding = encoding or encoding_of(table, problems)
    if table.encoding not in ("", encoding.name):
        message = _disagreement(table.encoding, encoding)
        raise problems.stop(message, field=table.labels.get("encoding"))
    if table.top not in ("", str(encoding.top)):
        message = (
            f"code values go up to {quoted(table.top)} by the file or its format's default; "
            f"expected {encoding.top} for {encoding.name}"
        )
        problems.add(message, table.line)
    _check_tops(table, columns, encoding, problems)
    records: list[_Record] = []
    rows = whole_rows(table, problems)
    places = [columns.at[name] for name in columns.values]
    filled = [any(row.cells[at] for at in places) for row in rows]
    begun, asked = any(filled), _Asked(encoding, floor, observer)
    for row, is_filled in zip(rows, filled, strict=True):
        if not is_filled:
            if complete or not begun:
                problems.add(_unmeasured(columns, table), row.line)
        elif record := _record(row, columns, table, asked, problems):
            records.append(record)
    replaced = tuple(_replaced(record) for record in records if record.replaced)
    records = [record for record in records if not record.replaced]
    if replaced and not records:
        raise problems.stop("every reading is marked as replaced; leave the last of each unmarked")
    _check_colours(records, columns, floor, problems)
    problems.check()
    return Readings(
        encoding=encoding,
        codes=np.array([record.codes for record in records], dtype=np.int64).reshape(-1, 3),
        xyz=np.array([record.xyz for record in records], dtype=np.float64).reshape(-1, 3),
        position=tuple(record.position for record in records),
        window=np.array([record.window for record in records]),
        pattern=tuple(record.pattern for record in records),
        background=tuple(record.background for record in records),
        seconds=np.array([record.seconds for record in records]),
        deviation=np.array([record.deviation for record in records]),
        lines=tuple(record.line for record in records),
        file=problems.file,
        data=data,
        sha256=sha256(data),
        form=table.form,
        replaced=replaced,
    )


def _replaced(record: _Record) -> ReplacedReading:
    return ReplacedReading(
        line=record.line,
        codes=record.codes,
        position=record.position,
        window=record.window,
        xyz=record.xyz,
        reason=record.replaced,
    )


def encoding_of(table: Table, problems: Problems, given: Encoding | None = None) -> Encoding:
    """The encoding of a table's code values: the given one, else the one that the file states.

    Raises ReadingsError if there is neither, or as `stated_encoding`.
    """
    known = stated_encoding(table, problems)
    if given is None and known is None:
        message = "the encoding of the code values is not stated; use --encoding NAME, one of "
        raise problems.stop(message + ", ".join(ENCODINGS))
    known = given or known
    assert known is not None
    return known


def stated_encoding(table: Table, problems: Problems) -> Encoding | None:
    """The encoding that a file states for all its code values; None if it states none.

    Raises ReadingsError if it states several, or an unknown one.
    """
    stated = dict.fromkeys(name for name in (table.encoding, *table.cells("encoding")) if name)
    if len(stated) > 1:
        two = " and ".join(list(map(quoted, stated))[:2])
        raise problems.stop(f"code values of two encodings, {two}; split the file")
    for name in stated:
        if name not in ENCODINGS:
            raise problems.stop(f"unknown encoding {quoted(name)}; {did_you_mean(name, ENCODINGS)}")
        return ENCODINGS[name]
    return None


def _disagreement(stated: str, encoding: Encoding) -> str:
    return f"{quoted(stated)} is not the encoding given for this file; expected {encoding.name}"


def _unmeasured(columns: Columns, table: Table) -> str:
    """The message about a row of a plan without its values."""
    first, second, third = (table.labels.get(name, name) for name in columns.values)
    return f"not measured yet: {first}, {second} and {third} are empty"


def _check_tops(table: Table, columns: Columns, encoding: Encoding, problems: Problems) -> None:
    """Check that the code values are not those of a larger encoding; notes it once for all."""
    places = [columns.at[name] for name in columns.codes]
    above = [
        (int(cell), row.line)
        for row in table.rows
        for cell in (row.cells[at] for at in places if at < len(row.cells))
        if WHOLE.fullmatch(cell) and len(cell) <= MOST_DIGITS and int(cell) > encoding.top
    ]
    if len(above) < MANY:
        return
    top, _ = max(above)
    message = (
        f"{len(above)} code values are too large, up to {top}; "
        f"expected 0 to {encoding.top} for {encoding.name}"
    )
    fitting = _larger(table, encoding, top)
    hint = f"; are they {' or '.join(fitting)}?" if fitting else ""
    raise problems.stop(message + hint, above[0][1])


def _larger(table: Table, encoding: Encoding, top: int) -> list[str]:
    """Encodings that the code values may be in: the one in its rows, or all that are so large."""
    stated = [cell for cell in table.cells("encoding") if cell in ENCODINGS]
    return stated[:1] or [
        name
        for name, other in ENCODINGS.items()
        if other.kind == encoding.kind and other.top >= top
    ]


@dataclass(frozen=True, slots=True)
class _Asked:
    """The conditions for rows."""

    encoding: Encoding
    floor: float
    observer: str


def _record(
    row: Row, columns: Columns, table: Table, asked: _Asked, problems: Problems
) -> _Record | None:
    """One row's values; None if something in it is wrong, which is noted."""
    encoding = asked.encoding
    cells = Cells(row, columns.at, problems, table.labels)
    r, g, b = (cells.code(column, encoding) for column in columns.codes)
    record = _Record(
        line=row.line,
        codes=(r, g, b),
        xyz=tristimulus(cells, columns, asked.floor),
        position=cells.word_if("position", "centre", POSITIONS),
        window=cells.number_if("window", math.nan, _is_share, "% of area, above 0, up to 100"),
        pattern=cells.word_if("pattern", "", PATTERNS),
        background=cells.line_if("background"),
        seconds=cells.number_if("seconds", 0.0, _is_positive, "seconds, 0 or more"),
        deviation=cells.number_if("sd", math.nan, _is_positive, "% of the mean Y, 0 or more"),
        replaced=cells.line_if("replaced"),
    )
    if cells.text("encoding") not in ("", encoding.name):
        cells.note_cell("encoding", "is not the encoding given for this file", encoding.name)
    if cells.text("observer") not in ("", asked.observer):
        cells.note_cell("observer", "is not the observer that rules use", asked.observer)
    return None if cells.bad else record


def _is_share(value: float) -> bool:
    return 0 < value <= 100


def _is_positive(value: float) -> bool:
    return value >= 0


def _check_colours(
    records: list[_Record], columns: Columns, floor: float, problems: Problems
) -> None:
    xyz = np.array([record.xyz for record in records], dtype=np.float64).reshape(-1, 3)
    for row in np.flatnonzero(~are_plausible(xyz, floor)):
        colour = xyz[row] if columns.values[0] == "X" else (xyz[row][1], *xyz_to_xy(xyz[row]))
        named = zip(columns.values, colour, strict=True)
        stated = ", ".join(f"{name} {value:g}" for name, value in named)
        if xyz[row, 1] < floor and min(xyz[row]) < -NOISE:
            message = f"{stated} is below the noise at black; expected X, Y and Z of {-NOISE} cd/m²"
            message += " or more"
        else:
            reason = f"more than {OUTSIDE} in u′v′ outside the spectral locus"
            message = f"{stated} is not a possible colour: {reason}"
        problems.add(message, records[row].line)
