"""The pictures: the diagram of chromaticities, white enlarged, greys, differences as bars.

Each takes the charts to show and all the charts that share its scales, so that
before and after can be read side by side.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from compliance.colour.chromaticity_diagram import LOCUS
from compliance.model import Charts, DifferencePoint, Differences, Pair
from compliance.pictures.axes import (
    FOOT,
    HEAD,
    SMALL,
    Axis,
    Frame,
    Plot,
    centred,
    linear,
    logarithmic,
    margin,
)
from compliance.pictures.canvas import INK, Ink, Pen, ellipsize
from compliance.pictures.fonts import SANS, normalise, width
from compliance.pictures.tracking import has_levels, tracking, tracking_note
from compliance.report.numbers import format_plain

NAME = SMALL - 0.4


def bar_plot(title: str) -> Plot:
    """The picture of the differences with this title."""

    def of(charts: Charts) -> Differences | None:
        return next((each for each in charts.differences if each.title == title), None)

    def note(charts: Charts) -> str:
        shown = of(charts)
        return _note(shown) if shown else ""

    def draw(
        pen: Pen, x: float, top: float, w: float, h: float, charts: Charts, group: Sequence[Charts]
    ) -> float:
        shown = of(charts)
        if shown is not None:
            _bars(pen, (x, top, w, h), shown, [one for one in map(of, group) if one is not None])
        return top - h

    greys = title.startswith("Greys")
    return Plot(
        title, note, lambda charts: of(charts) is not None, draw, 0.78, rank=0 if greys else 1
    )


def _note(shown: Differences) -> str:
    told = ["From the measured white."] * shown.from_white
    if any(bar.limit is not None for bar in shown.points):
        told.append("Thick lines: limits.")
    else:
        told.append("The rule sets no limit on this difference.")
    if any(bar.bound is not None for bar in shown.points):
        told.append("Thin lines: up to the 95\u00a0% bound.")
    if any(map(_over, shown.points)):
        told.append("Filled dark: over the limit.")
    return " ".join(told)


def _over(bar: DifferencePoint) -> bool:
    return bar.limit is not None and bar.value > bar.limit


def _bars(
    pen: Pen,
    box: tuple[float, float, float, float],
    shown: Differences,
    group: Sequence[Differences],
) -> None:
    """A bar per patch, named below; one over its limit is filled dark."""
    x, top, w, h = box
    up = _scale(shown.name, [bar for each in group for bar in each.points])
    left, names = margin(up), _names_height(group, w)
    across = Axis(0.0, float(len(shown.points)), ())
    frame = Frame(x + left, top - h + names, w - left - 2, h - HEAD - names, across, up)
    frame.draw(pen)
    slot = frame.w / len(shown.points)
    for index, bar in enumerate(shown.points):
        middle = frame.x + (index + 0.5) * slot
        _bar(pen, frame, bar, middle, min(slot * 0.68, 14.0))
        if bar.limit is not None:
            y = frame.spot(0.0, bar.limit)[1]
            for ink, weight in ((INK.PAPER, 2.4), (INK.TEXT, 1.0)):
                pen.line(middle - slot / 2, y, middle + slot / 2, y, ink=ink, weight=weight)
        if slot >= 6.0 or index % math.ceil(6.0 / slot) == 0:
            name = ellipsize(bar.name, SANS, NAME, names - 6)
            pen.turned(middle + 2.1, frame.y - 3.5, name, size=NAME, ink=INK.QUIET)


def _scale(name: str, bars: Sequence[DifferencePoint]) -> Axis:
    """From 0 to the highest of values, bounds and limits."""
    reach = [bar.value for bar in bars]
    reach += [bar.bound for bar in bars if bar.bound is not None]
    reach += [1.1 * bar.limit for bar in bars if bar.limit is not None]
    highest = max((value for value in reach if math.isfinite(value)), default=0.0)
    return linear(0.0, highest or 1.0, title=name, most=5)


def _bar(pen: Pen, frame: Frame, bar: DifferencePoint, middle: float, wide: float) -> None:
    if not math.isfinite(bar.value):
        return
    over = _over(bar)
    height = frame.h * min(1.0, frame.up.share(bar.value))
    ink: Ink = INK.PLUM if over else INK.QUIET
    fill = INK.PLUM if over else INK.HAIR
    pen.box(middle - wide / 2, frame.y, wide, max(height, 0.1), ink=ink, weight=0.5, fill=fill)
    if bar.bound is not None and math.isfinite(bar.bound):
        y = frame.spot(0.0, bar.bound)[1]
        pen.line(middle, frame.y + height, middle, y, ink=INK.TEXT, weight=0.5)
        pen.line(middle - wide / 4, y, middle + wide / 4, y, ink=INK.TEXT, weight=0.5)


def _names_height(group: Sequence[Differences], w: float) -> float:
    names = [bar.name for each in group for bar in each.points]
    longest = max((width(normalise(name), SANS, NAME) for name in names), default=0.0)
    return min(longest + 9, w * 0.26, 80.0)


INSET_SMALL = 5.8
SHARE = 0.43
"""Side of the inset over the diagram's height: it clears the triangles of all rules."""
INSET = 4.0
"""From the diagram's lower right corner."""
INSET_HEAD = 8.0
"""Height of the line above the inset that tells its scale."""
SIDES = (1.0, 1.2, 1.6, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
"""Lengths of a side, times a power of ten."""
LEAST = 0.004
"""The shortest side, Δu′v′."""


def draw_pair(pen: Pen, frame: Frame, target: Pair, measured: Pair, size: float = 1.5) -> None:
    """A target as a cross, its measured colour as a ring, a line between."""
    aim, seen = frame.spot(*target), frame.spot(*measured)
    pen.line(*aim, *seen, ink=INK.TEAL, weight=0.5)
    arm = size * 1.5
    pen.line(aim[0] - arm, aim[1], aim[0] + arm, aim[1], ink=INK.TEXT, weight=0.6)
    pen.line(aim[0], aim[1] - arm, aim[0], aim[1] + arm, ink=INK.TEXT, weight=0.6)
    pen.disc(*seen, size, ink=INK.TEAL, weight=0.8)


def draw_white(pen: Pen, frame: Frame, charts: Charts, group: Sequence[Charts]) -> None:
    """The surroundings of white in the corner where the diagram is empty.

    Shaded: the limit. Broken ellipse: holds the true white with 95 %. All of `group`
    are drawn to one scale.
    """
    target, measured = charts.target_white, charts.measured_white
    if target is None or measured is None:
        return
    side = SHARE * min(frame.w, frame.h)
    shown = _round_side(max([LEAST, *(2.2 * offset for offset in _offsets(group))]))
    reach = shown / 2
    lens = Frame(
        frame.x + frame.w - side - INSET,
        frame.y + INSET,
        side,
        side,
        Axis(target[0] - reach, target[0] + reach, ()),
        Axis(target[1] - reach, target[1] + reach, ()),
    )
    pen.box(lens.x, lens.y, side, side + INSET_HEAD, fill=INK.PAPER)
    pen.canvas.saveState()
    lens.clip(pen)
    limit = lens.spots(charts.white_limit)
    pen.path(limit, ink=INK.QUIET, weight=0.7, fill=INK.BAND, close=True)
    ellipse = lens.spots(charts.white_ellipse)
    pen.path(ellipse, ink=INK.TEXT, weight=0.8, dash=(2, 1.3), close=True)
    draw_pair(pen, lens, target, measured, 1.7)
    pen.canvas.restoreState()
    pen.box(lens.x, lens.y, side, side + INSET_HEAD, ink=INK.QUIET, weight=0.6)
    pen.line(lens.x, lens.y + side, lens.x + side, lens.y + side, ink=INK.QUIET, weight=0.4)
    told = ellipsize(f"side: Δu′v′ {format_plain(shown)}", SANS, INSET_SMALL, side - 3)
    pen.text(lens.x + side / 2, lens.y + side + 2.2, told, size=INSET_SMALL, align="centre")


def _round_side(least: float) -> float:
    """The first round length from `least` on."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(power * size for size in SIDES if power * size >= least * (1 - 1e-9))


def _offsets(group: Sequence[Charts]) -> Iterable[float]:
    """How far anything drawn lies from the target's white, along u' or v'."""
    for charts in group:
        if charts.target_white is None or charts.measured_white is None:
            continue
        u, v = charts.target_white
        for seen in (charts.measured_white, *charts.white_limit, *charts.white_ellipse):
            yield max(abs(seen[0] - u), abs(seen[1] - v))


def white_note(charts: Charts) -> str:
    """What the signs of the enlarged white mean, as far as they are there."""
    if charts.target_white is None or charts.measured_white is None:
        return ""
    parts = []
    if charts.white_limit:
        parts.append("shaded: limit")
    if charts.white_ellipse:
        parts.append("broken ellipse: holds the true white with 95\u00a0%")
    return f"Inset: white enlarged{''.join(f'; {part}' for part in parts)}."


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
        draw_pair(pen, frame, colour.target, colour.measured)
    if charts.target_white and charts.measured_white:
        draw_pair(pen, frame, charts.target_white, charts.measured_white)
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
