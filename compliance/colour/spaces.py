"""Colour spaces over (..., 3) arrays, primaries, white points and the matrices between them.

Sources: ITU-R BT.709-6; ITU-R BT.2020-2; ITU-R BT.601-7; SMPTE RP 431-2 and ST 2113 (P3);
Adobe RGB (1998) encoding (from memory); CIE 15:2018 (D50, D55, E); SMPTE RP 177 (matrix).

Sources: ITU-R BT.2100 Table 7 (L, M, S, I, Ct, Cp); ITU-R BT.2124-0 (T = Ct/2, P = Cp).

Source: CIE 15:2018 (ISO/CIE 11664-3, -4, -5) for chromaticities, CIELAB and CIELUV.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike

from compliance.colour.arrays import Array, as_array, quotient, stack
from compliance.colour.pq import pq_inverse

Pair = tuple[float, float]

PRIMARIES: Mapping[str, tuple[Pair, Pair, Pair]] = {
    "bt709": ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060)),
    "bt2020": ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)),
    "p3": ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)),
    "adobe-rgb": ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06)),
    "bt601-525": ((0.630, 0.340), (0.310, 0.595), (0.155, 0.070)),
    "bt601-625": ((0.640, 0.330), (0.290, 0.600), (0.150, 0.060)),
}
"""x, y of red, green and blue."""

WHITES: Mapping[str, Pair] = {
    "d65": (0.3127, 0.3290),
    "dci": (0.314, 0.351),
    "d50": (0.3457, 0.3585),
    "d55": (0.3324, 0.3474),
    "e": (1 / 3, 1 / 3),
}
"""x, y of named white points."""


def rgb_to_xyz_matrix(primaries: Sequence[Pair], white: Pair) -> Array:
    """The (3, 3) matrix from linear R, G, B to X, Y, Z with Y = 1 for R = G = B = 1.

    `primaries` and `white` are CIE 1931 x, y. Multiply column vectors: `rgb @ matrix.T`.
    Source: SMPTE RP 177.
    """
    columns = np.stack([_unit_luminance(xy) for xy in primaries], axis=-1)
    return as_array(columns * np.linalg.solve(columns, _unit_luminance(white)))


def _unit_luminance(xy: Pair) -> Array:
    x, y = xy
    return np.array([x / y, 1.0, (1 - x - y) / y])


RGB_TO_LMS = np.array([[1688, 2146, 262], [683, 2951, 462], [99, 309, 3688]]) / 4096
LMS_TO_ICTCP = np.array([[2048, 2048, 0], [6610, -13613, 7003], [17933, -17390, -543]]) / 4096
XYZ_TO_LMS = RGB_TO_LMS @ np.linalg.inv(rgb_to_xyz_matrix(PRIMARIES["bt2020"], WHITES["d65"]))
LMS_TO_ITP = np.diag([1.0, 0.5, 1.0]) @ LMS_TO_ICTCP


def xyz_to_itp(xyz: ArrayLike) -> Array:
    """I, T, P (..., 3) of X, Y, Z (..., 3) in cd/m².

    Negative L, M, S from noise at black pass through PQ as an odd function.
    """
    lms = as_array(xyz) @ XYZ_TO_LMS.T
    return as_array(pq_inverse(lms) @ LMS_TO_ITP.T)


# ---------------------------------------------------------------- chromaticity


def xy_to_xyz(xy: ArrayLike, luminance: ArrayLike) -> Array:
    """X, Y, Z (..., 3) of chromaticity x, y (..., 2) at luminance (...); NaN if y is 0."""
    pair = as_array(xy)
    x, y = pair[..., 0], pair[..., 1]
    level = as_array(luminance)
    return stack(quotient(x * level, y), level, quotient((1 - x - y) * level, y))


def xyz_to_xy(xyz: ArrayLike) -> Array:
    """x, y (..., 2) of X, Y, Z (..., 3); NaN if X + Y + Z is 0."""
    values = as_array(xyz)
    return quotient(values[..., :2], values.sum(axis=-1, keepdims=True))


def xyz_to_uv(xyz: ArrayLike) -> Array:
    """CIE 1976 u′, v′ (..., 2) of X, Y, Z (..., 3); NaN if X + 15Y + 3Z is 0."""
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
    """CIE 1976 L* (...) of Y/Yn (...); linear at and below (6/29)³, also at zero and below."""
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
