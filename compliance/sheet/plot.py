"""A kind of picture, and the key under it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from compliance.model import Charts
from compliance.sheet.fonts import SANS
from compliance.sheet.pen import Pen, wrap
from compliance.sheet.style import INK

__all__ = ["SMALL", "Plot", "key_depth", "key_line"]

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
