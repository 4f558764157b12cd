"""Which patch a finding's value is of, and which its probability; the same in every report."""

from __future__ import annotations

from collections.abc import Iterable

from compliance.model import Finding, Point
from compliance.quantities.table import QUANTITIES
from compliance.wording.figures import alike_limits, format_interval

__all__ = ["interval_words", "least_sure", "value_point"]

ALIKE = 0.01
"""Probabilities that differ by less are alike to a reader."""


def value_point(finding: Finding) -> Point | None:
    """The point that a finding's value is of; None where it is of all points together."""
    if finding.statistic != "each" or finding.value is None:
        return None
    said = finding.value, finding.limits
    counted = (point for point in finding.points if point.verdict is not None)
    return next((point for point in counted if (point.value, point.limits) == said), None)


def least_sure(finding: Finding, confidence: float = 0.95) -> Point | None:
    """The point that a finding's probability is of, where the value's own is another one.

    Value and probability of a finding of `each` are the least of all points, each by itself,
    and so need not be of one patch. None where they are, or where the two are alike to a reader.
    """
    nearest, lowest = value_point(finding), finding.probability
    if nearest is None or lowest is None:
        return None
    if nearest.probability is not None and _alike(nearest.probability, lowest, confidence):
        return None
    counted = (point for point in finding.points if point.verdict is not None)
    return next((point for point in counted if point.probability == lowest), None)


def _alike(one: float, other: float, confidence: float) -> bool:
    """Whether two probabilities differ by little, and not in the statement they lead to."""
    ends = confidence, round(1 - confidence, 12)
    return abs(one - other) < ALIKE and all((one >= end) == (other >= end) for end in ends)


def interval_words(
    finding: Finding, point: Point | None = None, among: Iterable[Finding] = ()
) -> str:
    """The interval of a finding, or of a point of it; empty where it is not known.

    It ends at 0 where the value cannot be negative, whatever the draws say. Its digits are
    those of the value, told `among` other findings.
    """
    interval = point.interval if point else finding.interval
    if interval is None:
        return ""
    least = 0.0 if _unsigned(finding) else None
    limits = [point.limits] if point else alike_limits(finding, among)
    return max((format_interval(interval, each, least=least) for each in limits), key=len)


def _unsigned(finding: Finding) -> bool:
    """Whether a finding's value cannot be negative; means and ranges are of amounts."""
    row = QUANTITIES.get(finding.quantity)
    if row is None or row.pair:
        return False
    return not row.signed or finding.statistic != "each"
