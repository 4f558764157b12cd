"""YAML as nodes: what is accepted, where things stand, what is refused."""

from __future__ import annotations

import pytest

from compliance.errors import Problem
from compliance.yaml_nodes.nodes import Node, locate, node_from_data, parse


def parsed(text: str | bytes) -> Node:
    data = text.encode() if isinstance(text, str) else text
    found = parse(data, "a.yaml")
    assert isinstance(found, Node), found
    return found


def refused(text: str | bytes) -> str:
    data = text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text
    found = parse(data, "a.yaml")
    assert isinstance(found, Problem), found
    return str(found)


def test_nodes_know_their_lines() -> None:
    node = parsed("# a comment\na: 1\nb:\n  - x\n  - {c: [y, z]}\n")
    assert locate(node, ("a",)) == (2, 1)
    assert locate(node, ("b",)) == (3, 1)
    assert locate(node, ("b", 1)) == (5, 2)
    assert locate(node, ("b", 1, "c", 1)) == (5, 4)


def test_what_is_not_there_has_the_line_of_what_is() -> None:
    node = parsed("a: 1\nb:\n  - x\n")
    assert locate(node, ("b", 7)) == (2, 1)
    assert locate(node, ("b", 0, "c")) == (3, 2)
    assert locate(node, ("nothing", "at", "all")) == (1, 0)


def test_scalars_stay_the_text_that_was_written() -> None:
    node = parsed("a: 0012\nb: on\nc: 1:30\nd: '5'\ne: 2026-11-02\nf: 1e3\n")
    assert [entry.text for entry in node.entries.values()] == [
        "0012", "on", "1:30", "5", "2026-11-02", "1e3",
    ]  # fmt: skip
    assert [entry.plain for entry in node.entries.values()] == [True, True, True, False, True, True]


@pytest.mark.parametrize("text", ["a:\n", "a: ~\n", "a: null\n", "{a, b: 1}\n"])
def test_nothing_is_nothing(text: str) -> None:
    assert parsed(text).entries["a"].empty
    assert not parsed("a: ''\n").entries["a"].empty


def test_a_byte_order_mark_and_windows_line_ends_are_no_matter() -> None:
    node = parsed(b"\xef\xbb\xbfa: 1\r\nb: 2\r\n")
    assert locate(node, ("b",)) == (2, 1)


def test_an_explicit_start_and_end_are_no_second_document() -> None:
    assert parsed("---\na: 1\n...\n").entries["a"].text == "1"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "a.yaml: is empty"),
        (" \n\t\n", "a.yaml: is empty"),
        ("# nothing\n", "a.yaml: contains only comments"),
        ("a: 1\n---\nb: 2\n", "a.yaml:2: a second document begins here; expected one per file"),
        ("a: &x 1\nb: *x\n", "a.yaml:1: '&x' is an anchor; write the value out each time"),
        ("a: *x\n", "a.yaml:1: '*x' is an alias; write the value out"),
        ("a: !!python/object:os.system x\n",
         "a.yaml:1: '!!python/object:os.system' is a tag; leave it out"),
        ("a: ! x\n", "a.yaml:1: '!' is a tag; leave it out"),
        ("<<: {a: 1}\n", "a.yaml:1: '<<' is a merge key; write the values out"),
        ("a: 1\nb: {c: 1, c: 2}\n", "a.yaml:2: duplicate key 'c' (first in line 2)"),
        ("a: 1\nb: 2\n'a': 3\n", "a.yaml:3: duplicate key 'a' (first in line 1)"),
        ("? [a]\n: 1\n", "a.yaml:1: found a list in place of a key"),
        ("? {a: 1}\n: 1\n", "a.yaml:1: found a mapping in place of a key"),
        ("a: [1, 2\nb: 3\n", "a.yaml:2: invalid YAML: a comma or a closing bracket ] is "
         "missing"),
        ("a: 'x\n", "a.yaml:2: invalid YAML: a quote that is never closed"),
        ("a: b: c\n", "a.yaml:1: invalid YAML: an extra colon, or a wrong indentation; put a text "
         "that contains ': ' in quotes"),
        ("a:\n\t- b\n", "a.yaml:2: invalid YAML: tab character; indent with spaces"),
        ("a: %x\n", "a.yaml:1: invalid YAML: found character '%' that cannot start any token"),
        ("a: {b: 1}}\n", "a.yaml:1: invalid YAML: a wrong indentation, or a text that needs "
         "quotes"),
        ('a: "\\U00110000"\n', "a.yaml: invalid YAML: an unknown directive, or an unknown escape "
         "in a quoted text"),
        ("%YAML 9.9\n---\na: 1\n", "a.yaml:1: invalid YAML: a directive for another version of "
         "YAML; leave it out"),
        ("a: \x00\n", "a.yaml:1: has a control character, U+0000; this is not a text file"),
        ("a: 1\nb: \ufffe\n", "a.yaml:2: has a control character, U+FFFE; this is not a text file"),
        (b"a: 1\nb: \xff\n", "a.yaml:2: is not UTF-8 text; save the file as UTF-8"),
        ("a: 1\n".encode("utf-16"), "a.yaml:1: is not UTF-8 text; save the file as UTF-8"),
        ("[" * 30 + "]" * 30, "a.yaml:1: is nested deeper than 16 levels"),
        ("- " * 40 + "x", "a.yaml:1: is nested deeper than 16 levels"),
    ],
)  # fmt: skip
def test_what_has_no_single_meaning_is_refused(text: str | bytes, message: str) -> None:
    assert refused(text) == message


def test_the_number_of_values_is_bounded() -> None:
    assert refused("[" + "a," * 100_000 + "]") == (
        "a.yaml:1: has more than 100,000 values, the most a file may have"
    )


def test_a_bomb_of_aliases_is_refused_at_its_first_anchor() -> None:
    bomb = "a: &a [x, x]\n" + "".join(
        f"{chr(98 + n)}: &{chr(98 + n)} [*{chr(97 + n)}, *{chr(97 + n)}]\n" for n in range(20)
    )
    assert refused(bomb).startswith("a.yaml:1: '&a' is an anchor")


def test_plain_data_becomes_nodes_too() -> None:
    node = node_from_data({"a": [1, 2.5, True], "b": {"c": "5"}, "d": None})
    assert [item.text for item in node.entries["a"].items] == ["1", "2.5", "true"]
    assert node.entries["b"].entries["c"] == Node("scalar", text="5", plain=False)
    assert node.entries["d"].empty
    assert locate(node, ("b", "c")) == (None, 2)


def test_plain_data_is_bounded_as_well() -> None:
    deep: list[object] = []
    for _ in range(20):
        deep = [deep]
    with pytest.raises(ValueError, match="deeper than 16 levels"):
        node_from_data(deep)
    with pytest.raises(ValueError, match="a key that is not a text"):
        node_from_data({1: 2})
