"""The table of findings: what another program reads, and what a spreadsheet must not run."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from helpers.near_limit import AGAIN, assessment, both

from compliance.report.exports import COLUMNS, Fault, Result, findings_csv, junit


def table(*results: Result) -> list[dict[str, str]]:
    data = findings_csv(results)
    assert data.count(b"\r\n") == data.count(b"\n")
    return list(csv.DictReader(io.StringIO(data.decode(), newline="")))


def test_a_row_per_requirement() -> None:
    found = assessment(both(), now=AGAIN)
    rows = table(Result("1", "tiny", found))
    assert [row["requirement"] for row in rows] == [
        "white-level",
        "white-colour",
        "black-level",
        "black-floor",
    ]
    first, second, third, _ = rows
    assert (first["value"], first["limit_min"], first["limit_max"]) == ("112.5", "95.0", "105.0")
    assert (first["unit"], first["verdict"], first["level"]) == ("cd/m²", "fail", "shall")
    assert (first["accepted_by"], first["accepted_until"]) == ("Cleo Client", "2026-12-10")
    assert first["outcome"] == "not-compliant"
    assert first["disposition"] == "accepted-with-deviations"
    assert float(second["value"]) == found.state.findings[1].value[0]  # type: ignore[index]
    assert float(second["value_y"]) == found.state.findings[1].value[1]  # type: ignore[index]
    assert (second["limit_box_x"], second["limit_min"]) == ("0.002", "")
    assert (third["accepted_by"], third["probability"]) == ("", "")
    assert {row["number"] for row in rows} == {found.number}


def test_results_without_an_assessment_have_no_rows() -> None:
    assert table(Result("1", "tiny", None, Fault(("x",), 2))) == []
    assert findings_csv([]).decode().strip().split(",") == list(COLUMNS)


@pytest.mark.parametrize(
    "text",
    [
        "=1+1",
        "+1",
        "-1",
        "@SUM(A1)",
        "\t=1",
        "\r=1",
        " =1",
        "=cmd|' /C calc'!A0",
        "＝1",
        '\n=HYPERLINK("x")',
    ],
)
def test_no_text_is_a_formula(text: str) -> None:
    """OWASP, CSV injection: cells that begin with =, +, -, @, tab or carriage return."""
    made = assessment()
    assert made.job is not None
    measurement = replace(
        made.measurement, job=replace(made.job, reference=text), rule=replace(made.rule, id=text)
    )
    finding = replace(made.state.findings[0], title=text, clause=text, missing=(text,))
    state = replace(made.state, measurement=measurement, findings=(finding,))
    row = table(Result("1", "tiny", replace(made, state=state)))[0]
    for column in ("job", "rule", "title", "clause", "missing"):
        assert row[column].startswith("'"), column
        assert row[column][1:].strip() in " ".join(text.split())


def test_negative_numbers_stay_numbers() -> None:
    made = assessment()
    finding = replace(made.state.findings[0], value=-0.25)
    made = replace(made, state=replace(made.state, findings=(finding,)))
    assert table(Result("1", "tiny", made))[0]["value"] == "-0.25"


def test_junit_tells_what_is_accepted_and_stays_red() -> None:
    suites = ET.fromstring(junit([Result("1", "tiny", assessment(both(), now=AGAIN))], AGAIN))
    failures = [case for case in suites.iter("testcase") if case.find("failure") is not None]
    assert [case.get("name") for case in failures] == ["white-level", "white-colour"]
    told = failures[0].find("failure")
    assert told is not None
    assert "by Cleo Client (identity not checked), until 2026-12-10: only for the" in (
        told.text or ""
    )
