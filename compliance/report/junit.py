"""JUnit XML for build servers: a suite per slot and deliverable, a case per requirement.

A suite is green exactly when the assessment is compliant: a shall outside its limits
is a failure, one that could not be assessed an error. A should never turns a build
red: outside its limits, or open, it is told as skipped with the reason.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from xml.etree import ElementTree as ET

from compliance.grading.decide import OUTSIDE
from compliance.model import Assessment, Deviation, Finding, Level, Outcome, Verdict
from compliance.report import numbers
from compliance.report.results import Result
from compliance.report.verdict import applies
from compliance.report.words.en.verdicts import (
    accepted_sentence,
    outcome_sentence,
    reason_word,
    verdict_word,
)


def junit(results: Sequence[Result], now: datetime) -> bytes:
    """The report of `results` as UTF-8 XML; `now` stamps suites without an assessment."""
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
    accepted = {each.requirement: each for each in assessment.deviations}
    cases = [
        (finding.id, _of_finding(finding, accepted.get(finding.id)))
        for finding in assessment.state.findings
    ]
    told = {outcome.tag for _, outcome in cases if outcome is not None}
    verdict = assessment.verdict
    if verdict is Outcome.UNDECIDED and not told & {"error"}:
        cases.append(("verdict", _outcome("error", outcome_sentence(assessment))))
    if verdict is Outcome.NOT_COMPLIANT and not told & {"failure"}:
        cases.append(("verdict", _outcome("failure", outcome_sentence(assessment))))
    return cases


def _of_finding(finding: Finding, accepted: Deviation | None) -> ET.Element | None:
    """The element inside a case; None is a pass. What is accepted is told and stays a failure."""
    if not applies(finding):
        return _outcome("skipped", verdict_word(finding.verdict, finding.reason))
    if finding.verdict in OUTSIDE:
        tag = "failure" if finding.level is Level.SHALL else "skipped"
        lines = [*_points(finding), *([accepted_sentence(accepted)] if accepted else [])]
        return _outcome(tag, _told(finding), lines, kind=finding.verdict)
    if finding.verdict is Verdict.NOT_ASSESSED:
        tag = "error" if finding.level is Level.SHALL else "skipped"
        why = reason_word(finding.reason)
        if finding.missing:
            why += f": {', '.join(finding.missing)}"
        return _outcome(tag, why, kind=finding.reason or finding.verdict)
    return None


def _told(finding: Finding) -> str:
    level = " (should)" if finding.level is Level.SHOULD else ""
    word = verdict_word(finding.verdict)
    value, limit = numbers.format_value(finding), numbers.format_finding_limits(finding)
    return f"{finding.title}{level}: {word}: {value}; limit {limit}"


def _points(finding: Finding) -> Iterable[str]:
    for point in finding.points:
        if point.verdict in OUTSIDE:
            value = numbers.format_point_value(point, finding)
            limit = numbers.format_limits(point.limits, finding.unit)
            yield f"{numbers.point_name(point)}: {value}; limit {limit}"
    if finding.clause:
        yield f"{finding.clause} ({finding.basis})"


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
    """`text` without what XML 1.0 cannot carry (2.2, Char); no-break spaces become spaces."""
    return "".join(char if _is_char(char) else "\ufffd" for char in text).replace("\u00a0", " ")


def _is_char(char: str) -> bool:
    code = ord(char)
    return (
        code in (0x9, 0xA, 0xD)
        or 0x20 <= code <= 0xD7FF
        or 0xE000 <= code <= 0xFFFD
        or code >= 0x10000
    )
