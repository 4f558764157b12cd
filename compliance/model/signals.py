"""Names, places and code values of patches."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Integers = NDArray[np.int64]
Pair = tuple[float, float]
Triple = tuple[int, int, int]
Place = tuple[Triple, str, float]
"""Codes, position and window of a patch: its key in findings."""

PLACES: Mapping[str, Pair] = {
    "centre": (50, 50),
    "left": (10, 50),
    "right": (90, 50),
    "top": (50, 10),
    "bottom": (50, 90),
    "top-left": (10, 10),
    "top-right": (90, 10),
    "bottom-left": (10, 90),
    "bottom-right": (90, 90),
    "inner-top-left": (30, 30),
    "inner-top-right": (70, 30),
    "inner-bottom-left": (30, 70),
    "inner-bottom-right": (70, 70),
}
"""The 13 named points, after the measuring grid of EBU Tech 3325: % of the screen's width from its
left, and of its height from its top. Their positions are practice, not published numbers."""

POSITIONS = tuple(PLACES)

POSITION_GROUPS: Mapping[str, tuple[str, ...]] = {
    "sides": ("left", "right"),
    "corners": ("top-left", "top-right", "bottom-left", "bottom-right"),
    "5-points": ("centre", "top-left", "top-right", "bottom-left", "bottom-right"),
    "9-points": POSITIONS[:9],
    "13-points": POSITIONS,
}

PATTERNS = ("full", "window", "checkerboard")
BUILT_IN_SETS = ("white", "black", "peak")
TECHNOLOGIES = ("lcd", "oled", "led", "crt", "plasma", "projector")


@dataclass(frozen=True, slots=True)
class Encoding:
    """The coding of the signal (ITU-R BT.2100 Table 9, SMPTE ST 428-1)."""

    name: str
    kind: str
    """`rgb` or `xyz`."""
    bits: int
    narrow: bool

    @property
    def top(self) -> int:
        """The largest code of the encoding."""
        return (1 << self.bits) - 1

    def carries(self, curve: str) -> bool:
        """Whether its code values can mean light by a curve."""
        return self.kind != "xyz" or curve in ("dcdm", "pq")


ENCODINGS: Mapping[str, Encoding] = {
    encoding.name: encoding
    for encoding in (
        Encoding("rgb-8-full", "rgb", 8, False),
        Encoding("rgb-8-narrow", "rgb", 8, True),
        Encoding("rgb-10-full", "rgb", 10, False),
        Encoding("rgb-10-narrow", "rgb", 10, True),
        Encoding("rgb-12-full", "rgb", 12, False),
        Encoding("rgb-12-narrow", "rgb", 12, True),
        Encoding("xyz-12-full", "xyz", 12, False),
    )
}
