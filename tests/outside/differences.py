"""Colour differences from the documents: CIE 15, ISO/CIE 11664-6, ITU-R BT.2124.

All take XYZ in cd/m² (..., 3) and broadcast.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from outside.displays import D65, PRIMARIES, Array, channels, pq_signal, uv_of

TO_LMS = np.array([[1688, 2146, 262], [683, 2951, 462], [99, 309, 3688]]) / 4096  # BT.2100
TO_ICTCP = (
    np.array([[2048, 2048, 0], [6610, -13613, 7003], [17933, -17390, -543]]) / 4096
)  # BT.2100
RGB2020_TO_XYZ = channels(PRIMARIES["bt2020"], D65)


def lab(xyz: Array, white: Array) -> Array:
    """Give L*, a*, b* (CIE 15) with its linear branch below .008856."""
    ratio = xyz / white
    linear = ratio * 24389 / 27 / 116 + 16 / 116
    f = np.where(ratio > 216 / 24389, np.cbrt(np.maximum(ratio, 0)), linear)
    return np.stack(
        [116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])],
        axis=-1,
    )


def lightness(ratio: ArrayLike) -> Array:
    """Give L* of Y/Yn (CIE 15)."""
    value = np.asarray(ratio, dtype=float)
    return np.where(
        value > 216 / 24389, 116 * np.cbrt(np.maximum(value, 0)) - 16, value * 24389 / 27
    )


def delta_ab(one: Array, two: Array, white: Array) -> Array:
    """Give ΔE*ab."""
    return np.linalg.norm(lab(one, white) - lab(two, white), axis=-1)


def delta_2000(sample: Array, standard: Array, white: Array) -> Array:
    """Give CIEDE2000 with all weights 1 (ISO/CIE 11664-6)."""
    return delta_2000_of_lab(lab(standard, white), lab(sample, white))


def delta_2000_of_lab(one: Array, two: Array) -> Array:
    """Give CIEDE2000 of two L*, a*, b*."""
    l1, a1, b1 = np.moveaxis(one, -1, 0)
    l2, a2, b2 = np.moveaxis(two, -1, 0)
    mean = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    g = 0.5 * (1 - np.sqrt(mean**7 / (mean**7 + 25.0**7)))
    a1, a2 = (1 + g) * a1, (1 + g) * a2
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360, np.degrees(np.arctan2(b2, a2)) % 360
    grey = c1 * c2 == 0
    turn = np.where(grey, 0.0, (h2 - h1 + 180) % 360 - 180)
    dl, dc = l2 - l1, c2 - c1
    dh = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn) / 2)
    light, c = (l1 + l2) / 2, (c1 + c2) / 2
    far = np.abs(h1 - h2) > 180
    h = np.where(
        far, np.where(h1 + h2 < 360, (h1 + h2 + 360) / 2, (h1 + h2 - 360) / 2), (h1 + h2) / 2
    )
    h = np.where(grey, h1 + h2, h)
    t = (
        1
        - 0.17 * np.cos(np.radians(h - 30))
        + 0.24 * np.cos(np.radians(2 * h))
        + 0.32 * np.cos(np.radians(3 * h + 6))
        - 0.20 * np.cos(np.radians(4 * h - 63))
    )
    theta = 30 * np.exp(-(((h - 275) / 25) ** 2))
    rc = 2 * np.sqrt(c**7 / (c**7 + 25.0**7))
    sl = 1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2)
    sc, sh = 1 + 0.045 * c, 1 + 0.015 * c * t
    rt = -np.sin(np.radians(2 * theta)) * rc
    x, y, z = dl / sl, dc / sc, dh / sh
    return np.sqrt(np.maximum(x**2 + y**2 + z**2 + rt * y * z, 0))


def itp(xyz: Array) -> Array:
    """Give I, T, P of absolute XYZ (ITU-R BT.2124): T is half of Ct."""
    lms = xyz @ (TO_LMS @ np.linalg.inv(RGB2020_TO_XYZ)).T
    ictcp = np.sign(lms) * pq_signal(np.abs(lms)) @ TO_ICTCP.T
    return ictcp * np.array([1, 0.5, 1])


def delta_itp(one: Array, two: Array) -> Array:
    """Give ΔE ITP (ITU-R BT.2124)."""
    return 720 * np.linalg.norm(itp(one) - itp(two), axis=-1)


def delta_uv(one: Array, two: Array) -> Array:
    """Give Δu'v'."""
    return np.linalg.norm(uv_of(one) - uv_of(two), axis=-1)


def delta_uv_star(one: Array, two: Array, relative: ArrayLike) -> Array:
    """Give Δu*v* with both points at L* of this share of the white."""
    return 13 * lightness(relative) * delta_uv(one, two)


def area(triangle: Array) -> Array:
    """Give the area (...) of triangles (..., 3, 2)."""
    a, b, c = np.moveaxis(triangle, -2, 0)
    return np.abs(_cross(b - a, c - a)) / 2


def covered(target: Array, measured: Array) -> Array:
    """Give the share of a triangle (3, 2) that others (..., 3, 2) cover: Sutherland-Hodgman."""
    flat = measured.reshape(-1, 3, 2)
    shares = np.array([_overlap(target, triangle) for triangle in flat]) / area(target)
    return shares.reshape(measured.shape[:-2])


def _overlap(subject: Array, clip: Array) -> float:
    if _cross(clip[1] - clip[0], clip[2] - clip[0]) < 0:
        clip = clip[::-1]
    points = list(subject)
    for start, end in zip(clip, np.roll(clip, -1, axis=0), strict=True):
        sides = [float(_cross(end - start, point - start)) for point in points]
        kept = []
        for i, point in enumerate(points):
            before, side_before = points[i - 1], sides[i - 1]
            if (sides[i] >= 0) != (side_before >= 0):
                kept.append(before + (point - before) * side_before / (side_before - sides[i]))
            if sides[i] >= 0:
                kept.append(point)
        points = kept
        if not points:
            return 0.0
    ring = np.array(points)
    return abs(float(np.sum(_cross(ring, np.roll(ring, -1, axis=0))))) / 2


def _cross(one: Array, two: Array) -> Array:
    return np.asarray(one[..., 0] * two[..., 1] - one[..., 1] * two[..., 0])
