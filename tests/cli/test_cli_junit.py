"""JUnit XML: red exactly where the exit code is not 0."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from compliance.model import Level, Limits, Outcome, Reason, Verdict
from compliance.report.exports import Fault, Result, junit


def read(results, make):
    return ET.fromstring(junit(results, make.NOW))


def outcomes(suite):
    return {
        case.get("name"): [(child.tag, child.get("message"), child.get("type")) for child in case]
        for case in suite.iter("testcase")
    }


def test_a_case_per_requirement(make):
    limits = Limits(-5, 5)
    points = (
        make.point("grey-1", 7.04, limits, Verdict.FAIL),
        make.point("grey-2", 2, limits, Verdict.PASS),
    )
    rows = [
        make.finding("white"),
        make.finding(
            "tracking",
            Verdict.FAIL,
            title="Tracking",
            quantity="luminance-error",
            unit="%",
            value=7.04,
            limits=limits,
            points=points,
            clause="A document, 1.5",
        ),
        make.finding("dark", Verdict.FAIL, level=Level.SHOULD),
        make.finding(
            "contrast",
            Verdict.NOT_ASSESSED,
            value=None,
            reason=Reason.MISSING_READINGS,
            missing=("black",),
        ),
        make.finding("corners", Verdict.NOT_ASSESSED, value=None, reason=Reason.NOT_APPLICABLE),
        make.finding("near", Verdict.CONDITIONAL_PASS),
        make.finding("almost", Verdict.CONDITIONAL_FAIL, value=106.0),
    ]
    made = make.assessment(rows, Outcome.NOT_COMPLIANT)
    root = read([Result("1", "sdr-broadcast", made)], make)
    (suite,) = root
    assert suite.attrib == {
        "name": "1 sdr-broadcast",
        "timestamp": "2026-11-21T08:00:00",
        "tests": "7",
        "failures": "2",
        "errors": "1",
        "skipped": "2",
        "time": "0",
    }
    assert {case.get("classname") for case in suite} == {"KX-7.1.sdr-broadcast"}
    assert outcomes(suite) == {
        "white": [],
        "tracking": [("failure", "Tracking: fail: +7.04 %; limit ± 5 %", "fail")],
        "dark": [
            ("skipped", "Dark (should): fail: 100.0 cd/m²; limit 100 ± 5 cd/m²", None),
        ],
        "contrast": [("error", "readings are missing: black", "missing-readings")],
        "corners": [("skipped", "not applicable", None)],
        "near": [],
        "almost": [
            (
                "failure",
                "Almost: conditional fail: 106.0 cd/m²; limit 100 ± 5 cd/m²",
                "conditional-fail",
            )
        ],
    }
    assert suite.find("testcase/failure").text == (
        "grey-1: +7.04 %; limit ± 5 %\nA document, 1.5 (practice)"
    )
    assert {key: root.get(key) for key in ("tests", "failures", "errors", "skipped")} == {
        "tests": "7",
        "failures": "2",
        "errors": "1",
        "skipped": "2",
    }


def test_a_fault_is_an_error_of_its_suite(make):
    fault = Fault(("slot.csv:3: X: 'a' is not a number", "slot.csv:4: Y: empty"), 2)
    (suite,) = read([Result("Suite 1.b", "web-srgb", None, fault)], make)
    (case,) = suite
    assert case.get("classname") == "Suite 1_b.web-srgb"
    assert outcomes(suite) == {"run": [("error", "slot.csv:3: X: 'a' is not a number", None)]}
    assert case[0].text == "slot.csv:4: Y: empty"


def test_a_guarded_conditional_pass_is_not_green(make):
    made = make.assessment(
        [make.finding("near", Verdict.CONDITIONAL_PASS)],
        Outcome.UNDECIDED,
        reason=Reason.UNCERTAINTY,
    )
    (suite,) = read([Result("1", "r", made)], make)
    assert [kind for case in outcomes(suite).values() for kind, *_ in case] == ["error"]


def test_what_xml_cannot_carry_is_replaced(make):
    made = make.assessment([make.finding("x", title="a\x00\x1b<&\"'\ud800\ufffe")], slot="\x07")
    (suite,) = read([Result("\x07", "r", made)], make)
    assert suite.get("name") == "\ufffd r"


@pytest.mark.parametrize("verdict", list(Outcome))
def test_green_exactly_where_compliant(make, verdict):
    made = make.assessment([make.finding("white")], verdict)
    root = read([Result("1", "r", made)], make)
    green = root.get("failures") == "0" and root.get("errors") == "0"
    assert green == (verdict is Outcome.COMPLIANT)
