"""Colour spaces over (..., 3) arrays: CIE XYZ, x y, u′ v′, CIELAB and CIELUV.

Source: CIE 15:2018 (ISO/CIE 11664-3, -4, -5). Primaries and ITP have files of their own
and are offered here too.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from compliance.colorimetry.arrays import Array, as_array, quotient, stack
from compliance.colorimetry.itp import xyz_to_itp
from compliance.colorimetry.primaries import PRIMARIES, WHITES, Pair, rgb_to_xyz_matrix

__all__ = [
    "PRIMARIES",
    "WHITES",
    "Pair",
    "lightness",
    "rgb_to_xyz_matrix",
    "uv_to_xy",
    "xy_to_uv",
    "xy_to_xyz",
    "xyz_to_itp",
    "xyz_to_lab",
    "xyz_to_luv",
    "xyz_to_uv",
    "xyz_to_xy",
]


# ---------------------------------------------------------------- chromaticity


def xy_to_xyz(xy: ArrayLike, luminance: ArrayLike) -> Array:
    """X, Y, Z (..., 3) of chromaticity x, y (..., 2) at luminance (...); NaN where y is 0."""
    pair = as_array(xy)
    x, y = pair[..., 0], pair[..., 1]
    level = as_array(luminance)
    return stack(quotient(x * level, y), level, quotient((1 - x - y) * level, y))


def xyz_to_xy(xyz: ArrayLike) -> Array:
    """x, y (..., 2) of X, Y, Z (..., 3); NaN where X + Y + Z is 0."""
    values = as_array(xyz)
    return quotient(values[..., :2], values.sum(axis=-1, keepdims=True))


def xyz_to_uv(xyz: ArrayLike) -> Array:
    """CIE 1976 u′, v′ (..., 2) of X, Y, Z (..., 3); NaN where X + 15Y + 3Z is 0."""
    values = as_array(xyz)
    x, y, z = values[..., 0], values[..., 1], values[..., 2]
    below = x + 15 * y + 3 * z
    return stack(quotient(4 * x, below), quotient(9 * y, below))


def xy_to_uv(xy: ArrayLike) -> Array:
    """CIE 1976 u′, v′ (..., 2) of CIE 1931 x, y (..., 2)."""
    pair = as_array(xy)
    x, y = pair[..., 0], pair[..., 1]
    below = -2 * x + 12 * y + 3
    return stack(quotient(4 * x, below), quotient(9 * y, below))


def uv_to_xy(uv: ArrayLike) -> Array:
    """CIE 1931 x, y (..., 2) of CIE 1976 u′, v′ (..., 2)."""
    pair = as_array(uv)
    u, v = pair[..., 0], pair[..., 1]
    below = 6 * u - 16 * v + 12
    return stack(quotient(9 * u, below), quotient(4 * v, below))


# ---------------------------------------------------------------- uniform spaces


def lightness(ratio: ArrayLike) -> Array:
    """CIE 1976 L* (...) of Y/Yn (...); linear at and below (6/29)³, zero and less included."""
    return 116 * _compress(as_array(ratio)) - 16


def xyz_to_lab(xyz: ArrayLike, white: ArrayLike) -> Array:
    """CIELAB L*, a*, b* (..., 3) of X, Y, Z (..., 3) against the white's X, Y, Z (..., 3)."""
    f = _compress(quotient(xyz, white))
    fx, fy, fz = f[..., 0], f[..., 1], f[..., 2]
    return stack(116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz))


def xyz_to_luv(xyz: ArrayLike, white: ArrayLike) -> Array:
    """CIELUV L*, u*, v* (..., 3) of X, Y, Z (..., 3) against the white's X, Y, Z (..., 3).

    X = Y = Z = 0 has no u′, v′, but L* = 0 makes u* and v* zero.
    """
    values, reference = as_array(xyz), as_array(white)
    level = lightness(quotient(values[..., 1], reference[..., 1]))
    nothing = np.all(values == 0, axis=-1)[..., np.newaxis]
    offset = np.where(nothing, 0.0, xyz_to_uv(values) - xyz_to_uv(reference))
    return stack(level, 13 * level * offset[..., 0], 13 * level * offset[..., 1])


def _compress(ratio: Array) -> Array:
    """CIE 15:2018, 8.2.1: the cube root with its linear branch."""
    return np.where(ratio > (24 / 116) ** 3, np.cbrt(ratio), 841 / 108 * ratio + 16 / 116)
