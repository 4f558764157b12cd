"""The pictures: the chromaticity diagram, white enlarged, greys, differences as bars.

Each function takes the charts to show and all charts that share the scales, so that
before and after can be compared side by side.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from compliance.colour.chromaticity_diagram import LOCUS
from compliance.model import Pair
from compliance.pictures.axes import (
    BROKEN,
    FOOT,
    HEAD,
    Area,
    Axis,
    Frame,
    centred,
    linear,
    logarithmic,
)
from compliance.pictures.canvas import INK, Canvas, Style
from compliance.pictures.data import Charts, DifferencePoint, Differences, LevelPoint
from compliance.pictures.descriptions import (
    bars_key,
    bars_shown,
    gamut_key,
    gamut_shown,
    grey_balance_shown,
    tracking_key,
    tracking_shown,
)
from compliance.pictures.fonts import BOLD, SANS, ellipsize, normalise, width, wrap
from compliance.pictures.structure import Element, figure
from compliance.report.words.en import pictures as words

STRIP = 0.45
"""Share of the height for the deviation."""
GAP = 9.0


def draw_tracking(canvas: Canvas, area: Area, charts: Charts, group: Sequence[Charts]) -> float:
    """Draw measured luminance against the target, log-log, and the deviation below it."""
    shown = [level for each in group for level in each.drawable_levels]
    targets, measured = [level.target for level in shown], [level.measured for level in shown]
    low, high = min(targets), max(targets)
    across = logarithmic(low, high, title=words.TARGET_AXIS)
    up = logarithmic(min(low, *measured), max(high, *measured), title=words.MEASURED_AXIS)
    deviation = _deviation_axis(shown)
    margin = max(up.margin(), deviation.margin())
    left, wide, top = area.left + margin, area.width - margin - 2, area.top - HEAD
    room = area.height - HEAD - FOOT
    strip = room * STRIP
    above = room - strip - GAP
    upper = Frame(left, top - above, wide, above, across, up)
    lower = Frame(left, top - room, wide, strip, across, deviation)
    levels = charts.drawable_levels
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
    """The axis of deviation in %, around 0; far outliers are outside the frame."""
    widest = 5.0
    for level in levels:
        ends = [end for end in (level.low, level.high) if end is not None]
        widest = max([widest, *(abs(_percent(end, level)) for end in ends)])
        if ends or level.target >= 1:
            widest = max(widest, abs(_deviation(level)))
    return centred(min(widest * 1.1, 100.0), title=words.DEVIATION_AXIS)


def _draw_limits(
    canvas: Canvas,
    frame: Frame,
    levels: Sequence[LevelPoint],
    place: Callable[[float, float], float],
) -> None:
    """Draw the limits as areas, each level's reaching half-way to its neighbours.

    `place` gives the value to draw for a target and a limit as a share of it.
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
    """The range of each level, from half-way to the level before to half-way to the next."""
    targets = [level.target for level in levels]
    middles = [math.sqrt(target * following) for target, following in pairwise(targets)]
    return list(zip([targets[0], *middles], [*middles, targets[-1]], strict=True))


def _draw_guard_bands(canvas: Canvas, frame: Frame, levels: Sequence[LevelPoint]) -> None:
    """Draw the guard band inside the limits, darker, with a broken inner edge."""
    for level, (start, end) in zip(levels, _spans(levels), strict=True):
        for limit, guarded in level.guarded_limits:
            outer, inner = _percent(limit, level), _percent(guarded, level)
            corners = ((start, outer), (end, outer), (end, inner), (start, inner))
            canvas.polygon(frame.spots(corners), fill=INK.GUARD)
            edge = frame.spots(((start, inner), (end, inner)))
            canvas.polyline(edge, ink=INK.QUIET, weight=0.5, dash=(1.6, 1.2))


def _draw_wedges(canvas: Canvas, frame: Frame, levels: Sequence[LevelPoint]) -> None:
    """Draw a small wedge on the edge of the frame for each level beyond it."""
    for level in levels:
        deviation = _deviation(level)
        if frame.up.low <= deviation <= frame.up.high:
            continue
        above = deviation > frame.up.high
        x, y = frame.spot(level.target, frame.up.high if above else frame.up.low)
        base = y - 3.4 if above else y + 3.4
        wedge = [(x, y), (x - 2.2, base), (x + 2.2, base)]
        canvas.polygon(wedge, fill=INK.TEXT if level.within else INK.PLUM)


def _draw_levels(
    canvas: Canvas, frame: Frame, levels: Sequence[LevelPoint], value: Callable[[LevelPoint], float]
) -> None:
    """Draw measured levels joined by a line: dots, or barred rings outside their limits."""
    spots = frame.spots((level.target, value(level)) for level in levels)
    canvas.polyline(spots, ink=INK.TEXT, weight=0.9)
    for level, (x, y) in zip(levels, spots, strict=True):
        if level.within:
            canvas.disc(x, y, 1.5, fill=INK.TEXT)
        else:
            canvas.disc(x, y, 2.4, ink=INK.PLUM, weight=0.9, fill=INK.PAPER)
            canvas.line(x - 1.7, y - 1.7, x + 1.7, y + 1.7, ink=INK.PLUM, weight=0.9)


HEADING, HEADING_HEIGHT = 8.2, 15.0
KEY, KEY_LEADING, MOST_KEY_LINES = 7.2, 1.3, 4
NAME = 7.0


@dataclass(frozen=True, slots=True)
class Plot:
    """A kind of picture."""

    title: str
    key: Callable[[Charts], str]
    """The meaning of its signs."""
    shown: Callable[[Charts], str]
    """What it shows, in sentences."""
    has: Callable[[Charts], bool]
    draw: Callable[[Canvas, Area, Charts, Sequence[Charts]], float]
    """Draw charts on the scales of a group; returns the picture's lower end."""
    share: float = 1.0
    """Of the height of a row."""
    squat: float | None = None
    """Largest height over width that it can use."""
    rank: int = 0
    """Order if before and after are side by side."""

    def key_height(self, charts: Charts, measure: float) -> float:
        """Height of the key below a picture."""
        return 12.0 + KEY * KEY_LEADING * (len(self._key_lines(charts, measure)) - 1)

    def draw_with_key(
        self, canvas: Canvas, area: Area, title: str, charts: Charts, group: Sequence[Charts]
    ) -> None:
        """Draw title and picture in an area, and the key below it."""
        draw_title(canvas, area, title)
        room = area._replace(top=area.top - HEADING_HEIGHT, height=area.height - HEADING_HEIGHT)
        lines = self._key_lines(charts, area.width)
        low = area.top - area.height - 7 - KEY * KEY_LEADING * len(lines)
        corners = (area.left, low, area.left + area.width, room.top)
        with canvas.tagged(figure(self.shown(charts), corners)):
            y = self.draw(canvas, room, charts, group) - 7
            for line in lines:
                canvas.text(area.left, y, line, size=KEY, ink=INK.QUIET)
                y -= KEY * KEY_LEADING

    def _key_lines(self, charts: Charts, measure: float) -> list[str]:
        return wrap(self.key(charts), SANS, KEY, measure)[:MOST_KEY_LINES]


def draw_title(canvas: Canvas, area: Area, title: str) -> None:
    """Draw the title of a picture at the top of its area."""
    shown = ellipsize(title, BOLD, HEADING, area.width)
    with canvas.tagged(Element("H3", text=title)):
        canvas.text(area.left, area.top - 8, shown, face=BOLD, size=HEADING)


# ---------------------------------------------------------------- differences as bars


def _bars_title(shown: Differences) -> str:
    return words.bars_title(shown.name, greys=shown.patches == "greys")


def _bar_plot(example: Differences) -> Plot:
    """The picture of all differences with the same title."""
    title = _bars_title(example)

    def of(charts: Charts) -> Differences | None:
        return next((each for each in charts.differences if _bars_title(each) == title), None)

    def key(charts: Charts) -> str:
        shown = of(charts)
        return bars_key(shown) if shown else ""

    def told(charts: Charts) -> str:
        shown = of(charts)
        return bars_shown(shown) if shown else ""

    def draw(canvas: Canvas, area: Area, charts: Charts, group: Sequence[Charts]) -> float:
        shown = of(charts)
        if shown is not None:
            _draw_bars(canvas, area, shown, [each for each in map(of, group) if each is not None])
        return area.top - area.height

    rank = 0 if example.patches == "greys" else 1
    return Plot(title, key, told, lambda charts: of(charts) is not None, draw, 0.78, rank=rank)


def _draw_bars(
    canvas: Canvas, area: Area, shown: Differences, group: Sequence[Differences]
) -> None:
    """Draw a named bar for each patch; bars over their limit are filled dark."""
    bars = [bar for each in group for bar in each.points]
    names = _names_height(bars, area.width)
    across = Axis(0.0, float(len(shown.points)), ())
    frame = Frame.filling(area, across, _bars_axis(shown.name, bars), names)
    frame.draw(canvas)
    slot = frame.w / len(shown.points)
    for index, bar in enumerate(shown.points):
        middle = frame.x + (index + 0.5) * slot
        _draw_bar(canvas, frame, bar, middle, min(slot * 0.68, 14.0))
        if bar.limit is not None:
            y = frame.spot(0.0, bar.limit)[1]
            for ink, weight in ((INK.PAPER, 2.4), (INK.TEXT, 1.0)):
                canvas.line(middle - slot / 2, y, middle + slot / 2, y, ink=ink, weight=weight)
        if slot >= NAME or index % math.ceil(NAME / slot) == 0:
            name = ellipsize(bar.name, SANS, NAME, names - 6)
            with canvas.turned(middle + 2.1, frame.y - 3.5):
                canvas.text(0, 0, name, size=NAME, ink=INK.QUIET, align="right")


def _bars_axis(name: str, bars: Sequence[DifferencePoint]) -> Axis:
    """The axis from 0 to the largest of values, bounds and limits."""
    reach = [bar.value for bar in bars]
    reach += [bar.bound for bar in bars if bar.bound is not None]
    reach += [1.1 * bar.limit for bar in bars if bar.limit is not None]
    highest = max((value for value in reach if math.isfinite(value)), default=0.0)
    return linear(0.0, highest or 1.0, title=name, most=5)


def _draw_bar(
    canvas: Canvas, frame: Frame, bar: DifferencePoint, middle: float, wide: float
) -> None:
    if not math.isfinite(bar.value):
        return
    height = frame.h * min(1.0, frame.up.share(bar.value))
    style: Style = (
        {"ink": INK.PLUM, "fill": INK.PLUM}
        if bar.over_limit
        else {"ink": INK.QUIET, "fill": INK.HAIR}
    )
    canvas.box(middle - wide / 2, frame.y, wide, max(height, 0.1), **style)
    if bar.bound is not None and math.isfinite(bar.bound):
        y = frame.spot(0.0, bar.bound)[1]
        canvas.line(middle, frame.y + height, middle, y, ink=INK.TEXT)
        canvas.line(middle - wide / 4, y, middle + wide / 4, y, ink=INK.TEXT)


def _names_height(bars: Sequence[DifferencePoint], measure: float) -> float:
    longest = max((width(normalise(bar.name), SANS, NAME) for bar in bars), default=0.0)
    return min(longest + 9, measure * 0.26, 80.0)


# ---------------------------------------------------------------- white enlarged

INSET_TEXT = 7.0
INSET_SHARE = 0.43
"""Side of the inset as a share of the diagram's height: it is clear of all rules' triangles."""
INSET = 4.0
"""From the diagram's lower right corner."""
INSET_HEAD = 9.4
"""Height of the line above the inset that states its scale."""
SIDES = (1.0, 1.2, 1.6, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
"""Lengths of a side, times a power of ten."""
SHORTEST_SIDE = 0.004
"""Δu′v′"""


def _draw_pair(
    canvas: Canvas, frame: Frame, target: Pair, measured: Pair, radius: float = 1.5
) -> None:
    """Draw a target as a cross, its measured colour as a ring, and a line between them."""
    (x, y), ring = frame.spot(*target), frame.spot(*measured)
    canvas.line(x, y, *ring, ink=INK.TEAL)
    arm = radius * 1.5
    canvas.line(x - arm, y, x + arm, y, ink=INK.TEXT, weight=0.6)
    canvas.line(x, y - arm, x, y + arm, ink=INK.TEXT, weight=0.6)
    canvas.disc(*ring, radius, ink=INK.TEAL, weight=0.8)


def draw_white(canvas: Canvas, frame: Frame, charts: Charts, group: Sequence[Charts]) -> None:
    """Draw white enlarged, in the empty corner of the diagram.

    Shaded: the limit. Dashed ellipse: contains the true white with 95 %. All of `group`
    have the same scale.
    """
    target, measured = charts.target_white, charts.measured_white
    if target is None or measured is None:
        return
    side = INSET_SHARE * min(frame.w, frame.h)
    shown = _round_side(max([SHORTEST_SIDE, *(2.2 * offset for offset in _white_offsets(group))]))
    reach = shown / 2
    lens = Frame(
        frame.x + frame.w - side - INSET,
        frame.y + INSET,
        side,
        side,
        Axis(target[0] - reach, target[0] + reach, ()),
        Axis(target[1] - reach, target[1] + reach, ()),
    )
    canvas.box(lens.x, lens.y, side, side + INSET_HEAD, fill=INK.PAPER)
    with lens.clipped(canvas):
        limit, ellipse = lens.spots(charts.white_limit), lens.spots(charts.white_ellipse)
        canvas.polygon(limit, ink=INK.QUIET, weight=0.7, fill=INK.BAND)
        canvas.polygon(ellipse, ink=INK.TEXT, weight=0.8, dash=(2, 1.3))
        _draw_pair(canvas, lens, target, measured, 1.7)
    canvas.box(lens.x, lens.y, side, side + INSET_HEAD, ink=INK.QUIET, weight=0.6)
    base = lens.y + side
    canvas.line(lens.x, base, lens.x + side, base, ink=INK.QUIET, weight=0.4)
    scale = ellipsize(words.white_side(shown), SANS, INSET_TEXT, side - 3)
    canvas.text(lens.x + side / 2, base + 2.2, scale, size=INSET_TEXT, align="centre")


def _round_side(least: float) -> float:
    """The smallest round length of at least `least`."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(power * size for size in SIDES if power * size >= least * (1 - 1e-9))


def _white_offsets(group: Sequence[Charts]) -> Iterable[float]:
    """Distances of everything drawn from the target's white, along u' or v'."""
    for charts in group:
        if charts.target_white is None or charts.measured_white is None:
            continue
        u, v = charts.target_white
        for seen in (charts.measured_white, *charts.white_limit, *charts.white_ellipse):
            yield max(abs(seen[0] - u), abs(seen[1] - v))


# ---------------------------------------------------------------- gamut

TENTHS = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6)
GAMUT_ACROSS, GAMUT_UP = Axis(0.0, 0.65, TENTHS, title="u′"), Axis(0.0, 0.6, TENTHS, title="v′")


def _draw_gamut(canvas: Canvas, area: Area, charts: Charts, group: Sequence[Charts]) -> float:
    """Draw the u′v′ diagram: target and measured triangles, white, colours; white enlarged."""
    margin = GAMUT_UP.margin()
    across, up = GAMUT_ACROSS.high, GAMUT_UP.high
    scale = min((area.width - margin - 2) / across, (area.height - HEAD - FOOT) / up)
    wide, high = scale * across, scale * up
    left = area.left + margin + (area.width - margin - 2 - wide) / 2
    frame = Frame(left, area.top - HEAD - high, wide, high, GAMUT_ACROSS, GAMUT_UP)
    frame.draw(canvas)
    locus = [(float(u), float(v)) for u, v in LOCUS]
    canvas.polygon(frame.spots(locus), ink=INK.FAINT, weight=0.7, fill=INK.WASH)
    if charts.target_triangle:
        canvas.polygon(frame.spots(charts.target_triangle), ink=INK.TEXT, weight=0.8, dash=(3, 2))
    if charts.measured_triangle:
        canvas.polygon(frame.spots(charts.measured_triangle), ink=INK.TEAL, weight=1.2)
    for colour in charts.colours:
        _draw_pair(canvas, frame, colour.target, colour.measured)
    if charts.target_white and charts.measured_white:
        _draw_pair(canvas, frame, charts.target_white, charts.measured_white)
        draw_white(canvas, frame, charts, group)
    return frame.y - FOOT


def _has_gamut(charts: Charts) -> bool:
    return bool(charts.measured_triangle or charts.measured_white or charts.colours)


# ---------------------------------------------------------------- grey balance


def _draw_grey_balance(
    canvas: Canvas, area: Area, charts: Charts, group: Sequence[Charts]
) -> float:
    """Draw offsets of the neutrals from the measured white, over the target's luminance."""
    greys = [grey for each in group for grey in each.drawable_greys]
    low, high = min(grey.target for grey in greys), max(grey.target for grey in greys)
    widest = max(0.002, *(abs(offset) for grey in greys for offset in (grey.du, grey.dv)))
    across = logarithmic(low, high, title=words.TARGET_AXIS)
    up = centred(widest * 1.1, title=words.FROM_WHITE_AXIS, most=7)
    frame = Frame.filling(area, across, up)
    frame.draw(canvas)
    frame.draw_zero(canvas)
    shown = charts.drawable_greys
    dots = frame.spots((grey.target, grey.du) for grey in shown)
    squares = frame.spots((grey.target, grey.dv) for grey in shown)
    canvas.polyline(dots, ink=INK.PLUM, weight=0.9)
    canvas.polyline(squares, ink=INK.TEAL, weight=0.9, dash=(3, 1.5))
    for x, y in dots:
        canvas.disc(x, y, 1.6, fill=INK.PLUM)
    for x, y in squares:
        canvas.box(x - 1.6, y - 1.6, 3.2, 3.2, ink=INK.TEAL, weight=0.8, fill=INK.PAPER)
    return area.top - area.height


# ---------------------------------------------------------------- all of them

PLOTS = (
    Plot(
        words.TRACKING,
        tracking_key,
        tracking_shown,
        lambda charts: len(charts.drawable_levels) > 1,
        draw_tracking,
    ),
    Plot(
        words.GAMUT,
        gamut_key,
        gamut_shown,
        _has_gamut,
        _draw_gamut,
        squat=0.98,
        rank=1,
    ),
    Plot(
        words.GREY_BALANCE,
        lambda _: words.GREY_BALANCE_KEY,
        grey_balance_shown,
        lambda charts: len(charts.drawable_greys) > 1,
        _draw_grey_balance,
        0.78,
    ),
)
"""The pictures of every sheet; the bars of differences follow them."""


def plots_of(group: Sequence[Charts]) -> list[Plot]:
    """The pictures with something to draw, in order."""
    bars = {_bars_title(each): each for charts in group for each in charts.differences}
    plots = (*PLOTS, *map(_bar_plot, bars.values()))
    return [plot for plot in plots if any(map(plot.has, group))]
