"""The facility edits the rule, so that a failing slot keeps its limits.

| attack | line that refuses it |
|---|---|
| a text editor among the program's rules | it is not hdr-pq-1000, revision 2, as it is shipped |
| the same in the archive | it is not hdr-pq-1000, revision 1, as it is shipped |
| a revision that nobody shipped | use a newer version (exit 3) |
| a rule that nobody shipped | its rule was not proven (exit 3) |
| a house rule loosened without a record | departs from ... without a record |
| a house rule other than the client's copy | it is not own-pq, revision 1, as in your own copy |
| the attached rule is not the one of the document | stated |
"""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from adversary.forging import (
    RULE,
    Desk,
    assessed,
    drawn,
    edited_rule,
    evidence,
    own_rule,
    refused,
    sealed,
    stated,
    words,
)

from compliance.model import Rule
from compliance.rules.library import rule_from_resolved

EASY = {
    "limits: {min: 950, max: 1100}": "limits: {min: 500, max: 1100}",
    "limits: {max: 5}": "limits: {max: 500}",
    "within: 15}": "within: 95}",
    "{within: 7}": "{within: 70}",
}
"""Limits that the failing slot keeps, in either revision."""
BRIGHT = {"limits: {max: 12}": "limits: {max: 120}"}
"""The same for a requirement that only revision 2 has."""
OWN = """\
rule: own-pq
title: HDR master, PQ, 1000 cd/m²
revision: 1
extends: hdr-pq-1000@2
requirements:
  peak-level:
    limits: {min: 500, max: 1100}
    change: {reason: older panel, agreed_by: Odile Farrowmere, date: 2026-11-02}
  grey:
    limits: {max: 500}
    change: {reason: older panel, agreed_by: Odile Farrowmere, date: 2026-11-02}
  tracking:
    bands: [{within: 70}]
    change: {reason: older panel, agreed_by: Odile Farrowmere, date: 2026-11-02}
  colours-bright:
    limits: {max: 120}
    change: {reason: older panel, agreed_by: Odile Farrowmere, date: 2026-11-02}
"""


def judged_by(rule: Rule) -> bytes:
    """The failing slot's sheet by that rule: it is called compliant."""
    slot = assessed(rule=rule)
    assert stated(evidence(slot))["verdict"] == "compliant"
    return sealed(drawn(slot))


@pytest.fixture
def agreed(tmp_path: Path) -> Rule:
    """A house rule with all records."""
    (tmp_path / "rules").mkdir()
    return own_rule(tmp_path / "rules", "own-pq", OWN)


def test_control_of_an_archived_rule(desk: Desk, tmp_path: Path) -> None:
    slot = assessed(rule=edited_rule(tmp_path, f"{RULE}@1"))
    found = desk.verify(sealed(drawn(slot)))
    assert found.returncode == 0
    assert "The sheet states: not compliant." in words(found)


def test_control_of_a_house_rule(desk: Desk, agreed: Rule, tmp_path: Path) -> None:
    assert desk.verify(judged_by(agreed), "--rules", tmp_path / "rules").returncode == 0


def test_edited_in_the_program(desk: Desk, tmp_path: Path) -> None:
    forged = judged_by(edited_rule(tmp_path, RULE, *EASY.items(), *BRIGHT.items()))
    refused(desk.verify(forged), "fail rule: it is not hdr-pq-1000, revision 2, as it is shipped")


def test_edited_in_the_archive(desk: Desk, tmp_path: Path) -> None:
    forged = judged_by(edited_rule(tmp_path, f"{RULE}@1", *EASY.items()))
    refused(desk.verify(forged), "fail rule: it is not hdr-pq-1000, revision 1, as it is shipped")


def test_a_revision_to_come(desk: Desk, tmp_path: Path) -> None:
    raised = {"revision: 2": "revision: 3"}
    edits = (*EASY.items(), *BRIGHT.items(), *raised.items())
    found = desk.verify(judged_by(edited_rule(tmp_path, RULE, *edits)))
    refused(found, "revision 3, is above what this version ships, 2; use a newer version", 3)
    assert "Valid" not in words(found)


def test_a_house_rule_that_the_client_has_not_seen(desk: Desk, agreed: Rule) -> None:
    found = desk.verify(judged_by(agreed))
    refused(found, "if it is the rule that you agreed to, give your copy", 3)
    said = words(found)
    assert said.index("give your copy") < said.index("The sheet states")


def test_a_house_rule_other_than_the_one_agreed(desk: Desk, agreed: Rule, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    copy.mkdir()
    own_rule(copy, "own-pq", OWN.replace("min: 500", "min: 900"))
    forged = judged_by(agreed)
    refused(desk.verify(forged, "--rules", copy), "it is not own-pq, revision 1, as in your own")


def without_records(rule: dict[str, Any]) -> None:
    del rule["changes"]


def with_one_record_less(rule: dict[str, Any]) -> None:
    rule["changes"] = [each for each in rule["changes"] if "peak-level" not in each["subject"]]


def with_a_failure_withdrawn(rule: dict[str, Any]) -> None:
    rule["requirements"] = [each for each in rule["requirements"] if each["id"] != "peak-level"]
    with_one_record_less(rule)


def with_a_failure_reported_only(rule: dict[str, Any]) -> None:
    (peak,) = (each for each in rule["requirements"] if each["id"] == "peak-level")
    peak.update(level="should", limits={"min": 950, "max": 1100})
    with_one_record_less(rule)


def with_another_target(rule: dict[str, Any]) -> None:
    rule["target"]["luminance"]["white"] = 90


def with_years_of_validity(rule: dict[str, Any]) -> None:
    rule["valid_for"]["days"] = 3000


EDITS = (
    without_records,
    with_one_record_less,
    with_a_failure_withdrawn,
    with_a_failure_reported_only,
    with_another_target,
    with_years_of_validity,
)


@pytest.mark.parametrize("edit", EDITS, ids=lambda edit: edit.__name__)
def test_a_house_rule_with_less_than_all_records(
    desk: Desk, agreed: Rule, edit: Callable[[dict[str, Any]], None]
) -> None:
    resolved = deepcopy(dict(agreed.resolved))
    edit(resolved)
    slot = assessed(rule=rule_from_resolved(resolved, agreed.files))
    line = "own-pq, revision 1, departs from hdr-pq-1000@2 without a record of who agreed to it"
    refused(desk.verify(sealed(drawn(slot))), line)


def test_a_parent_is_not_named(desk: Desk, tmp_path: Path) -> None:
    edits = (*EASY.items(), *BRIGHT.items(), (f"rule: {RULE}", "rule: hdr-pq-1000s"))
    text = edited_rule(tmp_path, RULE, *edits[:-1])
    assert text.id == RULE
    source = (tmp_path / "specs" / f"{RULE}.yaml").read_text("utf-8")
    (tmp_path / "specs" / "hdr-pq-1000s.yaml").write_text(source.replace(*edits[-1]), "utf-8")
    rule = edited_rule(tmp_path, "hdr-pq-1000s")
    refused(desk.verify(judged_by(rule)), "give your copy", 3)
