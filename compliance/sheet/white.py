"""White enlarged: measured against the target, its limit, and how sure the reading is."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from compliance.model import Charts, Pair
from compliance.sheet.axes import Axis, Frame
from compliance.sheet.fonts import SANS
from compliance.sheet.pen import Pen, fit
from compliance.sheet.style import INK
from compliance.wording import format_plain

__all__ = ["draw_white", "pair", "white_note"]

SMALL = 5.8
SHARE = 0.43
"""Side of the inset over the diagram's height: it clears the triangles of all rules."""
INSET = 4.0
"""From the diagram's lower right corner."""
HEAD = 8.0
"""Height of the line above the inset that tells its scale."""
SIDES = (1.0, 1.2, 1.6, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
"""Lengths of a side, times a power of ten."""
LEAST = 0.004
"""The shortest side, Δu′v′."""


def pair(pen: Pen, frame: Frame, target: Pair, measured: Pair, size: float = 1.5) -> None:
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
    pen.box(lens.x, lens.y, side, side + HEAD, fill=INK.PAPER)
    pen.canvas.saveState()
    lens.clip(pen)
    limit = lens.spots(charts.white_limit)
    pen.path(limit, ink=INK.QUIET, weight=0.7, fill=INK.BAND, close=True)
    ellipse = lens.spots(charts.white_ellipse)
    pen.path(ellipse, ink=INK.TEXT, weight=0.8, dash=(2, 1.3), close=True)
    pair(pen, lens, target, measured, 1.7)
    pen.canvas.restoreState()
    pen.box(lens.x, lens.y, side, side + HEAD, ink=INK.QUIET, weight=0.6)
    pen.line(lens.x, lens.y + side, lens.x + side, lens.y + side, ink=INK.QUIET, weight=0.4)
    told = fit(f"side: Δu′v′ {format_plain(shown)}", SANS, SMALL, side - 3)
    pen.text(lens.x + side / 2, lens.y + side + 2.2, told, size=SMALL, align="centre")


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
