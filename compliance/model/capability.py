"""What a meter can prove of a rule, requirement by requirement."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from compliance.model.assessment import Statement
from compliance.model.rules import Requirement


class Adequacy(StrEnum):
    ADEQUATE = "adequate"
    MARGINAL = "marginal"
    INADEQUATE = "inadequate"
    UNKNOWN = "unknown"
    """The meter's file does not say what it would have to."""
    NOT_RATED = "not-rated"


@dataclass(frozen=True, slots=True)
class Capability:
    """What a meter can prove of one requirement."""

    requirement: Requirement
    unit: str
    adequacy: Adequacy
    ratio: float | None
    """C_m, limit over quantile, or limit over guard band; None: nothing known"""
    uncertainty: float | None
    """Expanded (95 %) uncertainty of the value, in the quantity's unit"""
    needed: float | None
    """What it would have to be at most for `adequate`"""
    place: str | None
    """The patch that decides, where there are several"""
    why: Statement | None = None
    """Where nothing can be proven: what is missing"""
