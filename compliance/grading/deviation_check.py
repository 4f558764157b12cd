"""Deviations against findings: which are valid, and whether the client accepts the slot.

A deviation accepts that one slot misses one requirement, as far as it did when the deviation
was accepted and no further. The finding and the verdict do not change.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, time, timedelta

from compliance.errors import DeviationError, Problem
from compliance.grading.decide import OUTSIDE, margin, outcome
from compliance.model import (
    Decision,
    Deviation,
    Disposition,
    Finding,
    Level,
    Limits,
    Measurement,
    Outcome,
    Reason,
    Value,
)

SLACK = 1e-9
"""Of a margin: the difference that another machine's arithmetic may make."""


def expiry(deviation: Deviation) -> datetime:
    """Its end: 24:00 UTC of its last day."""
    return datetime.combine(deviation.until, time(), UTC) + timedelta(days=1)


def check_deviations(
    measurement: Measurement, findings: Sequence[Finding], now: datetime
) -> tuple[Deviation, ...]:
    """The measurement's deviations in the findings' order, if all of them are valid.

    Raises DeviationError, with a line for each that is expired, for another job, slot, display,
    rule or requirement, not needed, or accepted less than the finding.
    """
    known = {finding.id: finding for finding in findings}
    problems: list[Problem] = []
    taken: dict[str, Deviation] = {}
    for deviation in measurement.deviations:
        why = _foreign(deviation, measurement) or _out_of_time(deviation, now)
        why = why or _unfit(deviation, known.get(deviation.requirement))
        if why is None and deviation.requirement in taken:
            other = taken[deviation.requirement].file
            why = f"accepts {deviation.requirement}, as {other} does; give one of them"
        if why is not None:
            problems.append(Problem(deviation.file, why))
        taken.setdefault(deviation.requirement, deviation)
    if problems:
        raise DeviationError(problems)
    return tuple(taken[finding.id] for finding in findings if finding.id in taken)


def disposition(
    deviations: Sequence[Deviation], findings: Sequence[Finding], decision: Decision
) -> Disposition | None:
    """Accepted, if the verdict is not compliant but would be without the accepted findings.

    `deviations` come from `check_deviations`.
    """
    accepted = {deviation.requirement for deviation in deviations}
    shall = [row for row in findings if row.level is Level.SHALL]
    missed = {row.id for row in shall if row.verdict in OUTSIDE}
    if not missed or not missed <= accepted:
        return None
    rest = [
        row for row in shall if row.id not in missed and row.reason is not Reason.NOT_APPLICABLE
    ]
    if rest and outcome(rest, decision)[0] is not Outcome.COMPLIANT:
        return None
    return Disposition.ACCEPTED


def reason_not_acceptable(finding: Finding) -> str | None:
    """The reason that a finding cannot be accepted; None if it can."""
    if finding.verdict not in OUTSIDE:
        word = str(finding.verdict).replace("-", " ")
        return f"{finding.id} has the verdict {word}: only a value outside its limits is accepted"
    if finding.level is not Level.SHALL:
        return f"{finding.id} is a should, which decides nothing: there is nothing to accept"
    if finding.value is None or finding.limits is None:
        return f"{finding.id} has no value to accept"
    return None


# ---------------------------------------------------------------- reasons to refuse


def _foreign(deviation: Deviation, measurement: Measurement) -> str | None:
    """The reason, if the deviation is for another assessment."""
    rule, job, slot = measurement.rule, measurement.job, measurement.slot
    serial = slot.display.serial if slot else None
    for what, its, ours in (
        ("job", deviation.job, job.reference if job else None),
        ("slot", deviation.slot, slot.name if slot else None),
        ("rule", deviation.rule, rule.id),
        ("the display with serial number", deviation.serial, serial),
    ):
        if its != ours:
            return f"is for {what} {its or 'not stated'}, not for {ours or 'not stated'}"
    if deviation.digest != rule.digest:
        return (
            f"was accepted under other limits: {rule.id} has changed since (revision "
            f"{deviation.revision}, digest {deviation.digest[:12]}; now revision {rule.revision}, "
            f"digest {rule.digest[:12]})"
        )
    return None


def _out_of_time(deviation: Deviation, now: datetime) -> str | None:
    if now >= expiry(deviation):
        return f"expired: it was accepted until {deviation.until.isoformat()}"
    if deviation.accepted.astimezone(UTC).date() > now.astimezone(UTC).date():
        day = deviation.accepted.astimezone(UTC).date().isoformat()
        return f"was accepted on {day}, after the time of this assessment"
    return None


def _unfit(deviation: Deviation, finding: Finding | None) -> str | None:
    if finding is None:
        return f"accepts {deviation.requirement}, which is not a requirement of {deviation.rule}"
    why = reason_not_acceptable(finding)
    if why is not None:
        return f"{why}; leave it out"
    assert finding.value is not None and finding.limits is not None
    if finding.limits != deviation.limits:
        return (
            f"accepts {finding.id} for other limits than those it now misses most; "
            "a new deviation is needed"
        )
    if not _no_further(finding.value, deviation.value, finding.limits):
        return (
            f"accepts {finding.id} as far as {_written(deviation.value)}, but it is now "
            f"{_written(finding.value)}; a new deviation is needed"
        )
    return None


def _no_further(value: Value, accepted: Value, limits: Limits) -> bool:
    """Whether a value is outside on the accepted side and no further than accepted."""
    if isinstance(value, tuple) and isinstance(accepted, tuple):
        box = limits.box or (0.0, 0.0)
        reach = [max(width, abs(each)) for width, each in zip(box, accepted, strict=True)]
        same = all(v * a > 0 or abs(v) <= b for v, a, b in zip(value, accepted, box, strict=True))
        return same and all(
            abs(v) <= most * (1 + SLACK) for v, most in zip(value, reach, strict=True)
        )
    if isinstance(value, tuple) or isinstance(accepted, tuple):
        return False
    if _below(value, limits) != _below(accepted, limits):
        return False
    return margin(value, limits) >= margin(accepted, limits) - SLACK


def _below(value: float, limits: Limits) -> bool:
    """Whether a value outside its limits is below them."""
    low, high = limits.minimum, limits.maximum
    if low is None or high is None:
        return low is not None
    return value < (low + high) / 2


def _written(value: Value) -> str:
    values = value if isinstance(value, tuple) else (value,)
    return ", ".join(f"{each:.6g}" for each in values)
