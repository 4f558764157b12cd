"""Which points of the findings are of which patch."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from compliance.grading.case import Case
from compliance.model import Finding, Level, Point, Triple

__all__ = ["Shown", "by_place", "shown"]

Shown = tuple[Triple, str, float]
"""Codes, position and window of a patch."""


def shown(case: Case, index: int) -> Shown:
    """What a measured patch is known by in the points of findings."""
    there = case.patches.stimulus[index]
    return case.patches.triple(index), there.position, there.window


def by_place(findings: Iterable[Finding]) -> Mapping[Shown, Point]:
    """Points with limits by patch and place, of a shall before a should."""
    points: dict[Shown, Point] = {}
    for one in sorted(findings, key=lambda finding: finding.level is Level.SHOULD):
        for point in one.points:
            if point.limits is not None:
                points.setdefault((point.patch, point.position, point.window), point)
    return points
