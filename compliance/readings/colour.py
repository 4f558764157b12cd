"""A row's measured colour as X, Y, Z, and whether it can be one.

Source: CIE 1931 standard colorimetric observer, ISO/CIE 11664-1: no light lies outside the
spectral locus.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from compliance.colorimetry.locus import distance_outside
from compliance.colorimetry.spaces import xyz_to_uv
from compliance.model import CHROMATICITY_FLOOR, Array
from compliance.readings.cells import Cells
from compliance.readings.columns import Columns

__all__ = ["NOISE", "OUTSIDE", "Colour", "are_colours", "tristimulus"]

NOISE = 0.01
"""cd/m²; at black X, Y, Z may be below zero by so much, and no smaller Y has a chromaticity"""
MOST = 1_000_000.0
"""cd/m²; no display's reading lies beyond it"""
OUTSIDE = 0.01
"""in u′v′, that a reading may lie outside the spectral locus"""
CHUNK = 4096

Colour = tuple[float, float, float]
UNKNOWN: Colour = (0.0, 0.0, 0.0)


def tristimulus(cells: Cells, columns: Columns, floor: float) -> Colour:
    """X, Y, Z in cd/m² of a row, from its X, Y, Z or its Y, x, y; bad cells are noted."""
    first, second, third = columns.values
    if first == "X":
        return _luminance(cells, first), _luminance(cells, second), _luminance(cells, third)
    level = _luminance(cells, first)
    x = cells.number(second, "CIE 1931 x, e.g. 0.3127")
    y = cells.number(third, "CIE 1931 y, e.g. 0.3290")
    if math.isnan(x + y) or not -NOISE <= level <= MOST:
        return UNKNOWN
    return _from_chromaticity(cells, level, x, y, floor)


def _luminance(cells: Cells, column: str) -> float:
    value = cells.number(column, "cd/m², e.g. 95.05")
    if value < -NOISE:
        cells.note_cell(column, "is less than noise at black explains", f"{-NOISE} cd/m² or more")
    elif value > MOST:
        cells.note_cell(column, "is more than any display shows", "cd/m², e.g. 95.05")
    return value


def _from_chromaticity(cells: Cells, level: float, x: float, y: float, floor: float) -> Colour:
    """X, Y, Z of Y, x, y. A dark row without chromaticity is black; its luminance stays."""
    if level == 0:
        return 0.0, 0.0, 0.0
    if y == 0:
        if level >= floor:
            cells.note_cell("y", f"leaves a patch of {level:g} cd/m² without colour", "y above 0")
        return level, level, level
    colour = x * level / y, level, (1 - x - y) * level / y
    least = -MOST if level >= floor else -NOISE  # above the floor the locus decides
    if not all(least <= value <= MOST for value in colour):
        cells.note_cell("y", f"with x {x:g} and Y {level:g} is no colour", "CIE 1931 x, y")
    return colour


def are_colours(xyz: Array, floor: float) -> NDArray[np.bool_]:
    """Whether colours (R, 3) lie within the spectral locus, or no further than `OUTSIDE`.

    Under the floor chromaticity is noise. There only an X or Z that is no noise counts, with
    the luminance raised to the floor: what then lies outside is no colour at any luminance.
    """
    level = max(floor, CHROMATICITY_FLOOR)
    bright = xyz[:, 1] >= floor
    glaring = ~bright & (np.maximum(xyz[:, 0], xyz[:, 2]) >= level)
    colours = xyz.copy()
    colours[glaring, 1] = level
    good = np.ones(len(xyz), dtype=np.bool_)
    judged = np.flatnonzero(bright | glaring)
    for start in range(0, len(judged), CHUNK):
        some = judged[start : start + CHUNK]
        good[some] = distance_outside(xyz_to_uv(colours[some])) <= OUTSIDE  # NaN is none
    return good
