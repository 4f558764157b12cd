"""Scalars take the type that the schema gives them, and nothing else."""

from __future__ import annotations

import math
from typing import Any

import pytest

from compliance.yaml_nodes.json_schema import as_date, as_time, validator_of
from compliance.yaml_nodes.nodes import Node, SourceLocations, parse
from compliance.yaml_nodes.schema_faults import note_faults
from compliance.yaml_nodes.schema_reader import Reader


def read(text: str, schema: dict[str, Any]) -> tuple[Any, list[str]]:
    """The value of `a` in a document, and what is said about it."""
    node = parse(f"a: {text}\n".encode(), "a.yaml")
    assert isinstance(node, Node)
    whole = {"type": "object", "properties": {"a": schema}}
    places = SourceLocations([("a.yaml", node)])
    reader = Reader(whole, places)
    data = reader.read(node, whole)
    note_faults(data, reader, validator_of(whole), places)
    problems = [problem.message for problem in places.problems]
    return (None if problems else data["a"]), problems


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1", 1), ("-1", -1), ("+1", 1), ("1.5", 1.5), (".5", 0.5), ("5.", 5), ("1e-3", 0.001),
        ("1.0", 1), ("0012", 12), ("-0", 0), ("2.5E+2", 250), ("1e15", 10**15),
    ],
)  # fmt: skip
def test_numbers(text: str, value: float) -> None:
    found, problems = read(text, {"type": "number"})
    assert (found, problems) == (value, [])
    assert type(found) is (int if value == math.floor(value) else float)
    assert math.copysign(1, found) == math.copysign(1, value)


@pytest.mark.parametrize(
    "text",
    [
        "1,5", "1_000", "0x10", "0o7", "1:30", ".inf", "-.inf", ".nan", "nan", "inf", "'1'", "1 %",
        "1e", "e5", "--1", "٣", "１", "true", "1e16", "1e400", "1" * 31, "1" * 5000, "~", "", "[1]",
    ],
)  # fmt: skip
def test_what_is_no_number(text: str) -> None:
    found, problems = read(text, {"type": "number"})
    assert found is None
    assert len(problems) == 1


@pytest.mark.parametrize(("text", "value"), [("3", 3), ("3.0", 3), ("1e2", 100)])
def test_whole_numbers(text: str, value: int) -> None:
    assert read(text, {"type": "integer"}) == (value, [])


@pytest.mark.parametrize("text", ["3.5", "1e-1", "'3'", "three"])
def test_what_is_no_whole_number(text: str) -> None:
    assert "is not a whole number" in read(text, {"type": "integer"})[1][0]


def test_only_true_and_false_are_true_and_false() -> None:
    assert read("true", {"type": "boolean"}) == (True, [])
    assert read("false", {"type": "boolean"}) == (False, [])
    for text in ("yes", "no", "on", "off", "True", "1", "'true'"):
        assert "is neither true nor false" in read(text, {"type": "boolean"})[1][0]


@pytest.mark.parametrize(
    "text", ["no", "on", "1:30", "0012", "2026-11-02", "1e3", "0x1F", "true", "«é»", "a # b"]
)
def test_texts_stay_as_written(text: str) -> None:
    expected = text.split(" #")[0]
    assert read(text, {"type": "string"}) == (expected, [])


@pytest.mark.parametrize(
    "character", ["\\0", "\\e", "\\x85", "\\u202e", "\\u2066", "\\ud800", "\\P"]
)
def test_what_cannot_be_printed_is_no_text(character: str) -> None:
    found, problems = read(f'"a{character}b"', {"type": "string"})
    assert found is None
    assert problems[0].startswith("has the character U+")


def test_lines_of_a_text_are_joined() -> None:
    assert read("|\n  one\n  two\n", {"type": "string"}) == ("one two", [])


@pytest.mark.parametrize(
    ("low", "text", "message"),
    [
        ({"minimum": 0}, "-1", "'-1' is below 0; expected cd/m²"),
        ({"maximum": 1}, "1.1", "'1.1' is above 1; expected cd/m²"),
        ({"exclusiveMinimum": 0}, "0", "'0' is not above 0; expected cd/m²"),
        ({"exclusiveMaximum": 1}, "1", "'1' is not below 1; expected cd/m²"),
    ],
)
def test_ranges(low: dict[str, float], text: str, message: str) -> None:
    assert read(text, {"type": "number", "title": "cd/m²", **low}) == (None, [message])


def test_alternatives_are_told_apart_by_the_kind_of_node() -> None:
    schema: dict[str, Any] = {
        "title": "a name or two numbers",
        "examples": ["d65"],
        "type": ["string", "array"],
        "if": {"type": "string"},
        "then": {"title": "white", "enum": ["d65", "dci"]},
        "else": {"title": "two numbers", "items": {"type": "number"}, "minItems": 2},
    }
    assert read("d65", schema) == ("d65", [])
    assert read("[1, 2]", schema) == ([1, 2], [])
    assert read("d55", schema) == (None, ["unknown white 'd55'; did you mean 'd65'?"])
    assert read("[1]", schema) == (None, ["a list with 1 entry; expected two numbers, e.g. a: d65"])
    wanted = "expected a name or two numbers, e.g. a: d65"
    assert read("{x: 1}", schema) == (None, [f"found a mapping; {wanted}"])
    assert read("", schema) == (None, [f"is empty; {wanted}"])


def test_a_word_or_a_number() -> None:
    schema = {
        "title": "yes, no or a number",
        "type": ["number", "string"],
        "if": {"type": "string"},
        "then": {"enum": ["yes", "no"]},
    }
    assert read("yes", schema) == ("yes", [])
    assert read("70", schema) == (70, [])
    assert read("perhaps", schema) == (
        None, ["found 'perhaps'; expected yes, no or a number"],
    )  # fmt: skip


@pytest.mark.parametrize("text", ["2026-11-02", "2024-02-29", "1970-01-01", "2199-12-31"])
def test_dates(text: str) -> None:
    assert str(as_date(text)) == text


@pytest.mark.parametrize(
    "text", ["2026-02-29", "2026-13-01", "20261102", "2026-W45-1", "1969-12-31", "2200-01-01",
             "2026-11-2", "02.11.2026", "2026-11-02T00:00:00Z", "２026-11-02", ""],
)  # fmt: skip
def test_what_is_no_date(text: str) -> None:
    assert as_date(text) is None


@pytest.mark.parametrize(
    "text",
    ["2026-11-20T14:05:00Z", "2026-11-20t14:05:00z", "2026-11-20 14:05:00Z",
     "2026-11-20T15:05:00+01:00", "2026-11-20T14:05:00.000Z", "2026-11-20T10:05:00-04:00"],
)  # fmt: skip
def test_times(text: str) -> None:
    first = as_time("2026-11-20T14:05:00Z")
    assert first is not None
    assert as_time(text) == first


@pytest.mark.parametrize(
    "text",
    ["2026-11-20T14:05:00", "2026-11-20", "2026-11-20T14:05Z", "2026-11-20T24:00:00Z",
     "2026-11-20T14:05:60Z", "2026-11-20T14:05:00+24:00", "2026-11-20T14:05:00+0100",
     "2026-11-20T14:05:00,5Z", "1969-12-31T23:59:59Z", "yesterday"],
)  # fmt: skip
def test_what_is_no_time(text: str) -> None:
    assert as_time(text) is None


def test_blanks_in_a_text_take_no_time_of_their_square() -> None:
    """Half a million blanks, which a regular expression tries half a million times each."""
    text, problems = read(f"x{' ' * 500_000}y", {"type": "string"})
    assert (len(text), problems) == (500_002, [])
