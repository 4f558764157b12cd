"""Readings as spectral radiance in CSV: one row per reading, or one column per reading.

*Rows*: the columns of other readings without `X, Y, Z`, a column `unit`, and one column for
each wavelength, named by it in nm: `r,g,b,unit,380,385,…`.
*Columns*: the first column is `wavelength`, in nm, and each further one a reading, with any
name; the code values come from the plan, in its order.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from compliance.model import Array
from compliance.readings.csv_format import each_row
from compliance.readings.raw_table import CODE_NAMES, OPTIONAL, SpectralOptions, Table
from compliance.readings.spectral_integration import (
    UNITS,
    check_wavelengths,
    radiances,
    stated_unit,
    weights,
)
from compliance.readings.text import MOST_ROWS, Place, Problems, Row
from compliance.readings.validate import OBSERVER
from compliance.yaml_nodes.messages import did_you_mean, quoted

NAME = "spectra"
MOST_CHARACTERS = 65_536
"""of a line"""
MOST_CELLS = 5000
"""of a row"""
MOST_NUMBERS = 4_000_000
"""of all spectra together: 9,261 readings of 401 wavelengths have 3,713,661"""
WAVELENGTH = re.compile(r"(?:nm)?[ _]?([0-9]{2,4}(?:\.[0-9]+)?)[ _]?(?:nm)?")
BESIDE = (*CODE_NAMES, *OPTIONAL, "unit")
"""Columns allowed besides those of wavelengths."""


def read(text: str, problems: Problems, spectral: SpectralOptions) -> Table:
    """The table in a CSV text of spectra, its X, Y, Z computed. Raises ReadingsError."""
    rows = each_row(text, problems, characters=MOST_CHARACTERS, cells_at_most=MOST_CELLS)
    header = next((row for row in rows if not row.blank), None)
    if header is None:
        raise problems.stop("the file is empty; expected a header row with wavelengths")
    if not any(WAVELENGTH.fullmatch(cell) for cell in header.cells):
        if not header.cells[0].lower().startswith(("wavelength", "lambda", "nm")):
            message = "no column has a wavelength as its name; expected, e.g., r,g,b,unit,380,385,…"
            raise problems.stop(message, header.line)
        return _by_columns(header, _bounded(rows, problems), problems, spectral)
    return _by_rows(header, _bounded(rows, problems), problems, spectral)


def _bounded(rows: Iterator[Row], problems: Problems) -> Iterator[Row]:
    numbers = 0
    for count, row in enumerate(rows):
        numbers += len(row.cells)
        if count >= MOST_ROWS:
            raise problems.stop(f"more than {MOST_ROWS} rows; split the file", row.line)
        if numbers > MOST_NUMBERS + MOST_ROWS * len(BESIDE):
            raise problems.stop(f"more than {MOST_NUMBERS} numbers; split the file", row.line)
        yield row


# ---------------------------------------------------------------- rows


@dataclass(frozen=True, slots=True)
class _Layout:
    """The places of columns in a row."""

    beside: tuple[tuple[str, int], ...]
    """Other columns: name and place."""
    spectrum: tuple[int, ...]
    wavelengths: tuple[float, ...]


def _layout(header: Row, problems: Problems) -> _Layout:
    beside: dict[str, int] = {}
    spectrum: list[int] = []
    wavelengths: list[float] = []
    for place, name in enumerate(header.cells):
        if match := WAVELENGTH.fullmatch(name):
            spectrum.append(place)
            wavelengths.append(float(match[1]))
        elif name in beside:
            problems.add("duplicate column", header.line, name)
        elif name not in BESIDE:
            message = f"unknown column {quoted(name)} beside spectra"
            problems.add(f"{message}; {did_you_mean(name, BESIDE)}", header.line)
        else:
            beside[name] = place
    check_wavelengths(wavelengths, problems.at(header.line, "wavelengths"))
    problems.check()
    return _Layout(tuple(beside.items()), tuple(spectrum), tuple(wavelengths))


def _by_rows(
    header: Row, rows: Iterator[Row], problems: Problems, spectral: SpectralOptions
) -> Table:
    layout = _layout(header, problems)
    places = dict(layout.beside)
    factors = weights(layout.wavelengths, spectral.observer)
    computed: list[Row] = []
    names = tuple(name for name, _ in layout.beside if name != "unit")
    for row in rows:
        if row.blank:
            continue
        if len(row.cells) != len(header.cells):
            problems.add(_wrong_length(row, header), row.line)
            continue
        stated = row.cells[places["unit"]] if "unit" in places else ""
        scale = _scale(stated or spectral.unit, problems.at(row.line, "unit"))
        numbers = [row.cells[place] for place in layout.spectrum]
        xyz = ("", "", "")
        if any(numbers):  # else it is a plan that is not filled in yet, which is noted later
            values = radiances(numbers, layout.wavelengths, problems.at(row.line, "spectrum"))
            if values is None or scale is None:
                continue
            xyz = _cells(scale * values @ factors)
        computed.append(Row(row.line, (*(row.cells[places[name]] for name in names), *xyz)))
    if not computed and not problems.count:
        raise problems.stop("no readings below the header row", header.line)
    problems.check()
    return _observed(Table(NAME, (*names, "X", "Y", "Z"), tuple(computed), header.line), spectral)


def _wrong_length(row: Row, header: Row) -> str:
    return f"{len(row.cells)} cells; expected {len(header.cells)} as in the header row"


def _cells(xyz: Array) -> tuple[str, str, str]:
    x, y, z = (repr(float(value)) for value in xyz)
    return x, y, z


def _scale(stated: str, place: Place) -> float | None:
    """The factor from a unit to W/(sr·m²·nm); None if it is not a unit, which is noted."""
    unit = stated_unit(stated, place)
    return None if unit is None else UNITS[unit]


def _observed(table: Table, spectral: SpectralOptions) -> Table:
    """The table with a column `observer`, if it is not the observer that rules use."""
    if spectral.observer == OBSERVER:
        return table
    rows = tuple(Row(row.line, (*row.cells, spectral.observer)) for row in table.rows)
    return Table(table.form, (*table.names, "observer"), rows, table.line)


# ---------------------------------------------------------------- columns


def _by_columns(
    header: Row, rows: Iterator[Row], problems: Problems, spectral: SpectralOptions
) -> Table:
    scale = _scale(spectral.unit, problems.at(header.line, "unit"))
    problems.check()
    wavelengths: list[float] = []
    spectra: list[Array] = []
    for row in rows:
        if row.blank:
            continue
        match = WAVELENGTH.fullmatch(row.cells[0])
        if len(row.cells) != len(header.cells) or match is None:
            if match is None:
                message = f"{quoted(row.cells[0])} is not a wavelength; expected nm, e.g. 380"
            else:
                message = _wrong_length(row, header)
            problems.add(message, row.line)
            continue
        wavelength = float(match[1])
        numbers = row.cells[1:]
        place = problems.at(row.line, "spectra")
        values = radiances(numbers, [wavelength] * len(numbers), place)
        if values is not None:
            wavelengths.append(wavelength)
            spectra.append(values)
    problems.check()
    check_wavelengths(wavelengths, problems.at(header.line, "wavelength"))
    problems.check()
    assert scale is not None  # or a problem was noted
    light = scale * np.array(spectra).T @ weights(tuple(wavelengths), spectral.observer)
    computed = tuple(Row(header.line, _cells(xyz)) for xyz in light)
    return _observed(Table(NAME, ("X", "Y", "Z"), computed, header.line), spectral)
