"""Colour differences between measured and target XYZ, all (..., 3) in cd/m²."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from compliance.colorimetry import difference, spaces
from compliance.quantities.luminance import ratio

Array = NDArray[np.float64]


def delta_e_itp(xyz: Array, target: Array) -> Array:
    """(...,) ΔE_ITP (ITU-R BT.2124-0), absolute luminance."""
    return np.asarray(difference.delta_e_itp(spaces.xyz_to_itp(xyz), spaces.xyz_to_itp(target)))


def delta_e_2000(xyz: Array, white: Array, target: Array, target_white: Array) -> Array:
    """(...,) CIEDE2000, each colour against its own white."""
    return np.asarray(
        difference.delta_e_2000(
            spaces.xyz_to_lab(xyz, white), spaces.xyz_to_lab(target, target_white)
        )
    )


def delta_e_ab(xyz: Array, white: Array, target: Array, target_white: Array) -> Array:
    """(...,) ΔE*ab, each colour against its own white."""
    return np.asarray(
        difference.delta_e_ab(
            spaces.xyz_to_lab(xyz, white), spaces.xyz_to_lab(target, target_white)
        )
    )


def delta_e_uv(xyz: Array, white: Array, target: Array, target_white: Array) -> Array:
    """(...,) ΔE*uv, each colour against its own white."""
    return np.asarray(
        difference.delta_e_uv(
            spaces.xyz_to_luv(xyz, white), spaces.xyz_to_luv(target, target_white)
        )
    )


def without_luminance(xyz: Array, target: Array) -> Array:
    """(..., 3) measured XYZ scaled to the target's Y."""
    return np.asarray(xyz * ratio(target[..., 1], xyz[..., 1])[..., None])


AGAINST_WHITE: Mapping[str, Callable[[Array, Array, Array, Array], Array]] = {
    "delta-e-2000": delta_e_2000,
    "delta-e-ab": delta_e_ab,
    "delta-e-uv": delta_e_uv,
}
"""Differences that need a reference white."""
