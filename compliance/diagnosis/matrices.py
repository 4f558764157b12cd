"""Primaries and white as x, y, and the matrices that they make, any number of them at a time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from compliance.colorimetry import spaces

__all__ = ["matrices", "primaries_of"]

Array = NDArray[np.float64]


def primaries_of(matrix: Array) -> Array:
    """(3, 2) x, y of the primaries of a matrix (3, 3)."""
    return np.asarray(spaces.xyz_to_xy(matrix.T))


def matrices(primaries: Array, white: Array) -> Array:
    """(K, 3, 3) linear R, G, B to XYZ with Y = 1 for white; SMPTE RP 177."""
    columns = np.swapaxes(_unit(primaries), -1, -2)
    shares = np.linalg.solve(columns, _unit(white)[..., None])
    return np.asarray(columns * np.swapaxes(shares, -1, -2))


def _unit(xy: Array) -> Array:
    """XYZ (..., 3) of x, y (..., 2) at Y = 1."""
    x, y = xy[..., 0], xy[..., 1]
    xyz = np.ones((*x.shape, 3))
    xyz[..., 0], xyz[..., 2] = x / y, (1 - x - y) / y
    return xyz
