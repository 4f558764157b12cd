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
from compliance.model import Assessment, Level, Outcome, Verdict
from compliance.report.build import build_report
from compliance.report.report import Row
from compliance.report.results import Result
from compliance.report.verdict import applies

TAGS = {Outcome.UNDECIDED: "error", Outcome.NOT_COMPLIANT: "failure"}
"""What a suite holds at least one of, by its verdict."""


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
    report = build_report(assessment)
    cases = [(row.finding.id, _of_row(row)) for row in report.now.rows]
    tags = {outcome.tag for _, outcome in cases if outcome is not None}
    needed = TAGS.get(assessment.verdict)
    if needed is not None and needed not in tags:
        cases.append(("verdict", _outcome(needed, report.now.sentence)))
    return cases


def _of_row(row: Row) -> ET.Element | None:
    """The element inside a case; None is a pass. What is accepted is told and stays a failure."""
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
