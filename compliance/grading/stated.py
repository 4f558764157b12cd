"""Requirements that no reading answers: what the job records or the facility declares."""

from __future__ import annotations

from compliance.decision import inside, statement
from compliance.grading.case import Case
from compliance.grading.findings import finding
from compliance.model import Finding, Reason, Requirement, Verdict
from compliance.quantities.table import Quantity

__all__ = ["KIND", "other_display", "stated"]

KIND = "the display's technology (display.technology in the job)"
"""What is missing where the kind of display is not known."""


def other_display(requirement: Requirement, case: Case) -> Finding | None:
    """The finding where a requirement is for another kind of display, or the kind is unknown."""
    if requirement.displays is None:
        return None
    technology = case.stated.technology
    if technology is None:
        return finding(
            requirement, Verdict.NOT_ASSESSED, reason=Reason.MISSING_READINGS, missing=(KIND,)
        )
    if (technology == "projector") == (requirement.displays == "projector"):
        return None
    return finding(
        requirement,
        Verdict.NOT_ASSESSED,
        reason=Reason.NOT_APPLICABLE,
        note=f"for {requirement.displays} displays only",
    )


def stated(requirement: Requirement, quantity: Quantity, case: Case) -> Finding:
    """A condition that the job records or the facility declares."""
    if requirement.quantity == "recorded":
        name = requirement.field or ""
        value = case.stated.recorded.get(name)
    else:
        name = requirement.declaration or ""
        value = case.stated.declared.get(name)
    limits = requirement.limits
    if value is None or limits is None:
        return finding(
            requirement,
            Verdict.NOT_ASSESSED,
            reason=Reason.MISSING_READINGS,
            missing=(f"{name} ({quantity.name} in the job)",),
        )
    verdict = statement(inside(value, limits), None, case.rule.decision.confidence)
    return finding(requirement, verdict, value=value)
