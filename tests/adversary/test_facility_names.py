"""The facility names the sheet, what it replaces or its rule otherwise than they are.

Readings, limits and verdict are honest; digests, number and pages fit the document.

| attack | line that refuses it |
|---|---|
| the number of another slot, or a sentence in it | expected one that begins with |
| a sentence as the number that is replaced | expected a number of QX-9-3-hdr-pq-1000 |
| an archived rule without the remark that it is | remarks: number of entries |
| another name of the rule's file | rule, files, 1: path |
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from adversary.forging import (
    RULE,
    Desk,
    assessed,
    drawn,
    evidence,
    failing,
    mended,
    refused,
    sealed,
    words,
)
from helpers.shipped import shipped_rule

from compliance.documents import numbered
from compliance.model import Assessment
from compliance.rules.library import load_rule

OWN = "QX-9-3-hdr-pq-1000"
OTHER = "QX-9-4-hdr-pq-1000"


def numbered_as(head: str) -> bytes:
    """The failing slot's sheet with another beginning of its number."""
    files = mended(evidence(failing()))
    text = files["assessment.json"].replace(OWN.encode(), head.encode())
    assert text != files["assessment.json"]
    return sealed(drawn(failing(), {**files, "assessment.json": text}))


def replacing(number: str) -> Assessment:
    return numbered(replace(failing(), replaces=number))


@pytest.mark.parametrize("head", [OTHER, "all values within their limits"])
def test_a_number_of_another_slot(desk: Desk, head: str) -> None:
    line = f"its number is {head}-"
    found = desk.verify(numbered_as(head))
    refused(found, line)
    refused(found, f"expected one that begins with {OWN}")


def test_control_of_a_sheet_that_replaces_another(desk: Desk) -> None:
    found = desk.verify(sealed(drawn(replacing(f"{OWN}-{'0123abcd' * 4}"))))
    assert found.returncode == 0
    assert f"Replaces {OWN}-" in words(found)


@pytest.mark.parametrize(
    "text", ["nothing; the client took it as compliant", f"{OTHER}-{'0123abcd' * 4}"]
)
def test_a_sentence_in_place_of_what_it_replaces(desk: Desk, text: str) -> None:
    refused(desk.verify(sealed(drawn(replacing(text)))), f"expected a number of {OWN}")


def test_an_archived_rule_without_its_remark(desk: Desk) -> None:
    silent = replace(load_rule(f"{RULE}@1"), archived=None)
    refused(desk.verify(sealed(drawn(assessed(rule=silent)))), "remarks: number of entries")


def test_another_name_of_the_rules_file(desk: Desk) -> None:
    rule = shipped_rule(RULE)
    first, *others = rule.files
    praised = replace(rule, files=(replace(first, path="approved by the client.yaml"), *others))
    refused(desk.verify(sealed(drawn(assessed(rule=praised)))), "rule, files, 1: path")
