"""One requirement to one finding. None is dropped, and a NaN is never a pass."""

from __future__ import annotations

from compliance.grading.case import Case
from compliance.grading.graded import Graded
from compliance.grading.pointwise import each
from compliance.grading.roles import cast
from compliance.grading.stated import other_display, stated
from compliance.grading.summary import statistic, whole
from compliance.model import Finding, Requirement
from compliance.quantities.table import QUANTITIES

__all__ = ["evaluate", "grade"]


def grade(requirement: Requirement, case: Case) -> Graded:
    """Grade one requirement on the measured values, with what the draws are to be asked.

    RuleError where the rule itself asks for what cannot be.
    """
    quantity = QUANTITIES[requirement.quantity]
    elsewhere = other_display(requirement, case)
    if elsewhere is not None:
        return Graded(requirement, elsewhere)
    if quantity.values == "stated":
        return Graded(requirement, stated(requirement, quantity, case))
    parts = cast(requirement, case)
    if quantity.values == "whole":
        return whole(requirement, quantity, case, parts)
    if requirement.statistic == "each":
        return each(requirement, quantity, case, parts)
    return statistic(requirement, quantity, case, parts)


def evaluate(requirement: Requirement, case: Case) -> Finding:
    """The finding of one requirement without measurement uncertainty."""
    return grade(requirement, case).finding
