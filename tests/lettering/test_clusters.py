"""Letters in clusters: which pieces are shaped alone, and where lines may break."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compliance.lettering.texts import foreign_clusters, right_to_left
from compliance.model.faces import Face, Glyph
from compliance.pictures.directions import without_marks
from compliance.pictures.fonts import SANS, normalise, own_characters, wrap
from compliance.pictures.letters import Letters, letters_in_use
from compliance.pictures.scripts import (
    LONGEST,
    as_one_character,
    glyph_texts,
    may_break,
    pieces,
)

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
    "ߒߞߏ": ["ߒߞߏ"],  # letters of N'Ko join
    "邉\U000e0100": ["邉\U000e0100"],  # with the form that the name has
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


def test_a_cluster_is_not_too_long_for_a_line() -> None:
    for text in ("क\u200d" * 149, "क्" * 149, "ص" * 300, "น" + "้" * 99):
        clusters = [each.text for each in pieces(text, own_characters())]
        assert "".join(clusters) == text
        assert max(map(len, clusters)) <= LONGEST


def test_what_prints_nothing_goes_and_joiners_stay_inside_of_words() -> None:
    assert normalise("a\u2060b\u202ec\u200e") == "abc"
    assert normalise("فایل SDR\u200cها") == "فایل SDRها"
    assert normalise("می\u200cخواهم") == "می\u200cخواهم"


def test_lines_break_between_clusters_and_hold_more_than_marks() -> None:
    names = ("カ\u309a" * 60, "אבגדה" * 30, "ص" * 40)
    glyph = Glyph(9, 700, 700, 0, 0, 0)
    drawn = dict.fromkeys(foreign_clusters(names), (glyph,))
    face = Face("F", "1", "0" * 64, 0, 1000, "S", drawn)
    with letters_in_use(Letters((face,), right_to_left(names))):
        for name in names:
            lines = wrap(name, SANS, 8, 70)
            assert "".join(map(without_marks, lines)) == normalise(name)
            assert all(map(without_marks, lines))


def glyphs(*starts: int) -> list[Glyph]:
    return [Glyph(9, 500, 500, 0, 0, start) for start in starts]


def test_what_a_glyph_stands_for() -> None:
    assert glyph_texts("محمد", glyphs(3, 2, 1, 0)) == ["د", "م", "ح", "م"]
    assert glyph_texts("لا", glyphs(0)) == ["لا"]
    assert glyph_texts("שָׁ", glyphs(0, 0, 0)) == ["ׁ", "ָ", "ש"]
    assert glyph_texts("र्कि", glyphs(0, 0, 0)) == ["र्कि", "", ""]
    assert as_one_character("لا") == "ﻻ"
    assert as_one_character("לא") == "לא"
