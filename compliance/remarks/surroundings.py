"""What was around a patch: background, area, room light; and another encoding."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from compliance.errors import RuleError
from compliance.grading.match import (
    Along,
    MatchedReadings,
    Matcher,
    distinct_patches,
    groups_differing_only_in,
)
from compliance.grading.patches import Plan
from compliance.model import ENCODINGS, Encoding, Job, Readings, ReadingsEntry, Remark


def background(case: MatchedReadings) -> Remark | None:
    """A remark where patches differ in nothing but what was around them."""
    several = groups_differing_only_in(case, "background")
    if not several:
        return None
    names = sorted({case.patches.stimulus[index].background for each in several for index in each})
    return Remark("backgrounds", {"patches": len(several), "names": tuple(names)})


LEAST = 0.03
"""Share of its luminance that a patch must lose (practice)."""
LIT = 5.0
"""cd/m² below which no patch is looked at."""


def dimming(case: MatchedReadings, along: Along) -> Remark | None:
    """A remark on the patch that loses most light from where it is brightest to what is larger,
    or shown for longer."""
    most, pair = 0.0, None
    for group in groups_differing_only_in(case, along):
        level = case.view.xyz[group, 1]
        first = int(np.argmax(level))
        last = first + int(np.argmin(level[first:]))
        lost = float(level[first] - level[last])
        if level[first] >= LIT and lost > max(most, LEAST * level[first]):
            most, pair = lost, (group[first], group[last])
    if pair is None:
        return None
    places = (float(getattr(case.patches.stimulus[index], along)) for index in pair)
    luminances = (float(case.view.xyz[index, 1]) for index in pair)
    return Remark(
        "dimmed-by-area" if along == "window" else "dimmed-in-time",
        {"luminances": tuple(luminances), "places": tuple(places), "lost": most},
    )


FEW = 0.5
"""Share of the rule's patches that is found, above which nothing is said."""
HARDLY = 0.1
"""Share that is found of a rule's patches where others were measured."""
MOST = 0.9
"""Share that another encoding must find."""


def encoding(case: MatchedReadings, readings: Readings) -> Remark | None:
    """A remark where most patches are missing, and are there if the codes are read otherwise."""
    here, every = _found(case.matcher)
    if here > FEW * every:
        return None
    others = {name: _found_in(case, readings, other) for name, other in ENCODINGS.items()}
    best = max(others, key=lambda name: others[name])
    if others[best] < MOST * every:
        return _of_another_plan(here, every, len(case.patches))
    return Remark(
        "encoding",
        {
            "every": every,
            "found": here,
            "encoding": readings.encoding.name,
            "found_then": others[best],
            "other": best,
        },
    )


def _of_another_plan(here: int, every: int, read: int) -> Remark | None:
    """A remark where hardly any of the rule's patches is there, and much that is none of them."""
    if here > HARDLY * every or read <= 2 * here:
        return None
    return Remark("other-plan", {"every": every, "found": here})


def _found_in(case: MatchedReadings, readings: Readings, other: Encoding) -> int:
    """How many of the rule's patches there are if the codes are in another encoding."""
    if other == readings.encoding or readings.codes.max(initial=0) > other.top:
        return 0
    try:
        plan = Plan(case.rule, other)
    except RuleError:  # X'Y'Z' codes for a rule that takes RGB
        return 0
    count, _ = _found(Matcher(plan, distinct_patches(replace(readings, encoding=other), plan)))
    return count


def _found(matcher: Matcher) -> tuple[int, int]:
    """How many of the patches in the rule's sets are among the readings, and of how many."""
    plan = matcher.plan
    names = ("white", "black", *plan.rule.sets)
    patches = [patch for name in names for patch in plan.patches(name)]
    return sum(matcher.find(patch) is not None for patch in patches), len(patches)


SCREEN = (0.01, 0.04)
"""Share of the light falling on a screen that it sends back (practice)."""
PROJECTION = (0.8, 1.0)
"""The same of a projection screen (practice)."""
WEIGHT = 0.3
"""Share of the black reading from which that light matters."""
LIGHTLESS = ("oled", "led")
"""Kinds of displays whose black gives no light."""
GLOW = 0.005
"""cd/m² that a lightless black may read."""
OFF = ("off", "dark", "none", "no", "0")
CONTACT = ("contact", "hood", "shroud")


def ambient(case: MatchedReadings, job: Job | None, entry: ReadingsEntry | None) -> Remark | None:
    """A remark where what the room sends back, or light from elsewhere, is in the black."""
    black = case.luminance("black")
    if black is None or black <= 0 or black < case.lowest:
        return None
    technology = case.stated.technology
    stated = (entry.ambient or "").strip().lower() if entry else ""
    close = any(word in (entry.geometry or "").lower() for word in CONTACT) if entry else False
    light = job.room.ambient if job else None
    if light and stated not in OFF and not close:
        shares = PROJECTION if technology == "projector" else SCREEN
        low, high = (light * share / math.pi for share in shares)
        if WEIGHT * black <= low <= black:  # a darker black was read without that light
            return Remark(
                "ambient-light",
                {
                    "black": black,
                    "ambient": light,
                    "stated_on": bool(stated),
                    "lowest": low,
                    "highest": high,
                },
                variant="room",
            )
    if technology in LIGHTLESS and black > max(GLOW, ABOVE_FLOOR * case.lowest):
        return Remark("ambient-light", {"black": black}, variant="glow")
    return None


ABOVE_FLOOR = 3.0
"""Times what the meter can tell from dark."""


def black_unmeasured(case: MatchedReadings) -> Remark | None:
    """A remark where a black reads no light at all, on a display that may give some."""
    black = case.luminance("black")
    if black is None or black > 0 or case.stated.technology in LIGHTLESS:
        return None
    return Remark("black-unseen")
