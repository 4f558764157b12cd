"""Random numbers of the draws: `numpy.random.RandomState` over Philox, a frozen stream.

Keyed by seed and part, so that the same input and seed give the same draws, for any size of
chunks and in any order.
"""

from __future__ import annotations

from functools import lru_cache
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray


def stream(seed: int, part: int) -> np.random.RandomState:
    """The stream of one part of the draws; `seed` and `part` from 0 to 2⁶⁴ − 1."""
    return np.random.RandomState(np.random.Philox(key=np.array([seed, part], dtype=np.uint64)))


def part_of(*identity: object) -> int:
    """The part that belongs to a patch or reading, by everything that identifies it."""
    named = "\x1f".join(map(str, identity)).encode("utf-8", "surrogatepass")
    return int.from_bytes(blake2b(named, digest_size=8).digest(), "big")


@lru_cache(maxsize=40)
def shared_normals(seed: int, part: int, count: int, columns: int) -> NDArray[np.float64]:
    """(count, columns) unit normals of a part that readings share; read-only."""
    normals = stream(seed, part).standard_normal((count, columns))
    normals.setflags(write=False)
    return normals
