"""A key that stands in the wrong mapping, and a file of the wrong kind."""

from __future__ import annotations

from typing import Any

import pytest
from helpers.sample_text import JOB, METER, RULE, edited

from compliance.errors import InputError
from compliance.yaml_nodes.json_schema import load_schema
from compliance.yaml_nodes.nodes import Node, kind_of, parse
from compliance.yaml_nodes.read_file import read_nodes, read_yaml
from compliance.yaml_nodes.schema_faults import where_key_belongs


def told(text: str, schema: str) -> str:
    node = read_yaml(text.encode(), "a.yaml", InputError)
    with pytest.raises(InputError) as failure:
        read_nodes(node, "a.yaml", schema, InputError)
    return str(failure.value)


@pytest.mark.parametrize(
    ("text", "old", "new", "schema", "end"),
    [
        (METER, "lowest: 0.003", "dark: 3", "meter", "it belongs in uncertainty"),
        (METER, "  k: 2", "  k: 2\n  settle: 1", "meter", "it belongs at the top of the file"),
        (METER, "lowest: 0.003", "xy: 0.3", "meter",
         "it belongs in uncertainty.linearity or uncertainty.correlation"),
        (RULE, "limits: {max: 110}", "max: 110", "rule", "it belongs in limits or bands[0]"),
        (RULE, "revision: 1", "revision: 1\nquantity: x", "rule",
         "it belongs in requirements.NAME"),
        (JOB, "job: SY-0412", "job: SY-0412\nmeasured: x", "job",
         "it belongs in slots[0].before or slots[0].readings"),
        # a misspelling goes before
        (METER, "certificate: {", "certificate: {seral: 1, ", "meter",
         "expected one of number, laboratory, issued, due, accreditation"),
        (JOB, "people: {", "people: {measured: x, ", "job", "did you mean 'measured_by'?"),
    ],
)  # fmt: skip
def test_where_a_key_belongs(text: str, old: str, new: str, schema: str, end: str) -> None:
    message = told(edited(text, old, new), schema)
    assert "unknown key" in message
    assert message.splitlines()[-1].endswith(end) or message.splitlines()[0].endswith(end)


def test_the_nearest_mapping_around_goes_before_those_further_out() -> None:
    def mapping(**parts: Any) -> dict[str, Any]:
        return {"type": "object", "properties": parts}

    inner, middle = mapping(), mapping(deep=mapping(deeper=mapping(key={})), key={})
    outer = mapping(beside=mapping(key={}))
    scopes = [(("a", "b"), inner), (("a",), middle), ((), outer)]
    assert where_key_belongs("key", scopes, lambda part: part) == "it belongs in a"
    assert where_key_belongs("key", [scopes[1]], lambda part: part) == "it belongs in deep.deeper"
    assert (
        where_key_belongs("key", [scopes[0], scopes[2]], lambda part: part)
        == "it belongs in beside"
    )
    assert where_key_belongs("none", scopes, lambda part: part) is None


def test_a_key_of_many_mappings_is_no_hint() -> None:
    def places(count: int) -> str | None:
        inner = {f"a{number}": {"properties": {"key": {}}} for number in range(count)}
        return where_key_belongs("key", [((), {"properties": inner})], lambda part: part)

    assert places(3) == "it belongs in a0, a1 or a2"
    assert places(4) is None


KINDS = {"job": JOB, "meter": METER, "rule": RULE, "repository": "specs: [rules]\n"}


@pytest.mark.parametrize("schema", ["job", "meter", "rule", "repository"])
@pytest.mark.parametrize("kind", list(KINDS))
def test_a_file_of_another_kind_is_one_line(kind: str, schema: str) -> None:
    node = parse(KINDS[kind].encode(), "a.yaml")
    assert isinstance(node, Node)
    assert kind_of(node) == kind
    if kind != schema:
        assert told(KINDS[kind], schema) == f"a.yaml: is a {kind} file; expected a {schema} file"


def test_what_is_of_no_kind_is_held_to_the_schema() -> None:
    assert told("jop: a\n", "job").startswith("a.yaml:1: jop: unknown key 'jop'; did you mean")
    assert load_schema("job")["required"][0] in KINDS["job"]
