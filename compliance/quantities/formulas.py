"""Formulas of luminances, chromaticities and targets, with patches on the last axis."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from compliance.colour import chromaticity_diagram, difference, spaces
from compliance.colour.arrays import quotient

Array = NDArray[np.float64]

CLIPPED = 0.98
"""A patch within 2 % of the highest counts as clipped (common practice, no source)."""


def ratio(numerator: Array, denominator: Array) -> Array:
    """Quotient (...,); NaN if the denominator is 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        quotient = np.asarray(numerator / denominator)
    return np.where(denominator == 0, np.nan, quotient)


def luminance_error(measured: Array, target: Array) -> Array:
    """100·(Y − Yt)/Yt in %, signed (DCI HDR D-Cinema Addendum 1.2, Annex A)."""
    return 100.0 * ratio(measured - target, target)


def relative_luminance(measured: Array, reference: Array) -> Array:
    """100·Y/Yr in % (SMPTE ST 431-1 for places on a screen)."""
    return 100.0 * ratio(measured, reference)


def non_uniformity(lowest: Array, highest: Array) -> Array:
    """100·(1 − Ymin/Ymax) in % (DCI Direct View Addendum 1.2, 6.6.4)."""
    return 100.0 * (1.0 - ratio(lowest, highest))


def stability(lowest: Array, highest: Array, mean: Array) -> Array:
    """Range of repeated readings in % of their mean."""
    return 100.0 * ratio(highest - lowest, mean)


def additivity(primaries: Array, white: Array, black: Array) -> Array:
    """100·(Σ(Yi − Yk) + Yk − Yw)/(Yw − Yk) in %, primaries (..., 3)."""
    above = np.sum(primaries - black[..., None], axis=-1)
    return 100.0 * ratio(above + black - white, white - black)


def first_differences(luminance: Array) -> Array:
    """(..., n - 1) steps of luminance along a set in order of its signal."""
    return np.asarray(np.diff(luminance, axis=-1))


def second_differences(luminance: Array, level: Array) -> Array:
    """(..., n - 2) second divided differences times the mean step squared, in cd/m².

    Twice the divided difference y[a, b, c], so that equal steps give the ordinary
    second difference y[a] − 2·y[b] + y[c].
    """
    slope = np.diff(luminance, axis=-1) / np.diff(level)
    span = level[2:] - level[:-2]
    mean_step = (level[-1] - level[0]) / (len(level) - 1)
    return np.asarray(2.0 * np.diff(slope, axis=-1) / span * mean_step**2)


def clipped_from(luminance: Array) -> int:
    """Index of the lowest of patches (n,) in order of signal that is within 2 % of the highest."""
    return int(np.flatnonzero(luminance >= CLIPPED * np.max(luminance))[0])


def at_unit_luminance(xyz: Array) -> Array:
    """(..., 3) the same chromaticity at Y = 1."""
    return np.asarray(quotient(xyz, xyz[..., 1:2]))


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
    return np.asarray(100.0 * chromaticity_diagram.coverage(to_plane(measured), to_plane(target)))


def delta_e_itp(xyz: Array, target: Array) -> Array:
    """(...,) ΔE_ITP (ITU-R BT.2124-0), absolute luminance."""
    return np.asarray(difference.delta_e_itp(spaces.xyz_to_itp(xyz), spaces.xyz_to_itp(target)))


AgainstWhite = Callable[[Array, Array, Array, Array], Array]
"""(...,) difference of two colours (..., 3), each followed by its own white."""


def _against_white(
    difference_of: Callable[[Array, Array], Array], convert: Callable[[Array, Array], Array]
) -> AgainstWhite:
    def against_white(xyz: Array, white: Array, target: Array, target_white: Array) -> Array:
        return np.asarray(difference_of(convert(xyz, white), convert(target, target_white)))

    return against_white


delta_e_2000 = _against_white(difference.delta_e_2000, spaces.xyz_to_lab)
"""CIEDE2000 (ISO/CIE 11664-6)."""
delta_e_ab = _against_white(difference.delta_e_ab, spaces.xyz_to_lab)
"""ΔE*ab (ISO/CIE 11664-4)."""
delta_e_uv = _against_white(difference.delta_e_uv, spaces.xyz_to_luv)
"""ΔE*uv (ISO/CIE 11664-5)."""


def without_luminance(xyz: Array, target: Array) -> Array:
    """(..., 3) measured XYZ scaled to the target's Y."""
    return np.asarray(xyz * ratio(target[..., 1], xyz[..., 1])[..., None])
