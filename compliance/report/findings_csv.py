"""The findings as one flat CSV table (RFC 4180): a row per requirement, for other systems.

Numbers are unrounded, in the unit named beside them, with a point; an empty cell is a value
that there is not. Texts that a spreadsheet would take for a formula get an apostrophe in
front, as whoever named a job or a rule must not be able to run something in it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

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
            for row in _rows(result.assessment.document):
                writer.writerow([_cell(row.get(column)) for column in COLUMNS])
    return out.getvalue().encode()


def _rows(document: Mapping[str, Any]) -> Iterable[dict[str, Any]]:
    job, slot, display = (document[key] or {} for key in ("job", "slot", "display"))
    rule = document["rule"]
    head = {
        "number": document["number"],
        "job": job.get("reference"),
        "slot": slot.get("slot"),
        "display_serial": display.get("serial"),
        "rule": rule["id"],
        "revision": rule["revision"],
        "rule_digest": rule["digest"],
        "assessed": document["assessed"],
        "measured": document["readings"]["measured"],
        "valid_until": document["valid_until"],
        "heading": document["heading"],
        "outcome": document["verdict"],
        "outcome_reason": document["reason"],
        "outcome_conditional": document["conditional"],
        "disposition": document["disposition"],
    }
    accepted = {one["requirement"]: one for one in document["deviations"]}
    for finding in document["findings"]:
        yield head | _finding(finding, accepted.get(finding["id"]))


def _finding(finding: Mapping[str, Any], accepted: Mapping[str, Any] | None) -> dict[str, Any]:
    interval, limits = finding["interval"] or {}, finding["limits"] or {}
    said = {
        key: finding[key]
        for key in (
            *("title", "level", "quantity", "unit", "statistic", "verdict", "reason", "bound"),
            *("probability", "joint", "basis", "clause"),
        )
    }
    box = limits.get("box")
    return {
        **said,
        "requirement": finding["id"],
        **_pair("value", finding["value"]),
        **_pair("low", interval.get("low")),
        **_pair("high", interval.get("high")),
        "coverage": interval.get("coverage"),
        "limit_min": limits.get("min"),
        "limit_max": limits.get("max"),
        "limit_nominal": limits.get("nominal"),
        "limit_box_x": box[0] if box else None,
        "limit_box_y": box[1] if box else None,
        "limit_exclusive": limits.get("exclusive"),
        "missing": "; ".join(finding["missing"]),
        "not_judged": len(finding["not_judged"]),
        "accepted_by": accepted["accepted_by"] if accepted else None,
        "accepted_until": accepted["until"] if accepted else None,
    }


def _pair(name: str, value: Any) -> dict[str, Any]:
    """A number in one column, a pair (x, y) in two."""
    if isinstance(value, Sequence):
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
