"""The order of measuring: white at start, middle and end; no bright patch without a dark one.

- The rule's white is read at the start, in the middle and at the end, or as often as a rule
  asks or the length of the plan, evenly spread, so that drift shows.
- In between, patches alternate: one of the darker half, one of the brighter, the brightest of
  all spread evenly and each followed by the darkest. A panel neither heats nor ages needlessly,
  and a limiter of its power recovers.
- What is read again after a time stays on the screen meanwhile.
- Places other than the centre follow the white in the middle, one after the other on a way
  around the screen, so that the meter is moved no more often than it must be.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby

from compliance.planning.merging import Stimulus

__all__ = ["hotness", "ordered"]

LEAST_ANCHORS = 3
MOST_BETWEEN = 100
"""Patches from one reading of white to the next (practice): about a quarter of an hour."""
WALK = (
    "centre", "inner-top-left", "inner-top-right", "inner-bottom-right", "inner-bottom-left",
    "left", "top-left", "top", "top-right", "right", "bottom-right", "bottom", "bottom-left",
)  # fmt: skip
"""From place to place."""

Unit = tuple[Stimulus, ...]
"""What is read without another patch in between."""


def ordered(stimuli: Sequence[Stimulus]) -> tuple[Stimulus, ...]:
    """Every reading in the order of measuring, each with a count of 1."""
    anchors = sorted((one for one in stimuli if one.anchor), key=lambda one: one.level)
    units = list(_units(stimuli))
    heat = hotness(stimuli)
    centre = [unit for unit in units if _at_centre(unit)]
    away = [unit for unit in units if not _at_centre(unit)]
    white = [replace(one, count=1) for one in anchors]
    often = 1 + math.ceil(len(centre) / MOST_BETWEEN)
    times = max([LEAST_ANCHORS, often, *(one.count for one in anchors)])
    segments = _dealt(centre, times - 1, heat)
    rows = [*white]
    for number, segment in enumerate(segments, 1):
        rows += _flat(_alternating(segment, heat))
        rows += white
        if number == len(segments) // 2:
            rows += _around(away, heat)
    return tuple(rows)


def hotness(stimuli: Sequence[Stimulus]) -> dict[tuple[object, ...], float]:
    """How much each patch works the panel, 0 to 1, by its `shown`.

    The larger of two shares: of the brightest patch's luminance, and of the largest light
    over the whole screen.
    """
    level = max((one.level for one in stimuli), default=0.0) or 1.0
    light = max((one.level * one.window for one in stimuli), default=0.0) or 1.0
    found: dict[tuple[object, ...], float] = {}
    for one in stimuli:
        share = max(one.level / level, one.level * one.window / light)
        found[one.shown] = max(share, found.get(one.shown, 0.0))
    return found


def _units(stimuli: Sequence[Stimulus]) -> Iterator[Unit]:
    """What is left beside the anchors: a patch each, a series in time together."""
    together: dict[tuple[object, ...], list[Stimulus]] = {}
    for one in stimuli:
        together.setdefault(one.shown, []).append(one)
    for series in together.values():
        series.sort(key=lambda one: one.seconds)
        lasting = any(one.seconds for one in series)
        if lasting or not series[0].anchor:
            yield tuple(replace(one, count=1, anchor=False) for one in series)
        for one in series:
            if not one.anchor:
                yield from [(replace(one, count=1),)] * (one.count - 1)


def _at_centre(unit: Unit) -> bool:
    """Whether a unit takes its turn at the centre; checkerboards are set up apart."""
    return unit[0].position == "centre" and unit[0].pattern != "checkerboard"


def _heat(unit: Unit, heat: dict[tuple[object, ...], float]) -> float:
    """A unit's hotness, more for what stays on the screen."""
    return heat[unit[0].shown] * (1 + unit[-1].seconds / 60)


def _dealt(
    units: Sequence[Unit], hands: int, heat: dict[tuple[object, ...], float]
) -> list[list[Unit]]:
    """The units in that many hands with the same share of bright and dark ones."""
    ranked = sorted(units, key=lambda unit: (_heat(unit, heat), unit[0].codes, unit[0].window))
    return [ranked[hand::hands] for hand in range(hands)]


def _alternating(units: Sequence[Unit], heat: dict[tuple[object, ...], float]) -> list[Unit]:
    """Dark, bright, dark …: the brightest evenly spread, each followed by the darkest there is."""
    ranked = sorted(units, key=lambda unit: (_heat(unit, heat), unit[0].codes, unit[0].window))
    bright = ranked[::-1][: max(0, (len(ranked) - 1) // 2)]
    dark = ranked[: len(ranked) - len(bright)]
    followers, rest = dark[: len(bright)], dark[len(bright) :]
    found = rest[:1]
    for place in _spread(len(bright)):
        found += [bright[place], followers[place]]
    return found + rest[1:]


def _spread(count: int) -> list[int]:
    """0 … count − 1, so that the first ones stand far apart (van der Corput, base 2)."""
    return sorted(range(count), key=_mirrored)


def _mirrored(number: int) -> float:
    """The binary digits of number + 1 behind the point, in reverse."""
    digits = f"{number + 1:b}"[::-1]
    return int(digits, 2) / (1 << len(digits))


def _around(units: Sequence[Unit], heat: dict[tuple[object, ...], float]) -> list[Stimulus]:
    """What is not read at the centre, place by place; checkerboards last."""

    def place(unit: Unit) -> tuple[bool, int]:
        return unit[0].pattern == "checkerboard", WALK.index(unit[0].position)

    rows: list[Stimulus] = []
    for _, some in groupby(sorted(units, key=place), key=place):
        rows += _flat(_alternating(list(some), heat))
    return rows


def _flat(units: Sequence[Unit]) -> list[Stimulus]:
    return [one for unit in units for one in unit]
