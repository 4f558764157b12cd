"""The pictures: drawn from the charts' numbers; only where a point stands is worked out.

Each takes the charts to show and all the charts that share its scales, so that
before and after can be read side by side.
"""

from __future__ import annotations

from collections.abc import Sequence

from compliance.colorimetry.locus import LOCUS
from compliance.model import Charts
from compliance.sheet.axes import (
    FOOT,
    HEAD,
    Axis,
    Frame,
    centred,
    logarithmic,
    margin,
)
from compliance.sheet.bars import bar_plot
from compliance.sheet.pen import Pen
from compliance.sheet.plot import Plot
from compliance.sheet.style import INK
from compliance.sheet.tracking import has_levels, tracking, tracking_note
from compliance.sheet.white import draw_white, pair, white_note

__all__ = ["PLOTS", "plots_of"]


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


# ---------------------------------------------------------------- all of them


def _has_gamut(charts: Charts) -> bool:
    return bool(charts.measured_triangle or charts.measured_white or charts.colours)


def _has_greys(charts: Charts) -> bool:
    return len([grey for grey in charts.greys if grey.target > 0]) > 1


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
)
"""Those that every sheet has; the bars of differences come on top."""


def plots_of(group: Sequence[Charts]) -> list[Plot]:
    """The pictures that there is something to draw of, in order."""
    bars = {each.title: bar_plot(each.title) for charts in group for each in charts.differences}
    return [plot for plot in (*PLOTS, *bars.values()) if any(map(plot.has, group))]
