"""From a value, its limits and its probability to a verdict; from findings to an outcome.

The four statements are ILAC-G8:09/2019's; a probability of None means that the
measurement uncertainty is not known; then only pass and fail are left.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from compliance.model import Decision, Finding, Level, Limits, Outcome, Reason, Value, Verdict
from compliance.quantities.catalogue import is_stated

SLACK = 1e-9
"""Share of a limit within which a value counts as on it."""

SEVERITY = (
    Verdict.FAIL,
    Verdict.CONDITIONAL_FAIL,
    Verdict.CONDITIONAL_PASS,
    Verdict.PASS,
)
OUTSIDE = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)


def inside(value: Value, limits: Limits) -> bool:
    """Whether a value is within its limits; a NaN never is."""
    if isinstance(value, tuple):
        box = limits.box or (0.0, 0.0)
        away = [_within(abs(v), -math.inf, b, limits) for v, b in zip(value, box, strict=True)]
        return all(away)
    return _within(value, limits.low, limits.high, limits)


def _within(value: float, low: float, high: float, limits: Limits) -> bool:
    """Whether a value is within limits, with slack for rounding: .316 − .314 is .00200…018."""
    slack = [SLACK * abs(limit) if math.isfinite(limit) else 0.0 for limit in (low, high)]
    if limits.exclusive:
        return low + slack[0] < value < high - slack[1]
    return low - slack[0] <= value <= high + slack[1]


def margin(value: Value, limits: Limits) -> float:
    """Distance to the nearest limit, negative outside, as a share of the limits' size.

    The size is half the width of two-sided limits, the absolute value of a one-sided one, and
    1 if that is 0; of a box the axis with less margin counts.
    """
    if isinstance(value, tuple):
        box = limits.box or (0.0, 0.0)
        return min((b - abs(v)) / (b or 1.0) for v, b in zip(value, box, strict=True))
    low, high = limits.minimum, limits.maximum
    if low is not None and high is not None:
        return min(value - low, high - value) / ((high - low) / 2 or 1.0)
    if low is not None:
        return (value - low) / (abs(low) or 1.0)
    if high is not None:
        return (high - value) / (abs(high) or 1.0)
    return math.inf


def statement(is_inside: bool, probability: float | None, confidence: float) -> Verdict:
    """The statement on one value and its probability of conformity, None if not known."""
    if is_inside:
        sure = probability is None or probability >= confidence
        return Verdict.PASS if sure else Verdict.CONDITIONAL_PASS
    sure = probability is None or probability <= 1 - confidence
    return Verdict.FAIL if sure else Verdict.CONDITIONAL_FAIL


def plain_statement(value: Value, limits: Limits) -> Verdict:
    """The statement on a value without a known measurement uncertainty: pass or fail."""
    return Verdict.PASS if inside(value, limits) else Verdict.FAIL


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """The worst of the statements on the points of one finding."""
    return min(verdicts, key=SEVERITY.index)


def outcome(findings: Sequence[Finding], decision: Decision) -> tuple[Outcome, Reason | None, bool]:
    """Verdict, reason and whether it is conditional, by the first decision rule that applies."""
    shalls = [
        finding
        for finding in findings
        if finding.level is Level.SHALL and finding.reason is not Reason.NOT_APPLICABLE
    ]
    failed = [finding for finding in shalls if finding.verdict in OUTSIDE]
    if failed:
        conditional = all(finding.verdict is Verdict.CONDITIONAL_FAIL for finding in failed)
        return Outcome.NOT_COMPLIANT, None, conditional
    reasons = {finding.reason for finding in shalls if finding.verdict is Verdict.NOT_ASSESSED}
    if reasons or not shalls:
        reason = Reason.METER if reasons == {Reason.METER} else Reason.MISSING_READINGS
        return Outcome.UNDECIDED, reason, False
    if decision.acceptance == "guarded" and not all(_proven(finding) for finding in shalls):
        return Outcome.UNDECIDED, Reason.UNCERTAINTY, False
    return Outcome.COMPLIANT, None, not all(_proven(finding) for finding in shalls)


def _proven(finding: Finding) -> bool:
    """Whether it passes for sure: of a measured value, with a probability at every point."""
    return finding.verdict is Verdict.PASS and not uncertainty_unknown(finding)


def uncertainty_unknown(finding: Finding) -> bool:
    """Whether a value was measured and judged, and the meter's file leaves open how sure that is.

    So it is if the probability of a single point is not known.
    """
    if finding.verdict is Verdict.NOT_ASSESSED or is_stated(finding.quantity):
        return False
    counted = [point for point in finding.points if point.verdict is not None]
    return finding.probability is None or any(point.probability is None for point in counted)
