"""Areas of triangles and of their overlap, vectorised over any leading axes."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from compliance.colorimetry.arrays import Array, as_array, quotient

__all__ = ["coverage", "overlap_area", "triangle_area"]


def triangle_area(triangle: ArrayLike) -> Array:
    """Area (...) of a triangle's three corners (..., 3, 2), whichever way they turn."""
    return np.abs(_signed_area(as_array(triangle)))


def overlap_area(first: ArrayLike, second: ArrayLike) -> Array:
    """Area (...) that two triangles (..., 3, 2) have in common; 0 if either has none.

    The first is cut along each side of the second: every point outside the side is moved
    onto it square, and a point is added where an edge crosses it. What lies inside keeps its
    winding, what lay outside is folded flat and has no area, so no case needs telling apart
    and equal triangles come out exact.
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

    Both (..., 3, 2); NaN where the target has no area.
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
    """Fold what lies beyond the line onto it: (..., n, 2) to (..., 2n, 2)."""
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
