"""The findings as one flat CSV table (RFC 4180): a row per requirement, for other systems.

Numbers are unrounded, in the unit named beside them, with a point; an empty cell is a value
that there is not. Texts that a spreadsheet would take for a formula get an apostrophe in
front, as whoever named a job or a rule must not be able to run something in it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from typing import Any

from compliance.model import Assessment, Deviation, Finding, Value
from compliance.plain_data import timestamp
from compliance.report.results import Result

COLUMNS = (
    *("number", "job", "slot", "display_serial", "rule", "revision", "rule_digest"),
    *("assessed", "measured", "valid_until", "heading", "outcome", "outcome_reason"),
    *("outcome_conditional", "disposition", "requirement", "title", "level", "quantity"),
    *("unit", "statistic", "verdict", "reason", "bound", "value", "value_y", "low", "low_y"),
    *("high", "high_y", "coverage", "limit_min", "limit_max", "limit_nominal", "limit_box_x"),
    *("limit_box_y", "limit_exclusive", "probability", "joint", "basis", "clause", "missing"),
    *("not_judged", "accepted_by", "accepted_until"),
)
FORMULA = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
"""What a cell that is run begins with; in East Asian settings the wide signs as well."""


def findings_csv(results: Iterable[Result]) -> bytes:
    """A header row and a row per finding of the calibrated state, or of before where it is all.

    UTF-8, lines end in CR LF. Results without an assessment have no rows.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for result in results:
        if result.assessment is not None:
            for row in _rows(result.assessment):
                writer.writerow([_cell(row.get(column)) for column in COLUMNS])
    return out.getvalue().encode()


def _rows(assessment: Assessment) -> Iterable[dict[str, Any]]:
    state, rule, slot = assessment.state, assessment.rule, assessment.slot
    display = assessment.measurement.measured_display
    head = {
        "number": assessment.number,
        "job": assessment.job.reference if assessment.job else None,
        "slot": slot.name if slot else None,
        "display_serial": display.serial if display else None,
        "rule": rule.id,
        "revision": rule.revision,
        "rule_digest": rule.digest,
        "assessed": timestamp(assessment.assessed),
        "measured": timestamp(state.measured),
        "valid_until": timestamp(assessment.valid_until),
        "heading": assessment.heading,
        "outcome": state.verdict,
        "outcome_reason": state.reason,
        "outcome_conditional": state.conditional,
        "disposition": assessment.disposition,
    }
    accepted = {deviation.requirement: deviation for deviation in assessment.deviations}
    for finding in state.findings:
        yield head | _finding(finding, accepted.get(finding.id))


def _finding(finding: Finding, accepted: Deviation | None) -> dict[str, Any]:
    interval, limits = finding.interval, finding.limits
    box = limits.box if limits else None
    return {
        "requirement": finding.id,
        "title": finding.title,
        "level": finding.level,
        "quantity": finding.quantity,
        "unit": finding.unit,
        "statistic": finding.statistic,
        "verdict": finding.verdict,
        "reason": finding.reason,
        "bound": finding.bound,
        **_pair("value", finding.value),
        **_pair("low", interval.low if interval else None),
        **_pair("high", interval.high if interval else None),
        "coverage": interval.coverage if interval else None,
        "limit_min": limits.minimum if limits else None,
        "limit_max": limits.maximum if limits else None,
        "limit_nominal": limits.nominal if limits else None,
        "limit_box_x": box[0] if box else None,
        "limit_box_y": box[1] if box else None,
        "limit_exclusive": limits.exclusive if limits else None,
        "probability": finding.probability,
        "joint": finding.joint,
        "basis": finding.basis,
        "clause": finding.clause,
        "missing": "; ".join(finding.missing),
        "not_judged": len(finding.not_judged),
        "accepted_by": accepted.accepted_by if accepted else None,
        "accepted_until": accepted.until if accepted else None,
    }


def _pair(name: str, value: Value | None) -> dict[str, Any]:
    """A number in one column, a pair (x, y) in two."""
    if isinstance(value, tuple):
        return {name: value[0], f"{name}_y": value[1]}
    return {name: value}


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    text = " ".join(str(value).split())
    return f"'{text}" if text.startswith(FORMULA) else text
