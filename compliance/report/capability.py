"""How well a meter can prove a rule, in words and as plain data."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from compliance.model import Rule
from compliance.model.results import Adequacy, Capability
from compliance.report.numbers import format_plain, format_requirement_limits, with_unit
from compliance.report.words import statement_text

SIGNS: Mapping[Adequacy, str] = {
    Adequacy.ADEQUATE: "●",
    Adequacy.MARGINAL: "◐",
    Adequacy.INADEQUATE: "⊖",
    Adequacy.UNKNOWN: "◌",
    Adequacy.NOT_RATED: "◌",
}
SUMMARIES: Mapping[Adequacy, str] = {
    Adequacy.INADEQUATE: "This meter cannot prove every requirement of the rule.",
    Adequacy.UNKNOWN: "The meter file lacks data that proving the rule depends on.",
    Adequacy.MARGINAL: "This meter can prove the rule only if values are not near their limits.",
}
"""Summaries by the worst adequacy that occurs, the worst first."""
ADEQUATE = "This meter can prove every requirement of the rule."


def adequacy_word(row: Capability) -> str:
    """Return how well the meter can prove a requirement, in words."""
    return row.adequacy.value.replace("-", " ")


def ratio_text(row: Capability) -> str:
    """Format how many times the uncertainty fits into the room that the limits leave."""
    if row.ratio is None:
        return "–"
    return "> 99" if row.ratio > 99 else f"{math.floor(row.ratio * 10) / 10:.1f}"


def title(row: Capability) -> str:
    """Name the requirement, with its level if it is a should."""
    return row.requirement.title + (" (should)" if row.requirement.level == "should" else "")


def detail(row: Capability) -> str:
    """Describe the limits, missing data, and the uncertainty that would be needed."""
    limits = "; ".join(format_requirement_limits(row.requirement, row.unit))
    words = [f"limit {limits}"]
    if row.why:
        words.append(statement_text(row.why))
    if row.uncertainty is not None and row.needed is not None:
        at = f" at {row.place}" if row.place else ""
        words.append(
            f"uncertainty {_amount(row.uncertainty, row.unit)}{at}, "
            f"required: {_amount(row.needed, row.unit)} or less"
        )
    return "; ".join(words)


def _amount(value: float, unit: str) -> str:
    return with_unit(format_plain(float(f"{value:.2g}")), unit)


def summary(rows: Sequence[Capability]) -> str:
    """Say in a sentence whether the meter can prove the rule."""
    present = {row.adequacy for row in rows}
    return next((text for adequacy, text in SUMMARIES.items() if adequacy in present), ADEQUATE)


def capability_data(
    rule: Rule, meter: str, rows: Sequence[Capability], slot: str | None = None
) -> dict[str, Any]:
    """Return how well a meter can prove a rule, as plain data."""
    return {
        **({} if slot is None else {"slot": slot}),
        "rule": {"id": rule.id, "revision": rule.revision},
        "meter": meter,
        "requirements": [_row_data(row) for row in rows],
    }


def _row_data(row: Capability) -> dict[str, Any]:
    return {
        "id": row.requirement.id,
        "level": row.requirement.level.value,
        "quantity": row.requirement.quantity,
        "unit": row.unit,
        "adequacy": row.adequacy.value,
        "ratio": None if row.ratio is None or math.isinf(row.ratio) else row.ratio,
        "uncertainty": row.uncertainty,
        "needed": row.needed,
        "patch": row.place,
        "why": statement_text(row.why) if row.why else None,
    }
