"""Displays side by side in one array: what a call costs beyond its numbers is paid once for many.

Only displays that the simulator takes the same way are stacked.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np

from compliance.diagnosis.faulty_display import Display

TOGETHER = 96
"""Displays simulated at a time: their light stays in a processor's cache."""
SHARED = ("assumed_primaries", "ripple", "topped")
"""Parts that are one array for all displays of a stack."""
COSTLY = ("bend", "offset", "crosstalk", "bump")
"""Parts that cost all displays of a stack a power of each channel if one has them."""


class Sized(NamedTuple):
    """Displays of one kind of curve, and how many they are."""

    display: Display
    size: int
    """K"""


def stacks(displays: Sequence[Sized]) -> Iterator[list[int]]:
    """Places of displays that can be stacked, about `TOGETHER` at a time."""
    begun: dict[Hashable, list[int]] = {}
    filled: dict[Hashable, int] = {}
    for place, (display, size) in enumerate(displays):
        key = _kind(display)
        if key in begun and filled[key] + size > TOGETHER:
            yield begun.pop(key)
        if key not in begun:
            begun[key], filled[key] = [], 0
        begun[key].append(place)
        filled[key] += size
    yield from begun.values()


def _kind(display: Display) -> Hashable:
    """What displays of a stack have in common."""
    return (
        display.curve,
        display.black,
        display.absolute,
        display.order,
        display.drive_order,
        display.plausible_white,
        *(id(getattr(display, part)) for part in SHARED),
        bool(np.any(display.added_black_share >= 0)),
        *(bool(np.any(getattr(display, part))) for part in COSTLY),
    )


def stacked(displays: Sequence[Sized]) -> Display:
    """Displays of one of the `stacks` as one, in their order."""
    first = displays[0].display
    if len(displays) == 1:
        return first
    total = sum(size for _, size in displays)
    made: dict[str, Any] = {}
    for name, part in zip(Display._fields, first, strict=True):
        if not isinstance(part, np.ndarray) or name in SHARED:
            continue
        parts = [getattr(display, name) for display, _ in displays]
        if len(part) == 1 and all(each is part for each in parts):
            continue
        whole = np.empty((total, *part.shape[1:]))
        begin = 0
        for (_, size), each in zip(displays, parts, strict=True):
            whole[begin : begin + size] = each
            begin += size
        made[name] = whole
    return first._replace(**made)
