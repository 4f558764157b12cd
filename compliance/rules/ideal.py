"""Limits that a display which is exactly the rule's target would miss."""

from __future__ import annotations

from collections.abc import Iterator

from compliance.documents import flow
from compliance.model import Limits, Requirement, Rule
from compliance.quantities.table import QUANTITIES
from compliance.rules.places import Path, Places

__all__ = ["check_ideal"]

ZERO = ("non-uniformity", "additivity", "stability")
"""Quantities, besides distances and errors, that are 0 on a display as it should be."""


def check_ideal(requirement: Requirement, rule: Rule, places: Places, path: Path) -> None:
    """A display that is exactly the target may not fail by that."""
    ideal = _ideal(requirement, rule)
    if ideal is None:
        return
    value, what = ideal
    for key, limits in _stated_limits(requirement):
        if not _within(value, limits):
            places.problem(
                (*path, *key),
                f"leave out {flow(round(value, 4))}, which is what {what} gives; "
                "nothing that follows the target can meet them",
            )
            return


def _ideal(requirement: Requirement, rule: Rule) -> tuple[float, str] | None:
    """The value on a display that is the target, where it is known beforehand."""
    quantity, target, over = QUANTITIES[requirement.quantity], rule.target, requirement.over
    if requirement.statistic not in ("each", "mean", "percentile"):
        return None
    if quantity.name == "luminance" and over is not None:
        if over.patches == ("white",):
            return target.luminance_white, "the target's white"
        if over.patches == ("peak",):
            return target.luminance_peak, "the target's peak"
        return None
    if quantity.name == "fitted-exponent":
        exponent = target.system_gamma or target.exponent or 2.4
        return exponent, "the target's curve"
    if quantity.name == "gamut-coverage":
        return 100.0, "the target's own gamut"
    if quantity.distance or quantity.name in ZERO or quantity.name == "luminance-error":
        return 0.0, "a display that is the target"
    return None


def _stated_limits(requirement: Requirement) -> Iterator[tuple[Path, Limits]]:
    if requirement.limits is not None:
        yield ("limits",), requirement.limits
    for number, band in enumerate(requirement.bands):
        yield ("bands", number), band.limits
    for name, limits in requirement.by_patch.items():
        yield ("by_patch", name), limits


def _within(value: float, limits: Limits) -> bool:
    if limits.box is not None:
        return True
    low, high = limits.minimum, limits.maximum
    if limits.exclusive and value in (low, high):
        return False
    return (low is None or value >= low) and (high is None or value <= high)
