"""A meter's error as a random function of luminance: near levels err alike, far ones apart.

A Gaussian process over log10 of the luminance with unit variance and correlation
exp(−|Δlog10 L|), one decade long (practice): what a certificate with one figure leaves open must
not cancel in a contrast or a gamma (JCGM 100:2008, 5.2). It is drawn on fixed knots, so that a
patch more or less changes no other's draw.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from compliance.grading.streams import stream

Array = NDArray[np.float64]

FIRST_DECADE, LAST_DECADE = -5, 5
"""log10 of cd/m² of the first and last knot; beyond them the process is constant."""
PER_DECADE = 64
"""Knots; an eighth of a decade between them would hide differences of levels near white."""
KNOTS = PER_DECADE * (LAST_DECADE - FIRST_DECADE) + 1
NEIGHBOURS = float(np.exp(-1 / PER_DECADE))
"""Correlation of two knots next to each other."""


@lru_cache(maxsize=6)
def _knots(seed: int, part: int, count: int) -> NDArray[np.float32]:
    """(KNOTS, count) draws of the process at its knots; read-only."""
    normals = stream(seed, part)
    innovation = np.sqrt(1 - NEIGHBOURS**2)
    knots = np.empty((KNOTS, count), dtype=np.float32)
    last = normals.standard_normal(count)
    knots[0] = last
    for place in range(1, KNOTS):
        last = NEIGHBOURS * last + innovation * normals.standard_normal(count)
        knots[place] = last
    knots.setflags(write=False)
    return knots


class LevelProcess:
    """Draws of the process for one part of the stream."""

    def __init__(self, seed: int, part: int, count: int) -> None:
        self._knots = _knots(seed, part, count)

    def at(self, level: Array, part: slice) -> Array:
        """(draws, n) unit normals at luminances (n,) in cd/m²; zero and less are the first knot."""
        lit = np.clip(level, 10.0**FIRST_DECADE, 10.0**LAST_DECADE)
        place = (np.log10(lit) - FIRST_DECADE) * PER_DECADE
        below = np.minimum(place.astype(np.int64), KNOTS - 2)
        share = (place - below)[:, None]
        drawn = (1 - share) * self._knots[below, part] + share * self._knots[below + 1, part]
        # Interpolated halfway between knots, the process would vary less.
        size = np.sqrt((1 - share) ** 2 + share**2 + 2 * share * (1 - share) * NEIGHBOURS)
        return np.asarray((drawn / size).T)
