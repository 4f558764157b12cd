"""Verdict marks: told by their shape first, by ink second.

Filled disc: pass. Disc filled on the left: conditional pass; on the right:
conditional fail. Barred ring: fail. Dotted ring: not assessed, undecided.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from compliance.model import Verdict
from compliance.sheet.pen import Pen
from compliance.sheet.style import INK, Ink

__all__ = ["draw_mark", "mark_ink"]

INKS: Mapping[Verdict, Ink] = {
    Verdict.PASS: INK.TEAL,
    Verdict.CONDITIONAL_PASS: INK.OCHRE,
    Verdict.CONDITIONAL_FAIL: INK.OCHRE,
    Verdict.FAIL: INK.PLUM,
    Verdict.NOT_ASSESSED: INK.GREY,
}


def mark_ink(verdict: Verdict) -> Ink:
    """The ink of a verdict's mark and word."""
    return INKS[verdict]


def draw_mark(pen: Pen, x: float, y: float, radius: float, verdict: Verdict) -> None:
    """The mark of `verdict` round (`x`, `y`)."""
    ink = INKS[verdict]
    weight = max(0.7, radius * 0.22)
    ring = radius - weight / 2
    if verdict is Verdict.PASS:
        pen.disc(x, y, radius, fill=ink)
    elif verdict is Verdict.NOT_ASSESSED:
        _dotted(pen, x, y, ring, weight, ink)
    elif verdict is Verdict.FAIL:
        pen.disc(x, y, ring, ink=ink, weight=weight)
        reach = ring * math.sqrt(0.5)
        pen.line(x - reach, y - reach, x + reach, y + reach, ink=ink, weight=weight)
    else:
        left = verdict is Verdict.CONDITIONAL_PASS
        pen.disc(x, y, ring, ink=ink, weight=weight)
        _half(pen, x, y, ring, left, ink)


def _dotted(pen: Pen, x: float, y: float, ring: float, weight: float, ink: Ink) -> None:
    count = 8 if ring < 6 else 16
    dot = weight * (0.62 if ring < 6 else 0.55)
    for step in range(count):
        angle = 2 * math.pi * (step + 0.5) / count
        pen.disc(x + ring * math.cos(angle), y + ring * math.sin(angle), dot, fill=ink)


def _half(pen: Pen, x: float, y: float, ring: float, left: bool, ink: Ink) -> None:
    start = math.pi / 2 if left else -math.pi / 2
    arc = [
        (
            x + ring * math.cos(start + math.pi * step / 24),
            y + ring * math.sin(start + math.pi * step / 24),
        )
        for step in range(25)
    ]
    pen.path(arc, fill=ink, close=True)
