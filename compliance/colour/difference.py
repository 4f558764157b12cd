"""Colour differences over (..., 3) arrays.

Sources: ISO/CIE 11664-4 (ΔE*ab), 11664-5 (ΔE*uv), 11664-6 (CIEDE2000); ITU-R BT.2124-0 (ITP).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from compliance.colour.arrays import Array, as_array


def delta_e_ab(first: ArrayLike, second: ArrayLike) -> Array:
    """CIE 1976 ΔE*ab (...) of two CIELAB colours (..., 3)."""
    return _distance(first, second)


def delta_e_uv(first: ArrayLike, second: ArrayLike) -> Array:
    """CIE 1976 ΔE*uv (...) of two CIELUV colours (..., 3)."""
    return _distance(first, second)


def delta_e_itp(first: ArrayLike, second: ArrayLike) -> Array:
    """ΔE ITP (...) = 720·√(ΔI² + ΔT² + ΔP²) of two colours in I, T, P (..., 3)."""
    return 720 * _distance(first, second)


def _distance(first: ArrayLike, second: ArrayLike) -> Array:
    return as_array(np.linalg.norm(as_array(first) - as_array(second), axis=-1))


def delta_e_2000(first: ArrayLike, second: ArrayLike) -> Array:
    """CIEDE2000 (...) of two CIELAB colours (..., 3), all parametric factors 1.

    Source: ISO/CIE 11664-6; hue conventions of Sharma, Wu and Dalal (2005).
    """
    l1, a1, b1 = _split(first)
    l2, a2, b2 = _split(second)
    chroma = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    stretch = 1.5 - 0.5 * _chroma_weight(chroma)
    c1, h1 = _polar(a1 * stretch, b1)
    c2, h2 = _polar(a2 * stretch, b2)

    product = c1 * c2
    turn = _hue_turn(h1, h2, product)
    lightness_step = l2 - l1
    chroma_step = c2 - c1
    hue_step = 2 * np.sqrt(product) * np.sin(np.radians(turn) / 2)

    mean_lightness = (l1 + l2) / 2
    mean_chroma = (c1 + c2) / 2
    mean_hue = _mean_hue(h1, h2, product)

    offset = (mean_lightness - 50) ** 2
    lightness_scale = 1 + 0.015 * offset / np.sqrt(20 + offset)
    chroma_scale = 1 + 0.045 * mean_chroma
    hue_scale = 1 + 0.015 * mean_chroma * _hue_weight(mean_hue)
    rotation = _rotation(mean_hue, mean_chroma)

    lightness_part = lightness_step / lightness_scale
    chroma_part = chroma_step / chroma_scale
    hue_part = hue_step / hue_scale
    square = lightness_part**2 + chroma_part**2 + hue_part**2 + rotation * chroma_part * hue_part
    return as_array(np.sqrt(np.maximum(square, 0)))


def _split(lab: ArrayLike) -> tuple[Array, Array, Array]:
    values = as_array(lab)
    return values[..., 0], values[..., 1], values[..., 2]


def _polar(a: Array, b: Array) -> tuple[Array, Array]:
    """Chroma and hue angle in degrees, 0 to 360; the hue of grey is 0."""
    turn = np.degrees(np.arctan2(b, a))
    return as_array(np.hypot(a, b)), as_array(np.where(turn < 0, turn + 360, turn + 0.0))


def _chroma_weight(chroma: Array) -> Array:
    seventh = chroma**7
    return as_array(np.sqrt(seventh / (seventh + 25.0**7)))


def _hue_turn(first: Array, second: Array, product: Array) -> Array:
    """The shorter angle from the first hue to the second, in degrees; 0 if one is grey."""
    turn = second - first
    turn = turn - 360 * (turn > 180) + 360 * (turn < -180)
    return np.where(product == 0, 0.0, turn)


def _mean_hue(first: Array, second: Array, product: Array) -> Array:
    """The middle of the shorter arc; the sum if one is grey, as the standard defines it."""
    total = first + second
    far = np.abs(first - second) > 180
    halved = (total + np.where(far, np.where(total < 360, 360.0, -360.0), 0.0)) / 2
    return np.where(product == 0, total, halved)


def _hue_weight(hue: Array) -> Array:
    """T of the standard; hue in degrees."""
    angle = np.radians(hue)
    return as_array(
        1
        - 0.17 * np.cos(angle - np.radians(30))
        + 0.24 * np.cos(2 * angle)
        + 0.32 * np.cos(3 * angle + np.radians(6))
        - 0.20 * np.cos(4 * angle - np.radians(63))
    )


def _rotation(hue: Array, chroma: Array) -> Array:
    """RT of the standard, which turns the ellipses in the blue."""
    spread = 30 * np.exp(-(((hue - 275) / 25) ** 2))
    return as_array(-np.sin(np.radians(2 * spread)) * 2 * _chroma_weight(chroma))
