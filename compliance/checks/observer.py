"""Readings of another observer: the 10° one moves blue, green and red in a way of its own."""

from __future__ import annotations

import numpy as np

from compliance.colorimetry import spaces
from compliance.grading.case import Case
from compliance.model import Remark
from compliance.wording import format_plain

__all__ = ["TEN_DEGREES", "observer"]

TEN_DEGREES = np.array(
    [
        (0.880, 0.088, 0.013),
        (0.004, 0.947, 0.039),
        (0.014, -0.031, 0.987),
    ]
)
"""XYZ of the CIE 1931 2° observer to those of the CIE 1964 10° observer, for the light of
displays: the mean over six sets of primaries from wide phosphors to lasers, each with its
white at D65 (computed with colour-science; `tests/checks/test_observer.py` does so again)."""

BLUE = 0.03
"""Δu'v' by which blue must be off its target."""
BETTER = 0.6
"""Share of the distance that may be left, over red, green and blue together."""
EACH = 0.7
"""The same of blue and of green alone."""


def observer(case: Case) -> Remark | None:
    """A remark where red, green and blue fit the target as the 10° observer sees it."""
    name = case.plan.hue_set()
    if name is None:
        return None
    planned = {patch.name: patch for patch in case.plan.patches(name)}
    found = [case.matcher.find(planned[hue]) for hue in ("red", "green", "blue")]
    index = [place for place in found if place is not None]
    if len(index) < 3:
        return None
    model = case.plan.model
    read = spaces.xyz_to_uv(case.view.xyz[index])
    target = model.from_target.T
    two = np.linalg.norm(read - spaces.xyz_to_uv(target), axis=-1)
    ten = np.linalg.norm(read - spaces.xyz_to_uv(target @ TEN_DEGREES.T), axis=-1)
    if two[2] < BLUE or np.linalg.norm(ten) > BETTER * np.linalg.norm(two):
        return None
    if not np.all(ten[1:] <= EACH * two[1:]):
        return None
    return Remark(
        "observer",
        f"Blue is Δu'v' {format_plain(round(float(two[2]), 3))} off its target, and red, green and "
        "blue together fit what the 10° observer of 1964 sees of it better than what the 2° "
        "observer of 1931 does: the meter may have been set to the 10° observer, and these rules "
        "are for the 2° one.",
    )
