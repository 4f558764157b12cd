"""Likely causes and what calibration changed, as plain data of the assessment's document."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from compliance.model import Calibration, Cause, Shift, Value

__all__ = ["calibration", "causes"]


def causes(found: Sequence[Cause]) -> list[dict[str, Any]]:
    """The causes in their order, the likeliest first."""
    return [_cause(one) for one in found]


def _cause(one: Cause) -> dict[str, Any]:
    return {
        "kind": one.kind,
        "title": one.title,
        "text": one.text,
        "next_step": one.next_step,
        "share": one.share,
        "evidence": [
            {"what": each.what, "value": each.value, "unit": each.unit} for each in one.evidence
        ],
    }


def calibration(one: Calibration | None) -> dict[str, Any] | None:
    """What calibration changed; None where no readings before it are there."""
    if one is None:
        return None
    return {
        "white_before": one.white_before,
        "white_after": one.white_after,
        "lost": one.lost,
        "asked": one.asked,
        "wanted": one.wanted,
        "shifts": [_shift(shift) for shift in one.shifts],
    }


def _shift(one: Shift) -> dict[str, Any]:
    return {
        "id": one.id,
        "title": one.title,
        "unit": one.unit,
        "before": _value(one.before),
        "after": _value(one.after),
    }


def _value(value: Value) -> float | list[float]:
    return list(value) if isinstance(value, tuple) else value
