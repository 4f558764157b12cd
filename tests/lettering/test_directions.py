"""Lines with texts from right to left, against unicode-bidi, the library of the Rust world.

It is what python-bidi's `get_display` calls, and follows UAX 9 wholly; the levels that lines are
ordered by come from python-bidi's own, older code.
"""

from __future__ import annotations

import pytest
from bidi import get_display
from hypothesis import given
from hypothesis import strategies as st

from compliance.pictures.directions import (
    END,
    LEFT_TO_RIGHT,
    RIGHT_TO_LEFT,
    balanced,
    isolated,
    segments,
    visual_order,
    without_marks,
)
from compliance.pictures.scripts import Piece

HEBREW, ARABIC = "אבגדה", "محكلن"


def shown(text: str, base: str) -> str:
    items = [Piece(char, char in HEBREW + ARABIC) for char in text]
    return "".join(drawn for _, drawn, _ in visual_order(items, base))


@pytest.mark.parametrize("base", ["L", "R"])
@given(text=st.text(st.sampled_from(HEBREW + ARABIC + "ab 12.,-+/:%"), max_size=24))
def test_order_is_that_of_another_library(text: str, base: str) -> None:
    assert shown(text, base) == get_display(text, base_dir=base)


def test_brackets_turn() -> None:
    # The other library leaves that to what draws.
    assert get_display("אב (12)", base_dir="R") == ")12( בא"
    assert shown("אב (12)", "R") == "(12) בא"


def test_characters_without_a_place_stay_where_they_are() -> None:
    for odd in "\u200c\u202a\u202c\U000e0041":
        text = f"אב{odd}ג"
        items = [Piece(char, True) for char in text]
        assert sorted(piece.text for piece, _, _ in visual_order(items, "R")) == sorted(text)


def test_a_name_in_many_places() -> None:
    assert isolated("אב " * 3000, ["אב"]).count(END) == 3000


def test_the_order_of_reading_is_kept_beside() -> None:
    turns = [turn for _, _, turn in visual_order([Piece(char, True) for char in "אב1"], "R")]
    assert turns == [2, 1, 0]


def test_what_stands_around_stays_where_it_is() -> None:
    line = isolated("Accepted by אבג, 2026-11-03: 5 %", ["אבג"])
    assert [(each.text, each.base) for each in segments(line)] == [
        ("Accepted by ", "L"), ("אבג", "R"), (", 2026-11-03: 5 %", "L"),
    ]  # fmt: skip


def test_the_longest_name_goes_first_and_unknown_letters_are_isolated() -> None:
    assert isolated("אב גד", ["אב", "אב גד"]) == f"{RIGHT_TO_LEFT}אב גד{END}"
    assert isolated("x אב", []) == f"{LEFT_TO_RIGHT}x אב{END}"
    assert isolated("plain", ["אב"]) == "plain"


@given(st.lists(st.text(st.sampled_from("a" + RIGHT_TO_LEFT + LEFT_TO_RIGHT + END))))
def test_each_line_closes_what_it_opens(lines: list[str]) -> None:
    done = balanced(lines)
    assert list(map(without_marks, done)) == list(map(without_marks, lines))
    for line in done:
        assert line.count(END) <= sum(line.count(mark) for mark in (RIGHT_TO_LEFT, LEFT_TO_RIGHT))
        assert not line or line[-1] != RIGHT_TO_LEFT
