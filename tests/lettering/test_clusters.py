"""Letters in clusters: which pieces are shaped alone, and where lines may break."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.model.faces import Glyph
from compliance.pictures.fonts import own_characters
from compliance.pictures.scripts import as_one_character, glyph_texts, may_break, pieces

CLUSTERS = {
    "株式": ["株", "式"],
    "서울": ["서", "울"],
    "น้ำท่วม": ["น้ำ", "ท่", "ว", "ม"],  # the vowel sara am belongs to the letter before it
    "र्कि": ["र्कि"],  # reph, consonant and vowel are one syllable
    "प्रकाश": ["प्र", "का", "श"],
    "שָׁלוֹם": ["שָׁ", "ל", "וֹ", "ם"],
    "محمد": ["محمد"],  # letters join: shaped as one word
    "می\u200cخواهم": ["می\u200cخواهم"],  # a non-joiner inside of a word
    "SY-0412": [],
    "ΔE 5 µ": [],
}
"""By the scripts' own rules of writing (Unicode Standard, chapters 9, 12 and 16)."""


@pytest.mark.parametrize("text", CLUSTERS)
def test_clusters(text: str) -> None:
    assert [each.text for each in pieces(text, own_characters()) if each.foreign] == CLUSTERS[text]


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_nothing_is_lost_and_our_letters_stay_ours(text: str) -> None:
    found = list(pieces(text, own_characters()))
    assert "".join(each.text for each in found) == text
    for each in found:
        assert each.foreign == (each.text[0] not in own_characters())
        assert not (each.foreign and any(char.isascii() and char.isalnum() for char in each.text))


@pytest.mark.parametrize(
    ("before", "after", "may"),
    [("株", "式", True), ("式", "、", False), ("「", "株", False), ("株", "ー", False),
     ("a", "株", True), ("a", "b", False), ("서", "울", False), ("é", "è", False)],
)  # fmt: skip
def test_where_a_line_may_break(before: str, after: str, may: bool) -> None:
    assert may_break(before, after) is may


def glyphs(*starts: int) -> list[Glyph]:
    return [Glyph(9, 500, 500, 0, 0, start) for start in starts]


def test_what_a_glyph_stands_for() -> None:
    assert glyph_texts("محمد", glyphs(3, 2, 1, 0)) == ["د", "م", "ح", "م"]
    assert glyph_texts("لا", glyphs(0)) == ["لا"]
    assert glyph_texts("שָׁ", glyphs(0, 0, 0)) == ["ׁ", "ָ", "ש"]
    assert glyph_texts("र्कि", glyphs(0, 0, 0)) == ["र्कि", "", ""]
    assert as_one_character("لا") == "ﻻ"
    assert as_one_character("לא") == "לא"
