"""The picture of luminance tracking: measured against target, and the deviation below it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

from compliance.model import Charts, LevelPoint
from compliance.pictures.axes import FOOT, HEAD, Axis, Frame, centred, logarithmic, margin
from compliance.pictures.canvas import INK, Pen


def _levels(charts: Charts) -> list[LevelPoint]:
    drawn = (level for level in charts.levels if level.target > 0 and level.measured > 0)
    return sorted(drawn, key=lambda level: level.target)


def _inside(level: LevelPoint) -> bool:
    low = level.low is None or level.measured >= level.low
    return low and (level.high is None or level.measured <= level.high)


def _reach(group: Sequence[Charts]) -> tuple[float, float]:
    targets = [level.target for charts in group for level in _levels(charts)]
    return min(targets), max(targets)


def tracking(
    pen: Pen, x: float, top: float, w: float, h: float, charts: Charts, group: Sequence[Charts]
) -> float:
    """Measured luminance against the target, log-log, and the deviation below it."""
    low, high = _reach(group)
    measured = [level.measured for each in group for level in _levels(each)]
    across = logarithmic(low, high, title="Target, cd/m²")
    up = logarithmic(min(low, *measured), max(high, *measured), title="Measured, cd/m²")
    aside = _aside_axis(group)
    left = max(margin(up), margin(aside))
    room = h - HEAD - FOOT
    strip = room * 0.45
    gap = 9.0
    upper = Frame(
        x + left, top - HEAD - (room - strip - gap), w - left - 2, room - strip - gap, across, up
    )
    lower = Frame(x + left, top - HEAD - room, w - left - 2, strip, across, aside)
    levels = _levels(charts)
    upper.draw(pen, label_across=False)
    lower.draw(pen)
    pen.canvas.saveState()
    upper.clip(pen)
    _band(pen, upper, levels, lambda target, share: target * share)
    reach = (max(across.low, up.low), min(across.high, up.high))
    pen.path(upper.spots((end, end) for end in reach), ink=INK.TEXT, weight=0.6, dash=(2, 2))
    _trace(pen, upper, levels, lambda level: level.measured)
    pen.canvas.restoreState()
    pen.canvas.saveState()
    lower.clip(pen)
    _band(pen, lower, levels, lambda _, share: 100 * (share - 1))
    _guard(pen, lower, levels)
    pen.path(
        lower.spots((end, 0.0) for end in (across.low, across.high)),
        ink=INK.TEXT,
        weight=0.6,
        dash=(2, 2),
    )
    _trace(pen, lower, levels, lambda level: _percent(level.measured, level))
    _beyond(pen, lower, levels, lambda level: _percent(level.measured, level))
    pen.canvas.restoreState()
    return top - h


def _percent(value: float, level: LevelPoint) -> float:
    return 100 * (value - level.target) / level.target


def _aside_axis(group: Sequence[Charts]) -> Axis:
    """Deviation in %, round 0; far outliers run out of the frame."""
    widest = 5.0
    for charts in group:
        for level in _levels(charts):
            ends = [end for end in (level.low, level.high) if end is not None]
            widest = max([widest, *(abs(_percent(end, level)) for end in ends)])
            if ends or level.target >= 1:
                widest = max(widest, abs(_percent(level.measured, level)))
    widest = min(widest * 1.1, 100.0)
    return centred(widest, title="Off target, %")


def _band(
    pen: Pen,
    frame: Frame,
    levels: Sequence[LevelPoint],
    place: Callable[[float, float], float],
) -> None:
    """The limits as areas, each level's reaching half-way to its neighbours."""
    for level, ends in zip(levels, _spans(levels), strict=True):
        if level.low is None or level.high is None:
            continue
        low, high = level.low / level.target, level.high / level.target
        floor = frame.up.low if frame.up.log else -math.inf
        lower = frame.spots((end, max(floor, place(end, low))) for end in ends)
        upper = frame.spots((end, place(end, high)) for end in ends)
        pen.path([*lower, *reversed(upper)], fill=INK.BAND, close=True)
        for edge in (lower, upper):
            pen.path(edge, ink=INK.FAINT, weight=0.5)


def _spans(levels: Sequence[LevelPoint]) -> list[tuple[float, float]]:
    """From half-way to the level before to half-way to the next."""
    targets = [level.target for level in levels]
    middles = [math.sqrt(one * other) for one, other in pairwise(targets)]
    return list(zip([targets[0], *middles], [*middles, targets[-1]], strict=True))


def _guard(pen: Pen, frame: Frame, levels: Sequence[LevelPoint]) -> None:
    """The guard band inside the limits, darker than they, with a broken inner edge."""
    for level, (start, end) in zip(levels, _spans(levels), strict=True):
        for limit, inner in _guards(level):
            outer, edge = _percent(limit, level), _percent(inner, level)
            corners = ((start, outer), (end, outer), (end, edge), (start, edge))
            pen.path(frame.spots(corners), fill=INK.GUARD, close=True)
            broken = frame.spots(((start, edge), (end, edge)))
            pen.path(broken, ink=INK.QUIET, weight=0.5, dash=(1.6, 1.2))


def _guards(level: LevelPoint) -> list[tuple[float, float]]:
    """Limits with their guarded limits; where these would cross, both stand half-way."""
    low, high, inner_low, inner_high = level.low, level.high, level.guard_low, level.guard_high
    if low is None or high is None or inner_low is None or inner_high is None:
        return []
    if inner_low > inner_high:
        inner_low = inner_high = (low + high) / 2
    return [(low, inner_low), (high, inner_high)]


def _beyond(
    pen: Pen, frame: Frame, levels: Sequence[LevelPoint], value: Callable[[LevelPoint], float]
) -> None:
    """A small wedge on the edge of the frame for each level that lies beyond it."""
    for level in levels:
        off = value(level)
        if frame.up.low <= off <= frame.up.high:
            continue
        edge, side = (frame.up.high, -1.0) if off > frame.up.high else (frame.up.low, 1.0)
        x, y = frame.spot(level.target, edge)
        wedge = [(x, y), (x - 2.2, y + 3.4 * side), (x + 2.2, y + 3.4 * side)]
        pen.path(wedge, fill=INK.TEXT if _inside(level) else INK.PLUM, close=True)


def _trace(
    pen: Pen, frame: Frame, levels: Sequence[LevelPoint], value: Callable[[LevelPoint], float]
) -> None:
    pen.path(frame.spots((lv.target, value(lv)) for lv in levels), ink=INK.TEXT, weight=0.9)
    for level in levels:
        at = frame.spot(level.target, value(level))
        if _inside(level):
            pen.disc(*at, 1.5, fill=INK.TEXT)
        else:
            pen.disc(*at, 2.4, ink=INK.PLUM, weight=0.9, fill=INK.PAPER)
            pen.line(at[0] - 1.7, at[1] - 1.7, at[0] + 1.7, at[1] + 1.7, ink=INK.PLUM, weight=0.9)


def has_levels(charts: Charts) -> bool:
    """Whether there is a line to draw."""
    return len(_levels(charts)) > 1


def tracking_note(charts: Charts) -> str:
    """What the signs mean, as far as they are there."""
    levels = _levels(charts)
    told = "Dots: measured. Broken line: target."
    if any(level.low is not None or level.high is not None for level in levels):
        told += " Shaded: limits."
    if any(map(_guards, levels)):
        told += " Darker: guard band of 1.64\u00a0u inside them."
    if not all(map(_inside, levels)):
        told += " Barred rings: outside."
    if len(levels) < len(charts.levels):
        told += " Zero cannot be drawn."
    return told
