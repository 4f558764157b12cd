"""Patches that are darker over a larger area or after a while, whether the rule asks or not."""

from __future__ import annotations

from typing import Literal

import numpy as np

from compliance.grading.alike import alike
from compliance.grading.case import Case
from compliance.model import Remark
from compliance.wording import format_plain

__all__ = ["dimming"]

LEAST = 0.03
"""Share of its luminance that a patch must lose (practice)."""
LIT = 5.0
"""cd/m² below which no patch is looked at."""
UNITS = {"window": "% of the screen", "seconds": "s"}


def dimming(case: Case, along: Literal["window", "seconds"]) -> Remark | None:
    """A remark on the patch that loses most light from where it is brightest to what is larger,
    or shown for longer."""
    most, pair = 0.0, None
    for group in alike(case, along):
        level = case.view.xyz[group, 1]
        first = int(np.argmax(level))
        last = first + int(np.argmin(level[first:]))
        lost = float(level[first] - level[last])
        if level[first] >= LIT and lost > max(most, LEAST * level[first]):
            most, pair = lost, (group[first], group[last])
    if pair is None:
        return None
    before, after = (_told(case, index, along) for index in pair)
    share = 100 * most / case.view.xyz[pair[0], 1]
    return Remark(
        "dimmed-by-area" if along == "window" else "dimmed-in-time",
        f"The same patch reads {before} and {after}: {share:.0f}\u00a0% less.",
    )


def _told(case: Case, index: int, along: str) -> str:
    luminance, place = case.view.xyz[index, 1], getattr(case.patches.stimulus[index], along)
    where = f"at {format_plain(place)}\u00a0{UNITS[along]}"
    if along == "seconds":
        where = f"after {format_plain(place)}\u00a0s" if place else "at once"
    return f"{luminance:.4g}\u00a0cd/m² {where}"
