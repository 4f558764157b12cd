"""One slot's readings laid out against one rule: everything a requirement is judged on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from compliance.matching import Matcher, Patches, distinct_patches
from compliance.model import CHROMATICITY_FLOOR, Meter, Readings, Rule
from compliance.patches import Plan, default_pattern
from compliance.quantities.view import NOWHERE, Array, Index, View

__all__ = ["Case", "Stated", "lay_out"]


class Stated(NamedTuple):
    """What the job states and no reading shows."""

    technology: str | None = None
    recorded: Mapping[str, float | None] = {}
    """Fields of `quantities.table.RECORDED_FIELDS`; None where not stated."""
    declared: Mapping[str, float] = {}


@dataclass(frozen=True)
class Case:
    """Rule, readings, meter and job of one assessment, matched."""

    rule: Rule
    plan: Plan
    patches: Patches
    matcher: Matcher
    view: View
    lowest: float
    """cd/m² the meter can tell from dark; 0 without a meter"""
    chromaticity_floor: float
    stated: Stated
    deviation: Array
    """(R,) stated deviation of each reading's Y in %, canonical order; NaN if not stated"""

    def built_in(self, name: str) -> int | None:
        """Patch index of the rule's own `white`, `black` or `peak`; None where it was not read."""
        return self.matcher.find(self.plan.patches(name)[0])

    def black_for(self, index: int) -> int:
        """Patch index of the black that goes with a patch, or `NOWHERE`."""
        return int(self.view.black[index])

    def dark_floor(self, index: int) -> float:
        """cd/m² of nominal target below which luminance error and ΔE ITP are not judged."""
        if self.plan.model.curve != "pq":
            return max(0.1, self.lowest)
        black = self.black_for(index)
        dark = 0.0 if black == NOWHERE else float(self.view.measured_black(np.array([index]))[0])
        return max(0.05, 10 * dark, 3 * self.lowest)


def lay_out(
    rule: Rule, readings: Readings, *, meter: Meter | None = None, stated: Stated | None = None
) -> Case:
    """Match readings to the rule; RuleError where the encoding does not suit the target."""
    plan = Plan(rule, readings.encoding)
    patches = distinct_patches(readings, plan)
    matcher = Matcher(plan, patches)
    lowest = meter.lowest if meter else 0.0
    return Case(
        rule=rule,
        plan=plan,
        patches=patches,
        matcher=matcher,
        view=_view(plan, patches, matcher, readings, lowest),
        lowest=lowest,
        chromaticity_floor=meter.chromaticity_floor if meter else CHROMATICITY_FLOOR,
        stated=stated or Stated(),
        deviation=readings.deviation[patches.order],
    )


def _view(
    plan: Plan, patches: Patches, matcher: Matcher, readings: Readings, lowest: float
) -> View:
    ordered = readings.xyz[patches.order]
    xyz = patches.mean(ordered)
    black = _index(_black(plan, matcher, patches, patch) for patch in range(len(patches)))
    return View(
        xyz=xyz,
        readings=ordered,
        rows=patches.rows,
        model=plan.model,
        signal=patches.signal,
        level=patches.level,
        white=_index(_white(matcher, patches, patch) for patch in range(len(patches))),
        black=black,
        centre=_index(patches.like(patch, position="centre") for patch in range(len(patches))),
        start=_index(patches.like(patch, seconds=0.0) for patch in range(len(patches))),
        black_is_zero=(black != NOWHERE) & (xyz[black, 1] < lowest),
        zero_black=0.0,
    )


def _index(found: Iterable[int | None]) -> Index:
    return np.array([NOWHERE if one is None else one for one in found], dtype=np.int64)


def _white(matcher: Matcher, patches: Patches, patch: int) -> int | None:
    there = patches.stimulus[patch]
    return matcher.built_in("white", window=there.window, pattern=default_pattern(there.window))


def _black(plan: Plan, matcher: Matcher, patches: Patches, patch: int) -> int | None:
    for window in (patches.stimulus[patch].window, plan.rule.window):
        found = matcher.built_in("black", window=window, pattern=default_pattern(window))
        if found is not None:
            return found
    return None
