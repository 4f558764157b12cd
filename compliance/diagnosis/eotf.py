"""Curves of displays with faults: drive of each channel to light and back, K displays at a time."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance.colorimetry import transfer
from compliance.targets import TargetModel

__all__ = ["PQ_PEAK", "Curve", "drive_of", "lift_of", "lifted", "light_of", "shifted"]

Array = NDArray[np.float64]

PQ_PEAK = 10_000.0
"""cd/m²"""
MOST = 0.5
"""Of the drive, that a lift may be."""


class Curve(NamedTuple):
    """What turns drive into light."""

    name: str
    """A target's curve, or `power`."""
    exponent: Array
    """(K,)"""
    native: Array
    """(K,) exponent of the panel's own drive"""


def light_of(drive: Array, curve: Curve, model: TargetModel) -> Array:
    """Light per channel as a share of the rule's white, (K, P, 3), of drive (K, P, 3)."""
    if curve.name == "pq":
        return np.asarray(transfer.pq(drive)) / _full(model)
    if curve.name == "srgb":
        return np.asarray(transfer.srgb(drive))
    if curve.name == "hlg":
        scene = np.asarray(transfer.hlg_inverse_oetf(drive))
        return np.asarray(transfer.hlg_ootf(scene, 1.0, curve.exponent[:, None]))
    return np.asarray(transfer.power(drive, curve.exponent[:, None, None]))


def drive_of(light: Array, curve: Curve, model: TargetModel) -> Array:
    """The inverse of `light_of` for the curves that act on each channel by itself."""
    if curve.name == "pq":
        return np.asarray(transfer.pq_inverse(light * _full(model)))
    if curve.name == "srgb":
        return np.asarray(transfer.srgb_inverse(light))
    return np.asarray(transfer.power(light, 1 / curve.exponent[:, None, None]))


def _full(model: TargetModel) -> float:
    """cd/m² of a share of 1 where the curve is PQ."""
    return model.white_luminance if model.curve == "pq" else PQ_PEAK


def _peak(curve: Curve, model: TargetModel) -> float:
    """The rule's peak as a share of what `light_of` gives shares of."""
    one = _full(model) if curve.name == "pq" else model.white_luminance
    return model.peak_luminance / one


def shifted(light: Array, offset: Array, curve: Curve, model: TargetModel) -> Array:
    """Light (K, P, 3) with an offset (K, 3) on the panel's own drive, which has an exponent of its
    own and is 1 at the rule's peak, whatever the curve of the signal."""
    peak, native = _peak(curve, model), curve.native[:, None, None]
    drive = transfer.power(light / peak, 1 / native) + offset[:, None, :]
    return np.asarray(peak * transfer.power(np.maximum(drive, 0.0), native))


def lift_of(black: Array, curve: Curve, model: TargetModel) -> Array:
    """(K,) that raises the drive so that black is a share (K,) of the white: of the signal's
    drive, or the panel's own where that is PQ."""
    share = np.maximum(black, 0.0)
    if curve.name == "hlg":
        lift = np.sqrt(3 * share ** (1 / curve.exponent))
    elif curve.name == "pq":
        lift = (share / _peak(curve, model)) ** (1 / curve.native)
    else:
        lift = drive_of(share[:, None, None], curve, model)[:, 0, 0]
    return np.clip(lift, 0.0, MOST)


def lifted(lift: Array, curve: Curve, model: TargetModel) -> Array:
    """(K,) share of the white that a lift (K,) makes of black; the inverse of `lift_of`."""
    if curve.name == "hlg":
        return np.asarray((lift**2 / 3) ** curve.exponent)
    if curve.name == "pq":
        return np.asarray(_peak(curve, model) * lift**curve.native)
    return np.asarray(light_of(lift[:, None, None], curve, model)[:, 0, 0])
