"""How much of its tolerance a value uses, and where it lies on a scale beside its limits."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from compliance.model import Finding, Interval, Limits, Value, Verdict

LIMIT = 0.6
"""Where a scale has its limit, if the value is limited on one side."""
SIDE = 0.2
"""Where it has the lower limit, if there are two; the upper lies as far from the other end."""
SURE = 0.99
"""Probabilities above are printed alike."""


@dataclass(frozen=True, slots=True)
class Gauge:
    """A value beside its limits, all as shares of a scale; beyond its ends it lies at the end."""

    low: float
    high: float
    """What the limits allow."""
    value: float
    start: float
    end: float
    """The interval; the value itself if it is not known."""


def used(value: Value | None, limits: Limits | None) -> float:
    """Return the share of the tolerance that a value uses: 1 on its limit, more beyond.

    NaN without a value, without limits, and where a limit of 0 leaves no share.
    """
    if value is None or limits is None:
        return math.nan
    if isinstance(value, tuple):
        if limits.box is None:
            return math.nan
        return max(abs(part) / width for part, width in zip(value, limits.box, strict=True))
    low, high = limits.minimum, limits.maximum
    if low is not None and high is not None:
        return _share(abs(value - (low + high) / 2), (high - low) / 2)
    if high is not None:
        return _share(value, high)
    return _share(low, value) if low is not None else math.nan


def _share(part: float, whole: float) -> float:
    return part / whole if whole > 0 else math.nan


def gauge(finding: Finding) -> Gauge | None:
    """Return the value of a finding beside its limits; None where no share can be told."""
    limits = finding.limits
    if limits is None or not math.isfinite(used(finding.value, limits)):
        return None
    value = _place(finding.value, limits)
    start, end = _ends(finding.interval, limits, value)
    if limits.minimum is not None and limits.maximum is not None:
        return Gauge(SIDE, 1 - SIDE, value, start, end)
    if limits.minimum is not None:
        return Gauge(LIMIT, 1.0, value, start, end)
    return Gauge(0.0, LIMIT, value, start, end)


def _place(value: Value | None, limits: Limits) -> float:
    """Return where a value lies on the scale of its limits, from 0 to 1."""
    low, high = limits.minimum, limits.maximum
    if isinstance(value, tuple) or value is None:
        place = LIMIT * used(value, limits)
    elif low is not None and high is not None:
        place = 0.5 + (0.5 - SIDE) * (2 * value - low - high) / (high - low)
    else:
        limit = high if high is not None else low
        place = LIMIT * value / limit if limit else math.nan
    return min(1.0, max(0.0, place))


def _ends(interval: Interval | None, limits: Limits, value: float) -> tuple[float, float]:
    if interval is None or isinstance(interval.low, tuple) or isinstance(interval.high, tuple):
        return value, value
    places = [_place(end, limits) for end in (interval.low, interval.high)]
    if interval.sided == 1:
        return value, max(places)
    return min(places), max(places)


def farthest_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Sort findings outside their limits, those farthest out first."""
    return tuple(sorted(findings, key=lambda finding: -_comparable(finding)))


def nearest_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Sort findings inside their limits: the least certain first, then those with least room.

    Of those without a value nothing is known, and they come last.
    """

    def key(finding: Finding) -> tuple[float, float]:
        probability = finding.probability
        sure = SURE if probability is None else min(SURE, probability)
        return sure, -_comparable(finding)

    return tuple(sorted(findings, key=key))


def _comparable(finding: Finding) -> float:
    share = used(finding.value, finding.limits)
    return -math.inf if math.isnan(share) else share


def told(finding: Finding) -> bool:
    """Whether a finding has a value whose share of the tolerance can be told."""
    judged = finding.verdict is not Verdict.NOT_ASSESSED
    return judged and not math.isnan(used(finding.value, finding.limits))
