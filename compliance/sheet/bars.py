"""Differences by patch as bars, each with its limit and how far the true value may reach."""

from __future__ import annotations

import math
from collections.abc import Sequence

from compliance.model import Charts, DifferencePoint, Differences
from compliance.sheet.axes import HEAD, Axis, Frame, linear, margin
from compliance.sheet.fonts import SANS, clean, width
from compliance.sheet.pen import Pen, fit
from compliance.sheet.plot import SMALL, Plot
from compliance.sheet.style import INK, Ink

__all__ = ["bar_plot"]

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
            name = fit(bar.name, SANS, NAME, names - 6)
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
    longest = max((width(clean(name), SANS, NAME) for name in names), default=0.0)
    return min(longest + 9, w * 0.26, 80.0)
