"""RGB primaries, white points and the matrix between them and CIE XYZ.

Sources: ITU-R BT.709-6; ITU-R BT.2020-2; ITU-R BT.601-7; SMPTE RP 431-2 and ST 2113 (P3);
Adobe RGB (1998) encoding (from memory); CIE 15:2018 (D50, D55, E); SMPTE RP 177 (matrix).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from compliance.colorimetry.arrays import Array, as_array

__all__ = ["PRIMARIES", "WHITES", "Pair", "rgb_to_xyz_matrix"]

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
