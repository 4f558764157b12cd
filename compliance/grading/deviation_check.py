"""Deviations against findings: which are valid, and whether the client accepts the slot.

A deviation accepts that one slot misses one requirement, as far as it did when the deviation
was accepted, or up to a stated bound, and no further. The finding and the verdict do not change.
One that does not hold (any more) has no effect, and stops nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum

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
from compliance.plain_data import digest

SLACK = 1e-9
"""Of a margin: the difference that another machine's arithmetic may make."""


def end_of_day(day: date) -> datetime:
    """24:00 UTC: what is valid on a day is valid until then."""
    return datetime.combine(day, time(), UTC) + timedelta(days=1)


def expiry(deviation: Deviation) -> datetime:
    """Its end: 24:00 UTC of its last day."""
    return end_of_day(deviation.until)


class Lapse(StrEnum):
    """Why a deviation has no effect; a variant of the remark `deviation-lapsed`."""

    EXPIRED = "expired"
    EARLY = "early"
    OTHER_DISPLAY = "other-display"
    OTHER_RULE = "other-rule"
    OTHER_LIMITS = "other-limits"
    FURTHER = "further"
    NOT_NEEDED = "not-needed"
    REPLACED = "replaced"


@dataclass(frozen=True, slots=True)
class Lapsed:
    """A deviation without effect."""

    deviation: Deviation
    why: Lapse


def check_deviations(
    measurement: Measurement, findings: Sequence[Finding], now: datetime
) -> tuple[tuple[Deviation, ...], tuple[Lapsed, ...]]:
    """The measurement's deviations that hold, in the findings' order, and those that do not.

    Of several for one requirement the one accepted last holds. Raises DeviationError, with a
    line for each, if one is for another job, slot or rule, or for an unknown requirement.
    """
    known = {finding.id: finding for finding in findings}
    problems: list[Problem] = []
    held: dict[str, Deviation] = {}
    lapsed: list[Lapsed] = []
    for deviation in sorted(measurement.deviations, key=_last_accepted):
        fault = _foreign(deviation, measurement)
        if fault is not None:
            problems.append(Problem(deviation.file, fault))
            continue
        why = _changed(deviation, measurement) or _out_of_time(deviation, now)
        if why is None:
            if deviation.requirement not in known:
                unknown = f"is not a requirement of {deviation.rule}"
                message = f"accepts {deviation.requirement}, which {unknown}"
                problems.append(Problem(deviation.file, message))
                continue
            why = _unfit(deviation, known[deviation.requirement])
        if why is None and deviation.requirement in held:
            why = Lapse.REPLACED
        if why is None:
            held[deviation.requirement] = deviation
        else:
            lapsed.append(Lapsed(deviation, why))
    if problems:
        raise DeviationError(problems)
    ordered = tuple(held[finding.id] for finding in findings if finding.id in held)
    return ordered, tuple(lapsed)


def _last_accepted(deviation: Deviation) -> tuple[float, str]:
    """The key of an order that does not depend on the names of files."""
    return -deviation.accepted.timestamp(), digest(deviation.document)


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
    for what, its, ours in (
        ("job", deviation.job, job.reference if job else None),
        ("slot", deviation.slot, slot.name if slot else None),
        ("rule", deviation.rule, rule.id),
    ):
        if its != ours:
            return f"is for {what} {its or 'not stated'}, not for {ours or 'not stated'}"
    return None


def _changed(deviation: Deviation, measurement: Measurement) -> Lapse | None:
    """Why it does not hold, if the display or the rule is not the one it was accepted for."""
    slot = measurement.slot
    if deviation.serial != (slot.display.serial if slot else None):
        return Lapse.OTHER_DISPLAY
    return Lapse.OTHER_RULE if deviation.digest != measurement.rule.digest else None


def _out_of_time(deviation: Deviation, now: datetime) -> Lapse | None:
    """Why it does not hold, if it was over at the time of the assessment, or not accepted yet."""
    if now >= expiry(deviation):
        return Lapse.EXPIRED
    early = deviation.accepted.astimezone(UTC).date() > now.astimezone(UTC).date()
    return Lapse.EARLY if early else None


def _unfit(deviation: Deviation, finding: Finding) -> Lapse | None:
    """Why it does not hold, if it does not cover what was found."""
    if reason_not_acceptable(finding) is not None:
        return Lapse.NOT_NEEDED
    assert finding.value is not None and finding.limits is not None
    own = finding.title, finding.quantity, finding.unit, finding.limits
    if own != (deviation.title, deviation.quantity, deviation.unit, deviation.limits):
        return Lapse.OTHER_LIMITS
    return None if no_further(finding.value, deviation.bound, finding.limits) else Lapse.FURTHER


def no_further(value: Value, accepted: Value, limits: Limits) -> bool:
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
