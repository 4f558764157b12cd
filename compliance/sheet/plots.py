"""The pictures: drawn from the charts' numbers; only where a point stands is worked out.

Each takes the charts to show and all the charts that share its scales, so that
before and after can be read side by side.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from compliance.colorimetry.locus import LOCUS
from compliance.model import Charts, DifferencePoint
from compliance.sheet.axes import (
    FOOT,
    HEAD,
    Axis,
    Frame,
    centred,
    linear,
    logarithmic,
    margin,
)
from compliance.sheet.fonts import SANS, clean, width
from compliance.sheet.pen import Pen, fit, wrap
from compliance.sheet.style import INK, Ink
from compliance.sheet.tracking import has_levels, tracking, tracking_note
from compliance.sheet.white import draw_white, pair, white_note

__all__ = ["PLOTS", "Plot", "key_depth", "key_line"]

SMALL = 6.6
MOST_KEY, KEY_LEADING = 4, 1.3


@dataclass(frozen=True, slots=True)
class Plot:
    """A kind of picture."""

    title: str
    note: Callable[[Charts], str]
    """What its signs mean."""
    has: Callable[[Charts], bool]
    draw: Callable[[Pen, float, float, float, float, Charts, Sequence[Charts]], float]
    """Pen, left, top, width, height, the charts shown, all charts on its scales; returns
    where it ends below."""
    share: float = 1.0
    """Of the height of a row."""
    squat: float | None = None
    """Greatest height over width that it can use."""
    rank: int = 0
    """Place where before and after stand side by side."""


# ---------------------------------------------------------------- gamut


def gamut(
    pen: Pen, x: float, top: float, w: float, h: float, charts: Charts, group: Sequence[Charts]
) -> float:
    """The u′v′ diagram: target and measured triangles, white, colours; white enlarged."""
    across = Axis(0.0, 0.65, (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6), title="u′")
    up = Axis(0.0, 0.6, (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6), title="v′")
    left = margin(up)
    scale = min((w - left - 2) / 0.65, (h - HEAD - FOOT) / 0.6)
    wide, high = scale * 0.65, scale * 0.6
    start = x + left + (w - left - 2 - wide) / 2
    frame = Frame(start, top - HEAD - high, wide, high, across, up)
    frame.draw(pen)
    locus = [(float(u), float(v)) for u, v in LOCUS]
    pen.path(frame.spots(locus), ink=INK.FAINT, weight=0.7, close=True, fill=INK.WASH)
    if charts.target_triangle:
        pen.path(
            frame.spots(charts.target_triangle), ink=INK.TEXT, weight=0.8, dash=(3, 2), close=True
        )
    if charts.measured_triangle:
        pen.path(frame.spots(charts.measured_triangle), ink=INK.TEAL, weight=1.2, close=True)
    for colour in charts.colours:
        pair(pen, frame, colour.target, colour.measured)
    if charts.target_white and charts.measured_white:
        pair(pen, frame, charts.target_white, charts.measured_white)
        draw_white(pen, frame, charts, group)
    return frame.y - FOOT


def _gamut_note(charts: Charts) -> str:
    """What the signs mean, as far as they are there."""
    aims, seen = ["crosses"] * bool(charts.colours), ["rings"] * bool(charts.colours)
    if charts.target_triangle:
        aims.append("broken triangle")
    if charts.measured_triangle:
        seen.append("solid triangle")
    parts = [
        f"{' and '.join(signs).capitalize()}: {what}."
        for signs, what in ((aims, "target"), (seen, "measured"))
        if signs
    ]
    return " ".join([*parts, white_note(charts)]).rstrip()


# ---------------------------------------------------------------- grey balance


def grey_balance(
    pen: Pen, x: float, top: float, w: float, h: float, charts: Charts, group: Sequence[Charts]
) -> float:
    """Offsets of the neutrals from the measured white, over the target's luminance."""
    points = [grey for each in group for grey in each.greys if grey.target > 0]
    low, high = min(p.target for p in points), max(p.target for p in points)
    widest = max(0.002, *(abs(part) for p in points for part in (p.du, p.dv)))
    across = logarithmic(low, high, title="Target, cd/m²")
    up = centred(widest * 1.1, title="From the measured white", most=7)
    left = margin(up)
    frame = Frame(x + left, top - h + FOOT, w - left - 2, h - HEAD - FOOT, across, up)
    frame.draw(pen)
    pen.path(
        frame.spots((end, 0.0) for end in (across.low, across.high)),
        ink=INK.TEXT,
        weight=0.6,
        dash=(2, 2),
    )
    shown = sorted((grey for grey in charts.greys if grey.target > 0), key=lambda g: g.target)
    first = frame.spots((grey.target, grey.du) for grey in shown)
    second = frame.spots((grey.target, grey.dv) for grey in shown)
    pen.path(first, ink=INK.PLUM, weight=0.9)
    pen.path(second, ink=INK.TEAL, weight=0.9, dash=(3, 1.5))
    for at in first:
        pen.disc(*at, 1.6, fill=INK.PLUM)
    for at in second:
        pen.box(at[0] - 1.6, at[1] - 1.6, 3.2, 3.2, ink=INK.TEAL, weight=0.8, fill=INK.PAPER)
    return top - h


# ---------------------------------------------------------------- differences


def differences(
    pen: Pen, x: float, top: float, w: float, h: float, charts: Charts, group: Sequence[Charts]
) -> float:
    """A bar per patch with its limit; one over its limit is filled and named below."""
    bars = charts.differences
    values = [bar.value for each in group for bar in each.differences if _finite(bar.value)]
    limits = [bar.limit for each in group for bar in each.differences if bar.limit is not None]
    up = linear(
        0.0,
        max([1.0, *values, *(limit * 1.1 for limit in limits)]),
        title=charts.difference_name,
        most=5,
    )
    left, names = margin(up), _names_height(group, w)
    frame = Frame(
        x + left,
        top - h + names,
        w - left - 2,
        h - HEAD - names,
        Axis(0.0, float(len(bars)), ()),
        up,
    )
    frame.draw(pen)
    slot = frame.w / len(bars)
    wide = min(slot * 0.68, 14.0)
    for index, bar in enumerate(bars):
        middle = frame.x + (index + 0.5) * slot
        _bar(pen, frame, bar, middle, wide)
        if bar.limit is not None:
            y = frame.spot(0.0, bar.limit)[1]
            pen.line(middle - slot / 2, y, middle + slot / 2, y, ink=INK.TEXT, weight=1.0)
        if slot >= 6.0 or index % math.ceil(6.0 / slot) == 0:
            name = fit(bar.name, SANS, SMALL - 0.4, names - 6)
            pen.turned(middle + 2.1, frame.y - 3.5, name, size=SMALL - 0.4, ink=INK.QUIET)
    return top - h


def _bar(pen: Pen, frame: Frame, bar: DifferencePoint, middle: float, wide: float) -> None:
    if not _finite(bar.value):
        return
    over = bar.limit is not None and bar.value > bar.limit
    height = frame.h * min(1.0, frame.up.share(bar.value))
    ink: Ink = INK.PLUM if over else INK.QUIET
    fill = INK.PLUM if over else INK.HAIR
    pen.box(middle - wide / 2, frame.y, wide, max(height, 0.1), ink=ink, weight=0.5, fill=fill)


def _names_height(group: Sequence[Charts], w: float) -> float:
    names = [bar.name for charts in group for bar in charts.differences]
    longest = max((width(clean(name), SANS, SMALL - 0.4) for name in names), default=0.0)
    return min(longest + 9, w * 0.26, 80.0)


def _finite(value: float) -> bool:
    return math.isfinite(value)


# ---------------------------------------------------------------- the four


def key_line(pen: Pen, x: float, y: float, plot: Plot, charts: Charts, measure: float) -> None:
    """What the signs of a picture mean, under it."""
    for line in wrap(plot.note(charts), SANS, SMALL, measure)[:MOST_KEY]:
        pen.text(x, y, line, size=SMALL, ink=INK.QUIET)
        y -= SMALL * KEY_LEADING


def key_depth(plot: Plot, charts: Charts, measure: float) -> float:
    """Height that the key takes below a picture."""
    lines = len(wrap(plot.note(charts), SANS, SMALL, measure)[:MOST_KEY])
    return 12.0 + SMALL * KEY_LEADING * (lines - 1)


def _has_gamut(charts: Charts) -> bool:
    return bool(charts.measured_triangle or charts.measured_white or charts.colours)


def _has_greys(charts: Charts) -> bool:
    return len([grey for grey in charts.greys if grey.target > 0]) > 1


def _difference_note(charts: Charts) -> str:
    if any(bar.limit is not None for bar in charts.differences):
        return "Thick lines: limits. Filled dark: over the limit."
    return "The rule sets no limit on this difference."


PLOTS = (
    Plot(
        "Luminance tracking",
        tracking_note,
        has_levels,
        tracking,
    ),
    Plot(
        "Colours in the CIE 1976 u′v′ diagram",
        _gamut_note,
        _has_gamut,
        gamut,
        squat=0.98,
        rank=1,
    ),
    Plot(
        "Grey balance",
        lambda _: "Dots, solid line: Δu′. Squares, broken line: Δv′.",
        _has_greys,
        grey_balance,
        0.78,
    ),
    Plot(
        "Colour differences by patch",
        _difference_note,
        lambda charts: bool(charts.differences),
        differences,
        0.78,
        rank=1,
    ),
)
