"""What a quantity sees: XYZ of the patches, the target, and who belongs to whom.

Leading axes of `xyz` and `readings` are free: none for one slot, one for draws.
Index arrays are decided once, on the measured values, and kept.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance import targets
from compliance.targets import TargetModel

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Flags = NDArray[np.bool_]

NOWHERE = -1
"""Stands in an index array where there is no such patch."""


class View(NamedTuple):
    """Readings of one slot, or of any number of draws of it."""

    xyz: Array
    """(..., P, 3) means of repeats, cd/m²"""
    readings: Array
    """(..., R, 3) single readings in canonical order, cd/m²"""
    rows: Index
    """(R,) the patch of each reading"""
    model: TargetModel
    signal: Array
    """(P, 3)"""
    level: Array
    """(P,) normalised signal level"""
    white: Index
    """(P,) white of the same window and pattern"""
    black: Index
    """(P,) black of the same window, else of the rule's"""
    centre: Index
    """(P,) the same patch at the centre"""
    start: Index
    """(P,) the same patch at 0 s"""
    black_is_zero: Flags
    """(P,) whether that black is under what the meter can tell, and counts as 0"""
    zero_black: float
    """What a black that counts as 0 is taken as, cd/m²; 0 but for the test of its weight"""

    def luminance(self, index: Index) -> Array:
        """(..., n) Y of patches."""
        return np.asarray(self.xyz[..., index, 1])

    def measured_white(self, index: Index) -> Array:
        """(..., n) Y of the white that goes with each patch."""
        return self.luminance(self.white[index])

    def measured_white_xyz(self, index: Index) -> Array:
        """(..., n, 3) of the white that goes with each patch."""
        return np.asarray(self.xyz[..., self.white[index], :])

    def measured_black(self, index: Index) -> Array:
        """(..., n) Y of the black that goes with each patch; 0 under the meter's reach."""
        black = self.luminance(self.black[index])
        return np.where(self.black_is_zero[index], self.zero_black, black)

    def scaling_white(self, index: Index) -> Array:
        """(..., n) luminance the target's white is fitted to."""
        if self.model.relative:
            return self.measured_white(index)
        return np.full(np.shape(index), self.model.white_luminance)

    def target_black(self, index: Index) -> Array:
        """(..., n) luminance of the target's black; not used where it has none."""
        if self.model.blackless:
            return np.zeros(np.shape(index))
        if not np.isnan(self.model.black_luminance):
            return np.full(np.shape(index), self.model.black_luminance)
        return self.measured_black(index)

    def target(self, index: Index) -> Array:
        """(..., n, 3) XYZ of the target, fitted to measured white and black as the rule says."""
        white, black = self.scaling_white(index), self.target_black(index)
        return targets.target_xyz(self.signal[index], self.model, white, black)

    def reference_white(self, index: Index) -> Array:
        """(..., n, 3) reference white of CIELAB and CIELUV for the target's colours."""
        return self.scaling_white(index)[..., None] * self.model.white_xyz
