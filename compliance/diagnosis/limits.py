"""A luminance limiter: one stimulus that is darker over a larger area or after a while."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from compliance.diagnosis.told import number, percent, plain_cause
from compliance.grading.alike import Along, alike
from compliance.grading.case import Case
from compliance.model import Cause
from compliance.wording import shown_words

__all__ = ["Limiter", "find_limiters", "tell_limiter"]

ALONG: tuple[Along, ...] = ("window", "seconds")
LEAST = 0.05
"""Share of its luminance that a stimulus must lose."""
SAME = 0.02
"""Share within which two luminances are one."""
LIT = 1.0
"""cd/m² below which no stimulus is looked at."""


class Limiter(NamedTuple):
    """The stimulus that loses most, by what it is shown with."""

    along: Along
    places: tuple[float, ...]
    """% of area, or s"""
    luminance: tuple[float, ...]
    """cd/m²"""
    patches: frozenset[int]
    """Patches of the case that are dimmed."""
    cap: float
    """cd/m² that nothing exceeds at the rule's window; infinite if that is not dimmed"""

    @property
    def lost(self) -> float:
        return 1 - min(self.luminance) / max(self.luminance)


def find_limiters(case: Case) -> tuple[Limiter, ...]:
    """By area and by time, the stimulus that is dimmed most, where one loses enough, ever more
    from where it is brightest."""
    found = (_most(case, along) for along in ALONG)
    return tuple(limiter for limiter in found if limiter is not None)


def _most(case: Case, along: Along) -> Limiter | None:
    found = []
    for group in alike(case, along):
        stimulus = case.patches.stimulus[group[0]]
        if stimulus.position != "centre" or stimulus.pattern == "checkerboard":
            continue
        if (limiter := _of(case, along, group)) is not None:
            found.append(limiter)
    return max(found, key=lambda one: one.lost, default=None)


def _of(case: Case, along: Along, group: list[int]) -> Limiter | None:
    group = group[int(np.argmax(case.view.xyz[group, 1])) :]
    level = case.view.xyz[group, 1]
    brightest = level[0]
    if len(group) < 2 or brightest < LIT:
        return None
    falls = np.all(np.diff(level) <= SAME * brightest)
    if not falls or 1 - level[-1] / brightest < LEAST:
        return None
    places = [float(getattr(case.patches.stimulus[index], along)) for index in group]
    dimmed = level < (1 - SAME) * brightest
    cap = np.inf
    for place, luminance, low in zip(places, level, dimmed, strict=True):
        if along == "window" and low and abs(place - case.rule.window) <= 1e-6:
            cap = float(luminance)
    return Limiter(
        along,
        tuple(places),
        tuple(float(value) for value in level),
        frozenset(index for index, low in zip(group, dimmed, strict=True) if low),
        cap,
    )


class _Words(NamedTuple):
    """How what is lost along one thing is told."""

    kind: str
    title: str
    """With the share that is lost in place of {}."""
    next_step: str


WORDS: Mapping[str, _Words] = {
    "window": _Words(
        "limiter",
        "A limiter takes {} of the light on larger areas",
        "Switch off the display's power or brightness limiter if it lets you, measure at the "
        "window that the rule asks for, and lower the slot's peak until it holds.",
    ),
    "seconds": _Words(
        "sag",
        "The light falls by {} while a patch is shown",
        "Switch off the display's power or static-picture limiter if it lets you, let it cool, "
        "and lower the slot's peak until it holds.",
    ),
}


def tell_limiter(limiter: Limiter) -> Cause:
    """The limiter in words and numbers."""
    words = WORDS[limiter.along]
    places = [shown_words(limiter.along, number(place)) for place in limiter.places]
    pairs = list(zip(places, limiter.luminance, strict=True))
    told = ", ".join(f"{number(luminance)}\u00a0cd/m² {place}" for place, luminance in pairs)
    return plain_cause(
        words.kind,
        words.title.format(percent(limiter.lost)),
        f"The same signal reads {told}.",
        words.next_step,
        *(
            (f"luminance {place}".replace("\u00a0", " "), luminance, "cd/m²")
            for place, luminance in pairs
        ),
    )
