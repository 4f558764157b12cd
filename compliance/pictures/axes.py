"""A picture's frame: scales, ticks, grid, titles."""

from __future__ import annotations

import math
from collections.abc import Iterable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import NamedTuple

from compliance.pictures.canvas import INK, Canvas, Spot, Style
from compliance.pictures.fonts import SANS, width
from compliance.report.numbers import format_plain

TICK = 7.0
"""Size of tick labels."""
TITLE = TICK + 0.4
FOOT = 24.0
"""Space below a frame for tick labels and title."""
HEAD = 3.0
"""Space above it."""
BROKEN: Style = {"ink": INK.TEXT, "weight": 0.6, "dash": (2, 2)}
"""The line of ideal values."""


class Area(NamedTuple):
    """The space for a picture, in points; `top` is measured from the page's lower edge."""

    left: float
    top: float
    width: float
    height: float


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

    def labels(self) -> tuple[tuple[float, str], ...]:
        """The ticks with their labels."""
        return tuple((tick, format_plain(tick)) for tick in self.ticks)

    def margin(self) -> float:
        """Space left of a frame for tick labels and title, if this is its upright axis."""
        widest = max((width(text, SANS, TICK) for _, text in self.labels()), default=0.0)
        return widest + 5 + (12 if self.title else 0)


def nice_step(span: float, most: int) -> float:
    """A step of 1, 2 or 5 times a power of ten that divides `span` into at most `most` parts."""
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
    """A logarithmic axis with ends near the values and ticks at whole decades."""
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

    @classmethod
    def filling(cls, area: Area, across: Axis, up: Axis, foot: float = FOOT) -> Frame:
        """The frame that fills an area except for the labels, with `foot` below it."""
        left, top, wide, high = area
        margin = up.margin()
        return cls(
            left + margin, top - high + foot, wide - margin - 2, high - HEAD - foot, across, up
        )

    def spot(self, across: float, up: float) -> Spot:
        """The place of a pair of values on the page."""
        return (
            self.x + self.w * self.across.share(across),
            self.y + self.h * self.up.share(up),
        )

    def spots(self, pairs: Iterable[tuple[float, float]]) -> list[Spot]:
        """The places of several pairs."""
        return [self.spot(across, up) for across, up in pairs]

    def clipped(self, canvas: Canvas) -> AbstractContextManager[None]:
        """Clip everything drawn in the context to the frame."""
        return canvas.clipped(self.x, self.y, self.w, self.h)

    def draw(self, canvas: Canvas, *, label_across: bool = True) -> None:
        """Draw grid, border, tick labels and titles."""
        self._draw_grid(canvas)
        canvas.box(self.x, self.y, self.w, self.h, ink=INK.QUIET, weight=0.6)
        for tick, text in self.up.labels():
            y = self.spot(self.across.low, tick)[1]
            canvas.text(
                self.x - 3.5, y - TICK * 0.36, text, size=TICK, ink=INK.QUIET, align="right"
            )
        if label_across:
            for tick, text in self.across.labels():
                x = self.spot(tick, self.up.low)[0]
                canvas.text(x, self.y - 9, text, size=TICK, ink=INK.QUIET, align="centre")
            if self.across.title:
                middle = self.x + self.w / 2
                canvas.text(middle, self.y - 18, self.across.title, size=TITLE, align="centre")
        if self.up.title:
            with canvas.turned(self.x - self.up.margin() + 7, self.y + self.h / 2):
                canvas.text(0, 0, self.up.title, size=TITLE, align="centre")

    def _draw_grid(self, canvas: Canvas) -> None:
        for tick in self.across.ticks:
            x = self.spot(tick, self.up.low)[0]
            canvas.line(x, self.y, x, self.y + self.h, weight=0.35)
        for tick in self.up.ticks:
            y = self.spot(self.across.low, tick)[1]
            canvas.line(self.x, y, self.x + self.w, y, weight=0.35)

    def draw_zero(self, canvas: Canvas) -> None:
        """Draw the broken line at 0 of the upright axis."""
        ends = self.across.low, self.across.high
        canvas.polyline(self.spots((end, 0.0) for end in ends), **BROKEN)
