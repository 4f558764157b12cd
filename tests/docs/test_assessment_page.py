"""The page of the assessment document is true of documents."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from helpers import near_limit
from helpers.evidence_of_a_slot import assessment
from helpers.near_limit import AGAIN, both
from jsonschema import Draft202012Validator

from compliance.documents import assessment_document
from compliance.model import Assessment
from compliance.yaml_nodes.json_schema import load_schema

PAGE = Path(__file__).resolve().parents[2] / "docs" / "reference" / "documents.md"
SCHEMA: Mapping[str, Any] = load_schema("assessment")


def objects(part: Any, path: str = "") -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Every object of the schema, by its path."""
    if isinstance(part, Mapping):
        if "properties" in part:
            yield path, part
        for key, entry in part.items():
            yield from objects(entry, f"{path}/{key}")


def test_every_key_is_described_and_stated() -> None:
    for path, part in objects(SCHEMA):
        assert part["additionalProperties"] is False, path
        assert sorted(part["properties"]) == sorted(part["required"]), path
        for key, entry in part["properties"].items():
            assert entry.get("description"), f"{path}/{key}"


@pytest.mark.parametrize(
    "make",
    [
        near_limit.assessment,
        lambda: near_limit.assessment(both(), now=AGAIN),
        assessment,
    ],
    ids=["outside", "accepted", "whole"],
)
def test_documents_hold_to_the_schema(make: Callable[[], Assessment]) -> None:
    document = near_limit.document(make())
    Draft202012Validator.check_schema(SCHEMA)
    Draft202012Validator(SCHEMA).validate(document)
    with pytest.raises(Exception, match="'more' was unexpected"):
        Draft202012Validator(SCHEMA).validate({**document, "more": 1})


def test_the_page_names_every_key_of_a_document() -> None:
    text = PAGE.read_text(encoding="utf-8")
    named = {
        place.rsplit(".", 1)[-1].strip("[]") for place in re.findall(r"^\| `(.+?)`", text, re.M)
    }
    free = {"settings", "declared", "facts"}

    def keys(value: Any) -> Iterator[str]:
        if isinstance(value, Mapping):
            for key, entry in value.items():
                yield key
                yield from () if key in free else keys(entry)
        elif isinstance(value, list):
            for entry in value:
                yield from keys(entry)

    document = json.loads(json.dumps(assessment_document(assessment())))
    assert set(keys(document)) <= named


def test_the_example_is_a_document() -> None:
    text = PAGE.read_text(encoding="utf-8")
    (shown,) = re.findall(r"^```json\n(.*?)^```", text, re.M | re.S)
    document = json.loads(shown)
    Draft202012Validator(SCHEMA).validate(document)
    assert document["disposition"] == "accepted-with-deviations"
    assert len(document["findings"]) == len(document["deviations"]) == 1
