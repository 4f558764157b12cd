"""Tokens and objects: what the grammar has, and what only lenient readers understand."""

from __future__ import annotations

from typing import Any

import pytest

from compliance.signing.pdf_syntax import (
    DEEPEST,
    LONGEST_STRING,
    Budget,
    Name,
    Ref,
    read_object,
    read_tokens,
)


def read(data: bytes) -> Any:
    value, end = read_object(data, 0, Budget(1000))
    assert end == len(data)
    return value


@pytest.mark.parametrize(
    ("data", "value"),
    [
        (b"12", 12),
        (b"-.5", -0.5),
        (b"+4.", 4.0),
        (b"true", True),
        (b"null", None),
        (b"/A#20b", Name("A b")),
        (b"(a(b)c)", b"a(b)c"),
        (rb"(\(\n\101\18\q)", b"(\nA\x018q"),
        (b"(a\\\nb)", b"ab"),
        (b"<48 656>", b"He`"),
        (b"12 0 R", Ref(12)),
        (b"[1 2 0 R 3]", [1, Ref(2), 3]),
        (b"<</A<</B[]>>/C(x)>>", {"A": {"B": []}, "C": b"x"}),
    ],
)
def test_objects(data: bytes, value: Any) -> None:
    found = read(data)
    assert (found, type(found)) == (value, type(value))


@pytest.mark.parametrize(
    "data",
    [
        b"1e0",
        b"1_0",
        b"nan",
        b"0x10",
        b"1.2.3",
        b"--5",
        b"12345678901234567890.1",
        b"[1 % note\n]",
        b"(a",
        b"<4g>",
        b"<</A 1/A 2>>",
        b"<</A 1/#41 2>>",
        b"<<1 2>>",
        b"<</A>>",
        b"{1}",
        b"[" * (DEEPEST + 2) + b"]" * (DEEPEST + 2),
        b"(" + b"x" * LONGEST_STRING + b")",
        b"(" * 2 * LONGEST_STRING,
        b"/" + b"x" * LONGEST_STRING + b" ",
        b"",
    ],
)
def test_what_readers_repair_each_in_its_own_way(data: bytes) -> None:
    with pytest.raises(ValueError, match="at byte"):
        read(data)


def test_values_are_counted() -> None:
    with pytest.raises(ValueError, match="more objects"):
        read_object(b"[" + b"1 " * 2000 + b"]", 0, Budget(1000))


def test_tokens_of_a_drawing() -> None:
    raw = [(token.kind, token.raw) for token in read_tokens(b" 1 .5 m\n/F1 2 Tf(a b)Tj[<41>-3]TJ")]
    assert raw == [
        ("number", b"1"),
        ("number", b".5"),
        ("word", b"m"),
        ("name", b"/F1"),
        ("number", b"2"),
        ("word", b"Tf"),
        ("string", b"(a b)"),
        ("word", b"Tj"),
        ("mark", b"["),
        ("hex", b"<41>"),
        ("number", b"-3"),
        ("mark", b"]"),
        ("word", b"TJ"),
    ]
    assert [token.kind for token in read_tokens(b"1e0 nan inf 1_0 --1 1.2.3")] == ["word"] * 6
