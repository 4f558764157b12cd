"""A chart's frame: scales, ticks, grid, titles, and the key under it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from compliance.model import Charts
from compliance.pictures.canvas import INK, Pen, wrap
from compliance.pictures.fonts import SANS, width
from compliance.report.numbers import format_plain

TICK = 6.4
FOOT = 24.0
"""Room under a frame for tick labels and title."""
HEAD = 3.0
"""Room above it."""
Spot = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Axis:
    """A scale with its ticks."""

    low: float
    high: float
    ticks: tuple[float, ...]
    log: bool = False
    title: str = ""

    def share(self, value: float) -> float:
        """Place of `value` from 0 at the low end to 1 at the high end."""
        if self.log:
            low, high = math.log10(self.low), math.log10(self.high)
            return (math.log10(value) - low) / (high - low)
        return (value - self.low) / (self.high - self.low)

    def labels(self) -> tuple[str, ...]:
        """The ticks as print."""
        return tuple(format_plain(tick) for tick in self.ticks)


def nice_step(span: float, most: int) -> float:
    """A step of 1, 2 or 5 times a power of ten that cuts `span` into at most `most`."""
    raw = span / most
    power = 10.0 ** math.floor(math.log10(raw))
    for factor in (1.0, 2.0, 5.0, 10.0):
        if factor * power >= raw * (1 - 1e-9):
            return factor * power
    return 10 * power


def linear(low: float, high: float, *, title: str = "", most: int = 6) -> Axis:
    """A linear axis over at least `low` to `high`, ends on ticks."""
    if high <= low:
        high = low + 1
    step = nice_step(high - low, most)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    ticks = tuple(round(index * step, 12) for index in range(first, last + 1))
    return Axis(ticks[0], ticks[-1], ticks, title=title)


def centred(widest: float, *, title: str = "", most: int = 5) -> Axis:
    """A linear axis from -`widest` to `widest` with ticks inside, one at 0."""
    step = nice_step(2 * widest, most)
    count = math.floor(widest / step + 1e-9)
    ticks = tuple(round(index * step, 12) for index in range(-count, count + 1))
    return Axis(-widest, widest, ticks, title=title)


def logarithmic(low: float, high: float, *, title: str = "") -> Axis:
    """A logarithmic axis whose ends follow the values, with ticks at whole decades."""
    low, high = low / 1.25, high * 1.25
    first, last = math.ceil(math.log10(low) - 1e-9), math.floor(math.log10(high) + 1e-9)
    decades = [10.0**power for power in range(first, last + 1)]
    if len(decades) < 2:
        first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
        decades = [10.0**power for power in range(first, last + 1)]
        low, high = decades[0], decades[-1]
    return Axis(low, high, tuple(decades), log=True, title=title)


@dataclass(frozen=True, slots=True)
class Frame:
    """A plotting area between two axes."""

    x: float
    y: float
    w: float
    h: float
    across: Axis
    up: Axis

    def spot(self, across: float, up: float) -> Spot:
        """The place of a pair of values on the page."""
        return (
            self.x + self.w * self.across.share(across),
            self.y + self.h * self.up.share(up),
        )

    def spots(self, pairs: Iterable[tuple[float, float]]) -> list[Spot]:
        """The places of several pairs."""
        return [self.spot(across, up) for across, up in pairs]

    def holds(self, across: float, up: float) -> bool:
        """Whether a pair lies inside the frame."""
        return self.across.low <= across <= self.across.high and self.up.low <= up <= self.up.high

    def draw(self, pen: Pen, *, label_across: bool = True) -> None:
        """Grid, border, tick labels and titles."""
        self._grid(pen)
        pen.box(self.x, self.y, self.w, self.h, ink=INK.QUIET, weight=0.6)
        for tick, text in zip(self.up.ticks, self.up.labels(), strict=True):
            y = self.spot(self.across.low, tick)[1]
            pen.text(self.x - 3.5, y - TICK * 0.36, text, size=TICK, ink=INK.QUIET, align="right")
        if label_across:
            for tick, text in zip(self.across.ticks, self.across.labels(), strict=True):
                x = self.spot(tick, self.up.low)[0]
                pen.text(x, self.y - 9, text, size=TICK, ink=INK.QUIET, align="centre")
            if self.across.title:
                middle = self.x + self.w / 2
                title = self.across.title
                pen.text(middle, self.y - 18, title, size=TICK + 0.4, align="centre")
        if self.up.title:
            self._up_title(pen)

    def _up_title(self, pen: Pen) -> None:
        pen.canvas.saveState()
        pen.canvas.translate(self.x - margin(self.up) + 7, self.y + self.h / 2)
        pen.canvas.rotate(90)
        pen.text(0, 0, self.up.title, size=TICK + 0.4, align="centre")
        pen.canvas.restoreState()

    def _grid(self, pen: Pen) -> None:
        for tick in self.across.ticks:
            x = self.spot(tick, self.up.low)[0]
            pen.line(x, self.y, x, self.y + self.h, weight=0.35)
        for tick in self.up.ticks:
            y = self.spot(self.across.low, tick)[1]
            pen.line(self.x, y, self.x + self.w, y, weight=0.35)

    def clip(self, pen: Pen) -> None:
        """Keep what follows inside the frame, until the canvas's state is restored."""
        path = pen.canvas.beginPath()
        path.rect(self.x, self.y, self.w, self.h)
        pen.canvas.clipPath(path, stroke=0, fill=0)


def margin(axis: Axis) -> float:
    """Room left of a frame for the tick labels and the title of its upright axis."""
    widest = max((width(text, "SheetSans", TICK) for text in axis.labels()), default=0.0)
    return widest + 5 + (12 if axis.title else 0)


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


def key_line(pen: Pen, x: float, y: float, plot: Plot, charts: Charts, measure: float) -> None:
    """What the signs of a picture mean, under it."""
    for line in wrap(plot.note(charts), SANS, SMALL, measure)[:MOST_KEY]:
        pen.text(x, y, line, size=SMALL, ink=INK.QUIET)
        y -= SMALL * KEY_LEADING


def key_depth(plot: Plot, charts: Charts, measure: float) -> float:
    """Height that the key takes below a picture."""
    lines = len(wrap(plot.note(charts), SANS, SMALL, measure)[:MOST_KEY])
    return 12.0 + SMALL * KEY_LEADING * (lines - 1)
