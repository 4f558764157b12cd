"""Findings for other programs: a flat CSV table (RFC 4180) and a JUnit report.

CSV has a row per requirement. Numbers are unrounded, with a decimal point, in the unit named
beside them; an empty cell means that there is no value. A text that a spreadsheet would run as a
formula gets an apostrophe in front: the name of a job or a rule must not run anything.

JUnit has a suite per slot and deliverable, a case per requirement. A suite is green exactly if the
assessment is compliant: a shall outside its limits is a failure, one that could not be assessed
an error. A should never turns a build red: outside its limits, or open, it is skipped with the
reason.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol
from xml.etree import ElementTree as ET

from compliance.grading.decide import OUTSIDE
from compliance.model import Assessment, Deviation, Finding, Level, Outcome, Value, Verdict
from compliance.plain_data import timestamp
from compliance.report.build import build_report
from compliance.report.report import Row
from compliance.report.verdict import applies

CODES = {Outcome.COMPLIANT: 0, Outcome.NOT_COMPLIANT: 1, Outcome.UNDECIDED: 3}
ORDER = (4, 2, 1, 3, 0)
"""Of several exit codes, the first in this order is the program's."""


@dataclass(frozen=True, slots=True)
class Fault:
    """An error because of which there is no assessment, or no file of it."""

    lines: tuple[str, ...]
    code: int


@dataclass(frozen=True, slots=True)
class Result:
    """One slot against one deliverable: an assessment, a fault, or both if writing failed."""

    slot: str
    """The slot's name; for bare readings the file's."""
    deliverable: str
    """The rule's id; the name given if the rule could not be read."""
    assessment: Assessment | None = None
    fault: Fault | None = None
    files: tuple[Path, ...] = ()
    """The files written."""

    @property
    def code(self) -> int:
        """The exit code of this result alone."""
        if self.fault is not None:
            return self.fault.code
        if self.assessment is None:
            return 4
        code = CODES[self.assessment.verdict]
        return 3 if code == 0 and has_expired(self.assessment) else code


def has_expired(assessment: Assessment) -> bool:
    """Return whether the validity of a verdict was over when it was assessed."""
    until = assessment.valid_until
    return until is not None and until <= assessment.assessed


class Coded(Protocol):
    """Anything with an exit code of its own."""

    @property
    def code(self) -> int:
        """The exit code of this result alone."""


def exit_code(results: Iterable[Coded]) -> int:
    """Return the program's exit code for all `results`; 4 if there are none."""
    present = {result.code for result in results}
    return next((code for code in ORDER if code in present), 4)


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
"""Beginnings of a cell that a spreadsheet runs; in East Asian settings also the wide signs."""


def findings_csv(results: Iterable[Result]) -> bytes:
    """Write a header row and a row per finding of the calibrated state, else of that before.

    UTF-8, lines end in CR LF. Results without an assessment have no rows.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for result in results:
        if result.assessment is not None:
            for row in _rows(result.assessment):
                writer.writerow([csv_cell(row.get(column)) for column in COLUMNS])
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
    """Put a number in one column, a pair (x, y) in two."""
    if isinstance(value, tuple):
        return {name: value[0], f"{name}_y": value[1]}
    return {name: value}


def csv_cell(value: Any) -> str:
    """Write a value as the text of a cell that no spreadsheet runs; empty if there is none."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    text = " ".join(str(value).split())
    return f"'{text}" if text.startswith(FORMULA) else text


TAGS = {Outcome.UNDECIDED: "error", Outcome.NOT_COMPLIANT: "failure"}
"""The element that a suite has at least one of, by its verdict."""


def junit(results: Sequence[Result], now: datetime) -> bytes:
    """Write the report of `results` as UTF-8 XML; `now` is the time of suites without a result."""
    root = ET.Element("testsuites", name="compliance")
    for result in results:
        root.append(_suite(result, now))
    for count in ("tests", "failures", "errors", "skipped"):
        root.set(count, str(sum(int(suite.get(count, "0")) for suite in root)))
    ET.indent(root)
    data: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return data + b"\n"


def _suite(result: Result, now: datetime) -> ET.Element:
    assessment = result.assessment
    name = f"{result.slot} {result.deliverable}"
    suite = ET.Element("testsuite", name=_legal(name))
    moment = assessment.assessed if assessment else now
    suite.set("timestamp", f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%S}")
    place = _legal(_place(result))
    cases = _cases(assessment) if assessment else []
    if result.fault is not None:
        lines = [_legal(line) for line in result.fault.lines]
        cases.append(("run", _outcome("error", lines[0] if lines else "", lines[1:])))
    for title, outcome in cases:
        case = ET.SubElement(suite, "testcase", classname=place, name=_legal(title), time="0")
        if outcome is not None:
            case.append(outcome)
    suite.set("tests", str(len(cases)))
    for count, tag in (("failures", "failure"), ("errors", "error"), ("skipped", "skipped")):
        suite.set(count, str(len(suite.findall(f"testcase/{tag}"))))
    suite.set("time", "0")
    return suite


def _place(result: Result) -> str:
    job = result.assessment.job if result.assessment else None
    parts = (job.reference,) if job else ()
    return ".".join(part.replace(".", "_") for part in (*parts, result.slot, result.deliverable))


def _cases(assessment: Assessment) -> list[tuple[str, ET.Element | None]]:
    report = build_report(assessment)
    cases = [(row.finding.id, _of_row(row)) for row in report.now.rows]
    tags = {outcome.tag for _, outcome in cases if outcome is not None}
    needed = TAGS.get(assessment.verdict)
    if needed is not None and needed not in tags:
        cases.append(("verdict", _outcome(needed, report.now.sentence)))
    return cases


def _of_row(row: Row) -> ET.Element | None:
    """Make the element inside a case; None for a pass. An accepted deviation stays a failure."""
    finding = row.finding
    decides = finding.level is Level.SHALL
    if not applies(finding):
        return _outcome("skipped", row.message)
    if finding.verdict in OUTSIDE:
        lines = filter(None, (*row.points, row.accepted))
        tag = "failure" if decides else "skipped"
        return _outcome(tag, row.message, lines, kind=finding.verdict)
    if finding.verdict is Verdict.NOT_ASSESSED:
        kind = finding.reason or finding.verdict
        return _outcome("error" if decides else "skipped", row.message, kind=kind)
    return None


def _outcome(
    tag: str, message: str, lines: Iterable[str] = (), *, kind: str | None = None
) -> ET.Element:
    element = ET.Element(tag, message=_legal(message))
    if kind is not None and tag != "skipped":
        element.set("type", str(kind))
    text = "\n".join(_legal(line) for line in lines)
    if text:
        element.text = text
    return element


def _legal(text: str) -> str:
    """Replace characters that XML 1.0 does not allow (2.2, Char), and no-break spaces."""
    return "".join(char if _is_char(char) else "\ufffd" for char in text).replace("\u00a0", " ")


def _is_char(char: str) -> bool:
    code = ord(char)
    return (
        code in (0x9, 0xA, 0xD)
        or 0x20 <= code <= 0xD7FF
        or 0xE000 <= code <= 0xFFFD
        or code >= 0x10000
    )
