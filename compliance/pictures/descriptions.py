"""What each picture shows: the facts of its key, how many values are inside, and the worst one.

The sentences are those of `report.words.en.pictures`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from compliance.model import Pair
from compliance.pictures.data import Charts, DifferencePoint, Differences, LevelPoint
from compliance.report.words.en import pictures as words


def tracking_key(charts: Charts) -> str:
    """The meaning of the signs in use."""
    levels = charts.drawable_levels
    return words.tracking_key(
        limits=any(level.limited for level in levels),
        guarded=any(level.guarded_limits for level in levels),
        outside=not all(level.within for level in levels),
        zero=len(levels) < len(charts.levels),
    )


def tracking_shown(charts: Charts) -> str:
    """How many levels are inside their limits, and the one farthest off."""
    levels = charts.drawable_levels
    worst = max(levels, key=lambda level: (level.limited, _rounded(_used(level))))
    return words.tracking_shown(
        len(levels),
        sum(level.limited for level in levels),
        sum(not level.within for level in levels),
        name=worst.name,
        target=worst.target,
        measured=worst.measured,
        low=worst.low,
        high=worst.high,
    )


def _used(level: LevelPoint) -> float:
    """The share of its tolerance that a level's error takes; without limits of its target."""
    error = level.measured - level.target
    limit = level.high if error > 0 else level.low
    room = level.target if limit is None else abs(limit - level.target)
    return abs(error) / room if room else math.copysign(math.inf, abs(error))


def _rounded(size: float) -> float:
    """A size for comparing: equal ones stay equal on machines with another last digit."""
    return float(f"{size:.9g}")


def gamut_key(charts: Charts) -> str:
    """The meaning of the signs in use."""
    signs = words.gamut_key(
        colours=bool(charts.colours),
        target=charts.target_triangle is not None,
        measured=charts.measured_triangle is not None,
    )
    white = ""
    if charts.target_white and charts.measured_white:
        white = words.white_key(limit=bool(charts.white_limit), ellipse=bool(charts.white_ellipse))
    return " ".join(filter(None, (signs, white)))


def gamut_shown(charts: Charts) -> str:
    """How far white, primaries and the farthest of the colours are from their targets."""
    return " ".join(_gamut_sentences(charts))


def _gamut_sentences(charts: Charts) -> Iterable[str]:
    if charts.target_white and charts.measured_white:
        offset = math.dist(charts.target_white, charts.measured_white)
        yield words.white_shown(offset, charts.white_verdict)
    if charts.target_triangle and charts.measured_triangle:
        corners: Iterable[tuple[Pair, Pair]] = zip(
            charts.target_triangle, charts.measured_triangle, strict=True
        )
        yield words.primaries_shown([math.dist(*pair) for pair in corners])
    if charts.colours:
        worst = max(
            charts.colours,
            key=lambda colour: _rounded(math.dist(colour.target, colour.measured)),
        )
        yield words.colours_shown(
            len(charts.colours), worst.name, math.dist(worst.target, worst.measured)
        )


def grey_balance_shown(charts: Charts) -> str:
    """The grey whose colour is farthest from the measured white."""
    greys = charts.drawable_greys
    worst = max(greys, key=lambda grey: _rounded(math.hypot(grey.du, grey.dv)))
    return words.grey_balance_shown(len(greys), worst.target, worst.du, worst.dv)


def bars_key(shown: Differences) -> str:
    """The meaning of the signs in use."""
    return words.bars_key(
        from_white=shown.from_white,
        limits=any(bar.limit is not None for bar in shown.points),
        bounds=any(bar.bound is not None for bar in shown.points),
        over=any(bar.over_limit for bar in shown.points),
    )


def bars_shown(shown: Differences) -> str:
    """How many bars are over their limits, and the worst."""
    worst = max(shown.points, key=_size)
    return words.bars_shown(
        len(shown.points),
        sum(bar.limit is not None for bar in shown.points),
        sum(bar.over_limit for bar in shown.points),
        quantity=shown.name,
        name=worst.name,
        value=worst.value,
        limit=worst.limit,
    )


def _size(bar: DifferencePoint) -> tuple[bool, float]:
    """The size of a bar for comparing: as a share of its limit, those with limits first."""
    size = bar.value if math.isfinite(bar.value) else -1.0
    return bar.limit is not None, _rounded(size / bar.limit if bar.limit else size)
