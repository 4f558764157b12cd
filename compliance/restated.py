"""Findings again from the document of an assessment, so that they can be told in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from compliance.model import Finding, Interval, Level, Limits, Reason, Value, Verdict

__all__ = ["finding_of"]


def finding_of(row: Mapping[str, Any]) -> Finding:
    """A finding as `schemas/assessment.json` describes it, without its points.

    KeyError, TypeError or ValueError where it is not of that shape.
    """
    return Finding(
        id=row["id"],
        title=row["title"],
        quantity=row["quantity"],
        unit=row["unit"],
        level=Level(row["level"]),
        statistic=row["statistic"],
        basis=row["basis"],
        clause=row["clause"],
        verdict=Verdict(row["verdict"]),
        reason=None if row["reason"] is None else Reason(row["reason"]),
        value=_value(row["value"]),
        bound=row["bound"],
        limits=_limits(row["limits"]),
        interval=_interval(row["interval"]),
        probability=row["probability"],
        joint=row["joint"],
        missing=tuple(row["missing"]),
        note=row["note"],
    )


def _value(value: Any) -> Value | None:
    if isinstance(value, list):
        x, y = value
        return float(x), float(y)
    return None if value is None else float(value)


def _needed(value: Any) -> Value:
    found = _value(value)
    if found is None:
        raise ValueError("an interval has two ends")
    return found


def _limits(said: Mapping[str, Any] | None) -> Limits | None:
    if said is None:
        return None
    box = _value(said["box"])
    return Limits(
        minimum=said["min"],
        maximum=said["max"],
        nominal=said["nominal"],
        box=box if isinstance(box, tuple) else None,
        exclusive=said["exclusive"],
    )


def _interval(said: Mapping[str, Any] | None) -> Interval | None:
    if said is None:
        return None
    return Interval(_needed(said["low"]), _needed(said["high"]), said["coverage"], said["sided"])
