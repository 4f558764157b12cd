"""The shape and the ink of each verdict, in text."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from compliance.model import Outcome, Verdict

__all__ = ["FAULT", "NOT_APPLICABLE", "Shape", "outcome_shape", "verdict_shape"]


class Shape(NamedTuple):
    """How a verdict looks: filled disc, half discs, barred ring, dotted ring."""

    sign: str
    ink: str


SHAPES: Mapping[Verdict, Shape] = {
    Verdict.PASS: Shape("●", "teal"),
    Verdict.CONDITIONAL_PASS: Shape("◐", "ochre"),
    Verdict.CONDITIONAL_FAIL: Shape("◑", "ochre"),
    Verdict.FAIL: Shape("⊖", "plum"),
    Verdict.NOT_ASSESSED: Shape("◌", "grey"),
}
FAULT = Shape("!", "plum")
"""No assessment came about."""
NOT_APPLICABLE = Shape("–", "grey")


def verdict_shape(verdict: Verdict) -> Shape:
    """The shape of a finding's verdict."""
    return SHAPES[verdict]


def outcome_shape(outcome: Outcome, conditional: bool) -> Shape:
    """The shape of an assessment's verdict."""
    if outcome is Outcome.COMPLIANT:
        return SHAPES[Verdict.CONDITIONAL_PASS if conditional else Verdict.PASS]
    if outcome is Outcome.NOT_COMPLIANT:
        return SHAPES[Verdict.CONDITIONAL_FAIL if conditional else Verdict.FAIL]
    return SHAPES[Verdict.NOT_ASSESSED]
