"""What a delivery states for other programs is what its sheets say, and is compared with them."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from helpers import near_limit
from helpers.deliveries import Files, as_folder, checked, delivery, resealed, sheets, told
from helpers.signing import identity

from compliance.delivery.build import AGENT
from compliance.delivery.departures import departures
from compliance.delivery.summary import summary, summary_csv
from compliance.model import Change
from compliance.rules.library import load_rule
from compliance.yaml_nodes.json_schema import SCHEMAS


def stated(files: Files) -> Any:
    return json.loads(files["delivery.json"])


def rows(table: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(table.decode(), newline="")))


def test_it_follows_its_schema_and_says_what_the_sheets_say() -> None:
    found = stated(delivery())
    schema = json.loads((SCHEMAS / "delivery.json").read_text())
    jsonschema.Draft202012Validator(schema).validate(found)
    parts = json.loads((SCHEMAS / "assessment.json").read_text())["$defs"]
    assert schema["$defs"].items() <= parts.items()
    first, second = found["sheets"]
    assert first["file"] == "data/sheets/one.pdf"
    assert (first["verdict"], first["disposition"]) == ("not-compliant", "accepted-with-deviations")
    assert (second["slot"], second["disposition"], second["replaces"]) == ("2", None, None)
    whole = sheets()[0].assessment
    assert first["number"] == whole.number
    assert first["rule"]["digest"] == whole.rule.digest
    assert first["valid_until"] == "2026-12-11T00:00:00Z"
    accepted = {each["requirement"]: each for each in first["deviations"]}
    assert accepted["white-level"]["value"] == 112.5
    assert accepted["white-level"]["limits"] == {
        "min": 95, "max": 105, "nominal": None, "box": None, "exclusive": False
    }  # fmt: skip
    assert accepted["white-level"]["signer"]["sha256"] == near_limit.client().signer.fingerprint
    roles = [(each["role"], each["sha256"]) for each in first["signatures"]]
    assert roles == [
        ("facility", identity().signer.fingerprint),
        ("Client", near_limit.client().signer.fingerprint),
    ]
    sums = dict(
        line.split("  ")[::-1] for line in delivery()["manifest-sha256.txt"].decode().splitlines()
    )
    assert {each["file"]: each["sha256"] for each in found["sheets"]}.items() <= sums.items()


def test_the_table_has_a_row_for_each_sheet() -> None:
    first, second = rows(delivery()["delivery.csv"])
    assert [first["file"], second["file"]] == ["data/sheets/one.pdf", "data/sheets/two.pdf"]
    assert first["verdict"] == "not-compliant"
    assert "white-level value=112.5 until=2026-12-10 accepted_by=Cleo Client" in first["deviations"]
    assert "signer=Cleo Client checked=false sha256=" in first["deviations"]
    assert first["signatures"].count("sha256=") == 2
    assert (second["replaces"], second["deviations"]) == ("", "")


def test_the_signature_covers_both() -> None:
    listed = delivery()["tagmanifest-sha256.txt"].decode()
    assert "  delivery.csv\n" in listed and "  delivery.json\n" in listed


def test_departures_of_a_house_rule_name_what_its_parent_asks() -> None:
    sheet = sheets()[1]
    parent = {each["id"]: each for each in load_rule("sdr-broadcast@2").resolved["requirements"]}
    looser = Change("requirements.white-level", "older panel", "Odile", near_limit.AGAIN.date())
    gone = replace(looser, subject="requirements.surround", withdrawn=True)
    rule = replace(sheet.assessment.rule, extends="sdr-broadcast@2", changes=(looser, gone))
    now = {"requirements": [{"id": "white-level", "limits": {"nominal": 100, "within": 20}}]}
    found = departures(rule, now)
    given = replace(sheet, departures=found)
    first, second = summary([given])["sheets"][0]["rule"]["departures"]
    assert first["now"]["limits"] == {"nominal": 100, "within": 20}
    assert first["parent"] == parent["white-level"]
    assert (first["reason"], first["agreed_by"]) == ("older panel", "Odile")
    assert (second["withdrawn"], second["now"]) == (True, None)
    assert second["parent"] == parent["surround"]
    (row,) = rows(summary_csv([given]))
    assert row["departures"].startswith(
        'requirements.white-level now={"nominal": 100, "within": 20} parent='
    )
    assert "; requirements.surround withdrawn parent=" in row["departures"]


@pytest.mark.parametrize(
    "extends", ["our-own@1", "../specs/sdr-broadcast.yaml", "sdr-broadcast@99"]
)
def test_a_parent_that_does_not_come_with_the_tool_is_not_looked_for(extends: str) -> None:
    sheet = sheets()[1]
    change = Change("title", "another", "Odile", near_limit.AGAIN.date())
    rule = replace(sheet.assessment.rule, extends=extends, changes=(change,))
    (found,) = departures(rule, {"title": "Ours"})
    assert (found.now, found.parent) == ("Ours", None)


# ---------------------------------------------------------------- compared


def with_verdict(files: Files) -> Files:
    files["delivery.json"] = files["delivery.json"].replace(b'"not-compliant"', b'"compliant"')
    return files


def with_validity(files: Files) -> Files:
    files["delivery.csv"] = files["delivery.csv"].replace(b"2026-12-11", b"2027-12-11")
    return files


def without_a_sheet(files: Files) -> Files:
    found = stated(files)
    found["sheets"].pop()
    files["delivery.json"] = json.dumps(found).encode()
    return files


def twice_a_key(files: Files) -> Files:
    files["delivery.json"] = files["delivery.json"].replace(
        b'"verdict":', b'"verdict": "compliant", "verdict":'
    )
    return files


CHANGES = [with_verdict, with_validity, without_a_sheet, twice_a_key]


@pytest.mark.parametrize("change", CHANGES)
def test_what_is_false_is_found(tmp_path: Path, change: Callable[[Files], Files]) -> None:
    files = change(delivery())
    assert files != delivery()
    found = checked(as_folder(resealed(files), tmp_path / "d"))
    assert str(found.steps[3].status) == "fail"
    assert "does not agree with the sheets" in told(found, 4)


def by_another(files: Files) -> Files:
    info = files["bag-info.txt"]
    files["bag-info.txt"] = info.replace(AGENT.encode(), b"other 9.9")
    assert files["bag-info.txt"] != info
    return resealed(files)


@pytest.mark.parametrize(
    ("change", "status"),
    [
        (with_verdict, "fail"),
        (without_a_sheet, "fail"),
        (twice_a_key, "fail"),
        (with_validity, "unknown"),
    ],
)
def test_of_another_version_what_is_false_is_found_too(
    tmp_path: Path, change: Callable[[Files], Files], status: str
) -> None:
    found = checked(as_folder(by_another(change(delivery())), tmp_path / "d"))
    assert str(found.steps[3].status) == status


def without_both(files: Files) -> Files:
    """As versions wrote that did not have them."""
    del files["delivery.json"], files["delivery.csv"]
    return files


def with_more_keys(files: Files) -> Files:
    found = stated(files)
    found["sheets"][0]["weather"] = "fog"
    files["delivery.json"] = json.dumps(found).encode()
    return files


@pytest.mark.parametrize("change", [without_both, with_more_keys])
def test_what_another_version_states_less_or_more_is_left_open(
    tmp_path: Path, change: Callable[[Files], Files]
) -> None:
    found = checked(as_folder(by_another(change(delivery())), tmp_path / "d"))
    assert str(found.steps[3].status) == "unknown"
    assert "delivery.json: not compared with the sheets: written by other 9.9" in told(found, 4)
    found = checked(as_folder(resealed(change(delivery())), tmp_path / "e"))
    assert str(found.steps[3].status) == "fail"
