"""Patches that are darker over a larger area or after a while, whether the rule asks or not."""

from __future__ import annotations

import numpy as np

from compliance.grading.alike import Along, alike
from compliance.grading.case import Case
from compliance.model import Remark
from compliance.wording import format_plain, shown_words

__all__ = ["dimming"]

LEAST = 0.03
"""Share of its luminance that a patch must lose (practice)."""
LIT = 5.0
"""cd/m² below which no patch is looked at."""


def dimming(case: Case, along: Along) -> Remark | None:
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


def _told(case: Case, index: int, along: Along) -> str:
    size = format_plain(getattr(case.patches.stimulus[index], along))
    return f"{case.view.xyz[index, 1]:.4g}\u00a0cd/m² {shown_words(along, size)}"
