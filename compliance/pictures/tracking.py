"""The picture of luminance tracking: measured against target, and the deviation below it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise

from compliance.pictures.axes import BROKEN, FOOT, HEAD, Area, Axis, Frame, centred, logarithmic
from compliance.pictures.canvas import INK, Canvas
from compliance.pictures.data import Charts, LevelPoint

STRIP = 0.45
"""Share of the height for the deviation."""
GAP = 9.0


def drawable_levels(charts: Charts) -> list[LevelPoint]:
    """What a logarithmic scale can show, dark to bright."""
    levels = (level for level in charts.levels if level.target > 0 and level.measured > 0)
    return sorted(levels, key=lambda level: level.target)


def draw_tracking(canvas: Canvas, area: Area, charts: Charts, group: Sequence[Charts]) -> float:
    """Measured luminance against the target, log-log, and the deviation below it."""
    shown = [level for each in group for level in drawable_levels(each)]
    targets, measured = [level.target for level in shown], [level.measured for level in shown]
    low, high = min(targets), max(targets)
    across = logarithmic(low, high, title="Target, cd/m²")
    up = logarithmic(min(low, *measured), max(high, *measured), title="Measured, cd/m²")
    deviation = _deviation_axis(shown)
    margin = max(up.margin(), deviation.margin())
    left, wide, top = area.left + margin, area.width - margin - 2, area.top - HEAD
    room = area.height - HEAD - FOOT
    strip = room * STRIP
    above = room - strip - GAP
    upper = Frame(left, top - above, wide, above, across, up)
    lower = Frame(left, top - room, wide, strip, across, deviation)
    levels = drawable_levels(charts)
    upper.draw(canvas, label_across=False)
    lower.draw(canvas)
    with upper.clipped(canvas):
        _draw_limits(canvas, upper, levels, lambda target, share: target * share)
        ends = (max(across.low, up.low), min(across.high, up.high))
        canvas.polyline(upper.spots((end, end) for end in ends), **BROKEN)
        _draw_levels(canvas, upper, levels, lambda level: level.measured)
    with lower.clipped(canvas):
        _draw_limits(canvas, lower, levels, lambda _, share: 100 * (share - 1))
        _draw_guard_bands(canvas, lower, levels)
        lower.draw_zero(canvas)
        _draw_levels(canvas, lower, levels, _deviation)
        _draw_wedges(canvas, lower, levels)
    return area.top - area.height


def _percent(value: float, level: LevelPoint) -> float:
    return 100 * (value - level.target) / level.target


def _deviation(level: LevelPoint) -> float:
    return _percent(level.measured, level)


def _deviation_axis(levels: Iterable[LevelPoint]) -> Axis:
    """Deviation in %, round 0; far outliers run out of the frame."""
    widest = 5.0
    for level in levels:
        ends = [end for end in (level.low, level.high) if end is not None]
        widest = max([widest, *(abs(_percent(end, level)) for end in ends)])
        if ends or level.target >= 1:
            widest = max(widest, abs(_deviation(level)))
    return centred(min(widest * 1.1, 100.0), title="Off target, %")


def _draw_limits(
    canvas: Canvas,
    frame: Frame,
    levels: Sequence[LevelPoint],
    place: Callable[[float, float], float],
) -> None:
    """The limits as areas, each level's reaching half-way to its neighbours.

    `place` has the value drawn for a target and the share of it that a limit is.
    """
    floor = frame.up.low if frame.up.log else -math.inf
    for level, ends in zip(levels, _spans(levels), strict=True):
        if level.low is None or level.high is None:
            continue
        low, high = level.low / level.target, level.high / level.target
        lower = frame.spots((end, max(floor, place(end, low))) for end in ends)
        upper = frame.spots((end, place(end, high)) for end in ends)
        canvas.polygon([*lower, *reversed(upper)], fill=INK.BAND)
        for edge in (lower, upper):
            canvas.polyline(edge, ink=INK.FAINT, weight=0.5)


def _spans(levels: Sequence[LevelPoint]) -> list[tuple[float, float]]:
    """From half-way to the level before to half-way to the next."""
    targets = [level.target for level in levels]
    middles = [math.sqrt(target * following) for target, following in pairwise(targets)]
    return list(zip([targets[0], *middles], [*middles, targets[-1]], strict=True))


def _draw_guard_bands(canvas: Canvas, frame: Frame, levels: Sequence[LevelPoint]) -> None:
    """The guard band inside the limits, darker than they, with a broken inner edge."""
    for level, (start, end) in zip(levels, _spans(levels), strict=True):
        for limit, guarded in _guarded_limits(level):
            outer, inner = _percent(limit, level), _percent(guarded, level)
            corners = ((start, outer), (end, outer), (end, inner), (start, inner))
            canvas.polygon(frame.spots(corners), fill=INK.GUARD)
            edge = frame.spots(((start, inner), (end, inner)))
            canvas.polyline(edge, ink=INK.QUIET, weight=0.5, dash=(1.6, 1.2))


def _guarded_limits(level: LevelPoint) -> list[tuple[float, float]]:
    """Limits with their guarded limits; guarded ones that would cross meet half-way."""
    low, high, inner_low, inner_high = level.low, level.high, level.guard_low, level.guard_high
    if low is None or high is None or inner_low is None or inner_high is None:
        return []
    if inner_low > inner_high:
        inner_low = inner_high = (low + high) / 2
    return [(low, inner_low), (high, inner_high)]


def _draw_wedges(canvas: Canvas, frame: Frame, levels: Sequence[LevelPoint]) -> None:
    """A small wedge on the edge of the frame for each level that lies beyond it."""
    for level in levels:
        deviation = _deviation(level)
        if frame.up.low <= deviation <= frame.up.high:
            continue
        above = deviation > frame.up.high
        x, y = frame.spot(level.target, frame.up.high if above else frame.up.low)
        base = y - 3.4 if above else y + 3.4
        wedge = [(x, y), (x - 2.2, base), (x + 2.2, base)]
        canvas.polygon(wedge, fill=INK.TEXT if _within_limits(level) else INK.PLUM)


def _draw_levels(
    canvas: Canvas, frame: Frame, levels: Sequence[LevelPoint], value: Callable[[LevelPoint], float]
) -> None:
    """Measured levels joined by a line: dots, and barred rings outside of their limits."""
    spots = frame.spots((level.target, value(level)) for level in levels)
    canvas.polyline(spots, ink=INK.TEXT, weight=0.9)
    for level, (x, y) in zip(levels, spots, strict=True):
        if _within_limits(level):
            canvas.disc(x, y, 1.5, fill=INK.TEXT)
        else:
            canvas.disc(x, y, 2.4, ink=INK.PLUM, weight=0.9, fill=INK.PAPER)
            canvas.line(x - 1.7, y - 1.7, x + 1.7, y + 1.7, ink=INK.PLUM, weight=0.9)


def _within_limits(level: LevelPoint) -> bool:
    above = level.low is None or level.measured >= level.low
    return above and (level.high is None or level.measured <= level.high)


def tracking_note(charts: Charts) -> str:
    """What the signs mean, as far as they are there."""
    levels = drawable_levels(charts)
    sentences = ["Dots: measured. Broken line: target."]
    if any(level.low is not None or level.high is not None for level in levels):
        sentences.append("Shaded: limits.")
    if any(map(_guarded_limits, levels)):
        sentences.append("Darker: guard band of 1.64\u00a0u inside them.")
    if not all(map(_within_limits, levels)):
        sentences.append("Barred rings: outside.")
    if len(levels) < len(charts.levels):
        sentences.append("Zero cannot be drawn.")
    return " ".join(sentences)
