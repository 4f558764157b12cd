"""Quantities of chromaticity: offsets, distances, coverage."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from compliance.colorimetry import gamut, spaces

Array = NDArray[np.float64]


def chromaticity_offset(xyz: Array, reference: Array) -> Array:
    """(..., 2) offset in CIE 1931 x, y; both (..., 3)."""
    return np.asarray(spaces.xyz_to_xy(xyz) - spaces.xyz_to_xy(reference))


def chromaticity_difference(xyz: Array, reference: Array) -> Array:
    """(...,) Δu′v′, CIE 1976; both (..., 3)."""
    offset = spaces.xyz_to_uv(xyz) - spaces.xyz_to_uv(reference)
    return np.asarray(np.hypot(offset[..., 0], offset[..., 1]))


def delta_uv_star(xyz: Array, reference: Array, target_share: Array) -> Array:
    """(...,) Δu*v* = 13·L*t·Δu′v′ with L* of `target_share` = Yt/Yw (CIE 15; EBU Tech 3320)."""
    return np.asarray(
        13.0 * spaces.lightness(target_share) * chromaticity_difference(xyz, reference)
    )


def coverage(measured: Array, target: Array, diagram: str) -> Array:
    """(...,) % of the target triangle that the measured one covers; (..., 3, 3) XYZ of R, G, B."""
    to_plane = spaces.xyz_to_uv if diagram == "uv" else spaces.xyz_to_xy
    return np.asarray(100.0 * gamut.coverage(to_plane(measured), to_plane(target)))
