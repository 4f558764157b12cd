"""Verdicts at their threshold: which others another machine's arithmetic may give.

Works on plain data, as `schemas/assessment.json` describes it, with the rules of
`decision`. A verdict that is not possible here was stated against its own numbers.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from compliance.decision import SLACK, outcome, statement, worst
from compliance.model import Decision, Finding, Level, Reason, Verdict

__all__ = ["CLOSE", "conclusion", "possible", "worst_stated"]

CLOSE = 1e-9
"""Of values: relative or absolute, whichever is larger."""

INSIDE = (Verdict.PASS, Verdict.CONDITIONAL_PASS)
OUTSIDE = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)


def possible(item: Mapping[str, Any], confidence: float, close: float) -> set[Any]:
    """The verdicts that a finding or point could have, its own among them.

    `close` is how far its probability may be off. Others than its own are possible only
    where the value lies at a limit or the probability at the confidence.
    """
    own, p = item.get("verdict"), item.get("probability")
    if own not in INSIDE and own not in OUTSIDE:
        return {own}
    sides = {own in INSIDE} | ({True, False} if _at_a_limit(item) else set())
    chances = [None] if p is None else [p - close, p, p + close]
    return {own} | {statement(side, chance, confidence) for side in sides for chance in chances}


def worst_stated(item: Mapping[str, Any]) -> Verdict | None:
    """The worst verdict of a finding's points; None where none has one."""
    verdicts = [point["verdict"] for point in item.get("points") or ()]
    found = [Verdict(verdict) for verdict in verdicts if verdict is not None]
    return worst(found) if found else None


def conclusion(state: Mapping[str, Any], decision: Mapping[str, Any]) -> dict[str, Any]:
    """What the findings of a state, as they stand, come to: verdict, reason, conditional."""
    findings = [
        Finding(
            id=each["id"],
            title=each["title"],
            quantity=each["quantity"],
            unit=each["unit"],
            level=Level(each["level"]),
            statistic=each["statistic"],
            basis=each["basis"],
            clause=each["clause"],
            verdict=Verdict(each["verdict"]),
            reason=None if each["reason"] is None else Reason(each["reason"]),
            probability=each["probability"],
        )
        for each in state["findings"]
    ]
    verdict, reason, conditional = outcome(
        findings, Decision(decision["acceptance"], decision["confidence"])
    )
    return {"verdict": verdict, "reason": reason, "conditional": conditional}


def _at_a_limit(item: Mapping[str, Any]) -> bool:
    return any(
        abs(value - limit) <= CLOSE * max(1.0, abs(limit)) + SLACK * abs(limit)
        for value, limit in _limits(item)
    )


def _limits(item: Mapping[str, Any]) -> Iterator[tuple[float, float]]:
    """A value with each of its limits; of a pair each axis with its half width."""
    value, limits = item["value"], item["limits"]
    if value is None or limits is None:
        return
    if isinstance(value, list):
        yield from zip(map(abs, value), limits["box"], strict=True)
    else:
        yield from ((value, limits[end]) for end in ("min", "max") if limits[end] is not None)
