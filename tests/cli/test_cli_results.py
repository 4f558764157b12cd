"""Exit codes of several results; the JSON object."""

from __future__ import annotations

import pytest

from compliance.cli.assess import json_object
from compliance.documents import assessment_document
from compliance.model import Outcome
from compliance.report.exports import Fault, Result, exit_code


@pytest.mark.parametrize(
    ("codes", "code"),
    [
        ((0, 0), 0),
        ((0, 3), 3),
        ((3, 1, 0), 1),
        ((0, 1, 3, 2), 2),
        ((2, 4, 1), 4),
        ((), 4),
    ],
)
def test_the_first_present_of_4_2_1_3_0(make, codes, code):
    verdicts = {0: Outcome.COMPLIANT, 1: Outcome.NOT_COMPLIANT, 3: Outcome.UNDECIDED}
    rows = [
        Result("1", "r", make.assessment([], verdicts[each]))
        if each in verdicts
        else Result("1", "r", None, Fault(("x",), each))
        for each in codes
    ]
    assert exit_code(rows) == code


def test_json_carries_documents_and_errors(make):
    made = make.assessment([], slot="1")
    rows = [
        Result("1", "sdr-broadcast", made, Fault(("full",), 4)),
        Result("2", "web-srgb", None, Fault(("a", "b"), 2)),
    ]
    assert json_object(rows) == {
        "assessments": [assessment_document(made)],
        "errors": [
            {"slot": "1", "deliverable": "sdr-broadcast", "exit_code": 4, "messages": ["full"]},
            {"slot": "2", "deliverable": "web-srgb", "exit_code": 2, "messages": ["a", "b"]},
        ],
    }
