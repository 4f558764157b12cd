"""The u′, v′ diagram: triangles, the spectral locus and the Planckian locus.

Source: CIE 1931 standard colorimetric observer, ISO/CIE 11664-1, 5 nm.

Sources: CIE 15:2018; Y. Ohno, Practical Use and Calculation of CCT and Duv, 2013.
"""

from __future__ import annotations

import warnings
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from compliance.colour.arrays import Array, as_array, quotient
from compliance.colour.spaces import xyz_to_uv


def triangle_area(triangle: ArrayLike) -> Array:
    """Area (...) of a triangle's three corners (..., 3, 2), in either direction."""
    return np.abs(_signed_area(as_array(triangle)))


def overlap_area(first: ArrayLike, second: ArrayLike) -> Array:
    """Area (...) that two triangles (..., 3, 2) have in common; 0 if either has none.

    The first is cut along each side of the second: every point outside the side is projected
    onto it, and a point is added where an edge crosses it. Parts inside keep their
    winding, parts outside become flat and have no area, so there are no special cases
    and equal triangles give exact results.
    """
    one, other = np.broadcast_arrays(as_array(first), as_array(second))
    turn = _signed_area(other)
    polygon = one
    for corner in range(3):
        start, end = other[..., corner, :], other[..., (corner + 1) % 3, :]
        polygon = _cut(polygon, start, _inward(start, end, np.sign(turn)))
    area = np.where(turn == 0, 0.0, np.abs(_signed_area(polygon)))
    return np.where(_signed_area(one) == 0, 0.0, area)


def coverage(measured: ArrayLike, target: ArrayLike) -> Array:
    """Share (...), 0 to 1, of the target triangle's area that the measured one covers.

    Both (..., 3, 2); NaN if the target has no area.
    """
    return quotient(overlap_area(measured, target), triangle_area(target))


def _signed_area(polygon: Array) -> Array:
    """Shoelace area (...) of (..., n, 2), positive counter-clockwise."""
    centred = polygon - polygon[..., :1, :]
    following = np.roll(centred, -1, axis=-2)
    return as_array(
        np.sum(centred[..., 0] * following[..., 1] - centred[..., 1] * following[..., 0], axis=-1)
        / 2
    )


def _inward(start: Array, end: Array, turn: Array) -> Array:
    """Unit normal (..., 2) of the side, towards the inside of a triangle turning by `turn`."""
    side = end - start
    normal = np.stack([-side[..., 1], side[..., 0]], axis=-1) * turn[..., np.newaxis]
    return quotient(normal, np.linalg.norm(side, axis=-1)[..., np.newaxis])


def _cut(polygon: Array, origin: Array, normal: Array) -> Array:
    """Fold everything beyond the line onto it: (..., n, 2) to (..., 2n, 2)."""
    depth = np.sum((polygon - origin[..., np.newaxis, :]) * normal[..., np.newaxis, :], axis=-1)
    folded = polygon - np.minimum(depth, 0)[..., np.newaxis] * normal[..., np.newaxis, :]
    ahead, beyond = np.roll(depth, -1, axis=-1), np.roll(polygon, -1, axis=-2)
    crosses = depth * ahead < 0
    share = np.where(crosses, depth / np.where(crosses, depth - ahead, 1.0), 0.0)
    crossing = np.where(
        crosses[..., np.newaxis], polygon + share[..., np.newaxis] * (beyond - polygon), folded
    )
    count = polygon.shape[-2]
    return np.stack([folded, crossing], axis=-2).reshape(*polygon.shape[:-2], 2 * count, 2)


WAVELENGTHS = np.arange(380, 701, 5)
"""nm; beyond 700 nm the chromaticity does not change."""

COLOUR_MATCHING = np.array(
    [
        (0.001368, 0.000039, 0.006450),
        (0.002236, 0.000064, 0.010550),
        (0.004243, 0.000120, 0.020050),
        (0.007650, 0.000217, 0.036210),
        (0.014310, 0.000396, 0.067850),
        (0.023190, 0.000640, 0.110200),
        (0.043510, 0.001210, 0.207400),
        (0.077630, 0.002180, 0.371300),
        (0.134380, 0.004000, 0.645600),
        (0.214770, 0.007300, 1.039050),
        (0.283900, 0.011600, 1.385600),
        (0.328500, 0.016840, 1.622960),
        (0.348280, 0.023000, 1.747060),
        (0.348060, 0.029800, 1.782600),
        (0.336200, 0.038000, 1.772110),
        (0.318700, 0.048000, 1.744100),
        (0.290800, 0.060000, 1.669200),
        (0.251100, 0.073900, 1.528100),
        (0.195360, 0.090980, 1.287640),
        (0.142100, 0.112600, 1.041900),
        (0.095640, 0.139020, 0.812950),
        (0.057950, 0.169300, 0.616200),
        (0.032010, 0.208020, 0.465180),
        (0.014700, 0.258600, 0.353300),
        (0.004900, 0.323000, 0.272000),
        (0.002400, 0.407300, 0.212300),
        (0.009300, 0.503000, 0.158200),
        (0.029100, 0.608200, 0.111700),
        (0.063270, 0.710000, 0.078250),
        (0.109600, 0.793200, 0.057250),
        (0.165500, 0.862000, 0.042160),
        (0.225750, 0.914850, 0.029840),
        (0.290400, 0.954000, 0.020300),
        (0.359700, 0.980300, 0.013400),
        (0.433450, 0.994950, 0.008750),
        (0.512050, 1.000000, 0.005750),
        (0.594500, 0.995000, 0.003900),
        (0.678400, 0.978600, 0.002750),
        (0.762100, 0.952000, 0.002100),
        (0.842500, 0.915400, 0.001800),
        (0.916300, 0.870000, 0.001650),
        (0.978600, 0.816300, 0.001400),
        (1.026300, 0.757000, 0.001100),
        (1.056700, 0.694900, 0.001000),
        (1.062200, 0.631000, 0.000800),
        (1.045600, 0.566800, 0.000600),
        (1.002600, 0.503000, 0.000340),
        (0.938400, 0.441200, 0.000240),
        (0.854450, 0.381000, 0.000190),
        (0.751400, 0.321000, 0.000100),
        (0.642400, 0.265000, 0.000050),
        (0.541900, 0.217000, 0.000030),
        (0.447900, 0.175000, 0.000020),
        (0.360800, 0.138200, 0.000010),
        (0.283500, 0.107000, 0.000000),
        (0.218700, 0.081600, 0.000000),
        (0.164900, 0.061000, 0.000000),
        (0.121200, 0.044580, 0.000000),
        (0.087400, 0.032000, 0.000000),
        (0.063600, 0.023200, 0.000000),
        (0.046770, 0.017000, 0.000000),
        (0.032900, 0.011920, 0.000000),
        (0.022700, 0.008210, 0.000000),
        (0.015840, 0.005723, 0.000000),
        (0.011359, 0.004102, 0.000000),
    ]
)
"""x̄, ȳ, z̄ at `WAVELENGTHS`."""

LOCUS = xyz_to_uv(COLOUR_MATCHING)
"""u′, v′ (65, 2); the purple line from the last point to the first closes it."""


def distance_outside(uv: ArrayLike) -> Array:
    """Distance (...) of u′, v′ (..., 2) outside the locus; 0 inside, NaN if u′, v′ is NaN."""
    points = as_array(uv)
    start, end = LOCUS, np.roll(LOCUS, -1, axis=0)
    distance = _distance_to_segments(points, start, end).min(axis=-1)
    outside = np.where(_inside(points, start, end), 0.0, distance)
    return np.where(np.isnan(points).any(axis=-1), np.nan, outside)


def _distance_to_segments(points: Array, start: Array, end: Array) -> Array:
    """Distance (..., N) of points (..., 2) to N segments."""
    side = end - start
    offset = points[..., np.newaxis, :] - start
    share = np.clip(quotient(np.sum(offset * side, axis=-1), np.sum(side * side, axis=-1)), 0, 1)
    return as_array(np.linalg.norm(offset - share[..., np.newaxis] * side, axis=-1))


def _inside(points: Array, start: Array, end: Array) -> NDArray[np.bool_]:
    """Whether points (..., 2) lie inside: a ray to the right crosses an odd number of sides."""
    u, v = points[..., 0, np.newaxis], points[..., 1, np.newaxis]
    spans = (start[:, 1] > v) != (end[:, 1] > v)
    height = end[:, 1] - start[:, 1]
    at = start[:, 0] + quotient(v - start[:, 1], height) * (end[:, 0] - start[:, 0])
    crossings = np.sum(spans & (u < at), axis=-1)
    return np.asarray(crossings % 2 == 1)


def cct_duv(xyz: ArrayLike) -> Array:
    """Temperature in K and Duv (..., 2) of X, Y, Z (..., 3); NaN if X + 15Y + 3Z is 0.

    Duv is signed, positive above the locus, in the CIE 1960 u, v diagram. By Ohno, Practical use
    and calculation of CCT and Duv, LEUKOS 10 (2014): between three neighbours of a table of
    blackbodies, by a triangle near the locus and by a parabola beyond 0.002.
    """
    uv = xyz_to_uv(xyz) * np.array([1.0, 2 / 3])
    result = np.full(uv.shape, np.nan)
    known = np.all(np.isfinite(uv), axis=-1)
    if np.any(known):
        points = uv[known]
        pieces = (points[at : at + PIECE] for at in range(0, len(points), PIECE))
        result[known] = np.concatenate([_between_blackbodies(piece) for piece in pieces])
    return result


NEAR_LOCUS = 0.002
"""Duv up to which the triangle is the better solution."""


STRIDES = (256, 16, 1)
"""Of the table's rows, at which the nearest is sought: of all, then beside the last one found."""
PIECE = 4096
"""Colours that are sought at once."""


@cache
def _blackbodies() -> Array:
    """(N, 3) of T, u, v from 1000 K to 100 000 K, a thousandth apart.

    colour-science computes them and is imported only here.
    """
    with warnings.catch_warnings():  # it warns that its optional plotting is missing
        warnings.simplefilter("ignore")
        from colour.colorimetry import handle_spectral_arguments
        from colour.temperature.ohno2013 import planckian_table

    observer, _ = handle_spectral_arguments()
    return as_array(planckian_table(observer, 1000.0, 100_000.0, 1.001))


def _nearest(uv: Array, table: Array) -> NDArray[np.int64]:
    """Row (n,) of the point of a smooth curve (N, 2) that is nearest to each of uv (n, 2)."""
    first = table[:: STRIDES[0]]
    row = STRIDES[0] * np.argmin(np.sum(first**2, axis=1) / 2 - uv @ first.T, axis=1)
    for wide, stride in pairwise(STRIDES):
        rows = np.clip(row[:, None] + np.arange(-wide, wide + 1, stride), 0, len(table) - 1)
        away = np.square(table[rows, 0] - uv[:, :1]) + np.square(table[rows, 1] - uv[:, 1:])
        row = rows[np.arange(len(uv)), away.argmin(axis=1)]
    return np.asarray(row)


def _between_blackbodies(uv: Array) -> Array:
    """Temperature and Duv (n, 2) of CIE 1960 u, v (n, 2)."""
    table = _blackbodies()
    nearest = np.clip(_nearest(uv, table[:, 1:]), 1, len(table) - 2)
    before, own, after = (table[nearest + step] for step in (-1, 0, 1))
    d0, d1, d2 = (np.hypot(*(uv - each[:, 1:]).T) for each in (before, own, after))
    t0, t1, t2 = before[:, 0], own[:, 0], after[:, 0]
    length = np.hypot(*(after - before)[:, 1:].T)
    along = (d0**2 - d2**2 + length**2) / (2 * length)
    share = along / length
    above = np.sign(uv[:, 1] - (before[:, 2] + (after[:, 2] - before[:, 2]) * share))
    triangle = np.sqrt(np.maximum(d0**2 - along**2, 0.0)) * above
    norm = (t2 - t1) * (t0 - t2) * (t1 - t0)
    a = (t0 * (d2 - d1) + t1 * (d0 - d2) + t2 * (d1 - d0)) / norm
    b = -(t0**2 * (d2 - d1) + t1**2 * (d0 - d2) + t2**2 * (d1 - d0)) / norm
    c = -(d0 * (t2 - t1) * t1 * t2 + d1 * (t0 - t2) * t0 * t2 + d2 * (t1 - t0) * t0 * t1) / norm
    lowest = -b / (2 * a)
    parabola = np.stack([lowest, (a * lowest**2 + b * lowest + c) * above], axis=-1)
    near = np.stack([t0 + (t2 - t0) * share, triangle], axis=-1)
    return np.where(np.abs(triangle)[:, None] < NEAR_LOCUS, near, parabola)
