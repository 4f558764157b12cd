"""The JSON Schemas: closed, described, equal to the tables, in step with the reader."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from helpers.rule_mistakes import STRUCTURE
from helpers.sample_text import HOUSE, JOB, METER, RULE, STEPS, edited
from jsonschema import Draft202012Validator

from compliance import model
from compliance.colour.spaces import PRIMARIES, WHITES
from compliance.errors import InputError
from compliance.grading.patches import HUES
from compliance.quantities.catalogue import QUANTITIES, RECORDED_FIELDS
from compliance.rules.library import shipped_folder
from compliance.rules.patch_sets import KINDS, OF_ONE_PATCH
from compliance.rules.requirements import BLACKS, KEYS, OPTIONS
from compliance.yaml_nodes.json_schema import load_schema
from compliance.yaml_nodes.nodes import Node, parse
from compliance.yaml_nodes.read_file import read_nodes

NAMES = ("rule", "job", "meter", "repository")
RULE_DEFS = load_schema("rule")["$defs"]
REQUIREMENT = RULE_DEFS["requirement"]["properties"]
TARGET = RULE_DEFS["target"]["properties"]


def parts(schema: Any, path: str = "#") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every schema inside a schema, with its path."""
    if isinstance(schema, list):
        for number, entry in enumerate(schema):
            yield from parts(entry, f"{path}/{number}")
    elif isinstance(schema, dict):
        yield path, schema
        for key, entry in schema.items():
            if key not in ("examples", "enum", "default", "required", "if"):
                yield from parts(entry, f"{path}/{key}")


@pytest.mark.parametrize("name", NAMES)
def test_a_schema_is_a_schema(name: str) -> None:
    schema = load_schema(name)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("name", NAMES)
def test_every_mapping_is_closed(name: str) -> None:
    for path, part in parts(load_schema(name)):
        if part.get("type") == "object":
            assert "additionalProperties" in part, path
            assert part["additionalProperties"] is not True, path


@pytest.mark.parametrize("name", NAMES)
def test_every_key_says_what_it_expects(name: str) -> None:
    """Messages print titles and examples; what a property refers to may bring them."""
    schema = load_schema(name)
    for path, part in parts(schema):
        for key, entry in part.get("properties", {}).items() if "type" in part else ():
            while "$ref" in entry and "title" not in entry:
                target: Any = schema
                for step in entry["$ref"].removeprefix("#/").split("/"):
                    target = target[int(step) if isinstance(target, list) else step]
                entry = target
            assert "title" in entry, f"{path}/{key}"


@pytest.mark.parametrize("name", NAMES)
def test_required_keys_are_known_keys(name: str) -> None:
    for path, part in parts(load_schema(name)):
        if part.get("type") == "object":
            assert set(part.get("required", ())) <= set(part.get("properties", ())), path


@pytest.mark.parametrize("name", NAMES)
def test_examples_fit(name: str) -> None:
    """An example that a message prints is accepted where it is printed."""
    schema = load_schema(name)
    for path, part in parts(schema):
        for example in part.get("examples", ()):
            own = {
                **part,
                "$defs": schema.get("$defs", {}),
                "properties": part.get("properties", {}),
            }
            if name == "rule" and "$ref" in part and part["$ref"].startswith("#/properties"):
                continue
            faults = [e.message for e in Draft202012Validator(own).iter_errors(example)]
            assert not faults, f"{path}: {example}: {faults}"


@pytest.mark.parametrize(
    ("enum", "table"),
    [
        (RULE_DEFS["encoding"]["enum"], model.ENCODINGS),
        (load_schema("job")["$defs"]["encoding"]["enum"], model.ENCODINGS),
        (RULE_DEFS["level"]["enum"], [level.value for level in model.Level]),
        (RULE_DEFS["position"]["enum"], [*model.POSITIONS, *model.POSITION_GROUPS]),
        (RULE_DEFS["pattern"]["enum"], model.PATTERNS),
        (RULE_DEFS["set"]["properties"]["of"]["enum"], model.BUILT_IN_SETS),
        (RULE_DEFS["hues"]["items"]["enum"], HUES),
        (RULE_DEFS["primaries"]["then"]["enum"], PRIMARIES),
        (TARGET["container"]["then"]["enum"], ["none", *PRIMARIES]),
        (TARGET["white"]["then"]["enum"], WHITES),
        (TARGET["transfer"]["properties"]["curve"]["enum"], BLACKS),
        (REQUIREMENT["quantity"]["enum"], QUANTITIES),
        (REQUIREMENT["field"]["enum"], RECORDED_FIELDS),
        (REQUIREMENT["reference"]["enum"], ["target", "white", "centre", "adapted"]),
        (load_schema("job")["$defs"]["display"]["properties"]["technology"]["enum"],
         model.TECHNOLOGIES),
    ],
)  # fmt: skip
def test_enums_are_the_tables(enum: list[str], table: Any) -> None:
    assert sorted(enum) == sorted(table)


def test_statistics_references_and_options_are_those_of_the_catalogue() -> None:
    known = {statistic for row in QUANTITIES.values() for statistic in row.statistics}
    assert {*REQUIREMENT["statistic"]["then"]["enum"], "percentile"} == known
    assert {r for row in QUANTITIES.values() for r in row.references} == set(
        REQUIREMENT["reference"]["enum"]
    )
    assert {option for row in QUANTITIES.values() for option in row.options} == set(OPTIONS)
    assert set(OPTIONS) <= set(REQUIREMENT)


def test_keys_of_limits_bands_and_sets_are_those_of_the_code() -> None:
    assert set(RULE_DEFS["limits"]["properties"]) == {*KEYS, "exclusive"}
    assert set(RULE_DEFS["band"]["properties"]) == {*KEYS, "exclusive", "upto"}
    of_sets = RULE_DEFS["set"]
    assert tuple(of_sets["dependentSchemas"]) == KINDS
    assert [{"required": [kind]} for kind in KINDS] == of_sets["anyOf"]
    beside = {kind: part["properties"] for kind, part in of_sets["dependentSchemas"].items()}
    assert {key for keys in beside.values() for key in keys} == set(of_sets["properties"])
    assert {kind for kind in KINDS if "of" in beside[kind]} == set(OF_ONE_PATCH)
    assert {name for part in RULE_DEFS["one_interval"]["anyOf"] for name in part["required"]} == (
        set(KEYS)
    )


# ---------------------------------------------------------------- reader and schema in step


def core_schema_value(node: Node) -> Any:
    """A node as an editor's YAML 1.2 parser sees it."""
    if node.kind == "mapping":
        return {key: core_schema_value(entry) for key, entry in node.entries.items()}
    if node.kind == "list":
        return [core_schema_value(item) for item in node.items]
    if node.empty:
        return None
    try:
        return json.loads(node.text) if node.plain else node.text
    except ValueError:
        return node.text


def instance(text: str) -> Any:
    node = parse(text.encode(), "a.yaml")
    assert isinstance(node, Node)
    return core_schema_value(node)


def accepted(text: str, name: str, start: str = "#") -> Any:
    node = parse(text.encode(), "a.yaml")
    assert isinstance(node, Node)
    return read_nodes(node, "a.yaml", name, InputError, start=start)


@pytest.mark.parametrize(
    ("text", "name"), [(RULE, "rule"), (HOUSE, "rule"), (JOB, "job"), (METER, "meter")]
)
def test_good_files_fit_as_written_and_as_read(text: str, name: str) -> None:
    validator = Draft202012Validator(load_schema(name))
    assert not [error.message for error in validator.iter_errors(instance(text))]
    assert not [error.message for error in validator.iter_errors(accepted(text, name))]


def test_a_good_list_fits() -> None:
    schema = {**load_schema("rule")["$defs"]["list"], "$defs": RULE_DEFS}
    assert Draft202012Validator(schema).is_valid(accepted(STEPS, "rule", "#/$defs/list"))


def test_shipped_rules_fit_as_an_editor_sees_them() -> None:
    validator = Draft202012Validator(load_schema("rule"))
    for path in shipped_folder().glob("*.yaml"):
        assert validator.is_valid(instance(path.read_text(encoding="utf-8"))), path.name


UNSEEN = ("'110'", "1e400", 'title: "', "title: ' '", "2026-02-30", "max: .inf")
"""Mistakes in words, not in structure: an editor sees a text, or a large number."""


@pytest.mark.parametrize(("old", "new", "message"), STRUCTURE)
def test_what_the_reader_refuses_the_schema_refuses(old: str, new: str, message: str) -> None:
    text = edited(RULE, old, new)
    if isinstance(parse(text.encode(), "a.yaml"), Node) and not any(u in new for u in UNSEEN):
        assert not Draft202012Validator(load_schema("rule")).is_valid(instance(text)), message
