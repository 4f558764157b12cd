"""Words of messages: the nearest name, values on one line."""

from __future__ import annotations

import pytest

from compliance.model import ENCODINGS
from compliance.yaml_nodes.messages import (
    TRADE_WORDS,
    did_you_mean,
    dotted,
    inline_yaml,
    one_of,
    quoted,
)


@pytest.mark.parametrize(
    ("text", "near"),
    [
        ("luminanse", "luminance"),
        ("Luminance", "luminance"),
        ("luminance_error", "luminance-error"),
        ("luminance error", "luminance-error"),
        ("lum", None),
        ("delta-e-2", "delta-e-2000"),
        ("velocity", None),
        ("x" * 10_000, None),
        ("", None),
    ],
)
def test_the_nearest_name(text: str, near: str | None) -> None:
    names = ["luminance", "luminance-error", "delta-e-2000", "delta-e-itp"]
    said = did_you_mean(text, names)
    assert said == (f"did you mean '{near}'?" if near else f"expected {one_of(names)}")


ENCODING = list(ENCODINGS)
CURVE = ["bt1886", "power", "srgb", "pq", "hlg", "dcdm"]
PRIMARIES = ["bt709", "bt2020", "p3", "adobe-rgb", "bt601-525", "bt601-625"]


@pytest.mark.parametrize(
    ("text", "names", "likely"),
    [
        ("rgb-10-legal", ENCODING, ["rgb-10-narrow"]),
        ("rgb-8-limited", ENCODING, ["rgb-8-narrow"]),
        ("RGB 12 bit video", ENCODING, ["rgb-12-narrow"]),
        ("rgb_10_smpte", ENCODING, ["rgb-10-narrow"]),
        ("10bit tv levels", ENCODING, ["rgb-10-narrow"]),
        ("rgb-8-pc", ENCODING, ["rgb-8-full"]),
        ("rgb-10-data", ENCODING, ["rgb-10-full"]),
        ("rgb-10-extended", ENCODING, ["rgb-10-full"]),
        ("xyz-12-data", ENCODING, ["xyz-12-full"]),
        ("legal", ENCODING, ["rgb-8-narrow", "rgb-10-narrow", "rgb-12-narrow"]),
        ("12-bit pc", ENCODING, ["rgb-12-full", "xyz-12-full"]),
        ("rgb-10-ful", ENCODING, ["rgb-10-full"]),  # no word of the trade: the nearest
        ("ST 2084", CURVE, ["pq"]),
        ("gamma", CURVE, ["power"]),
        ("rec.1886", CURVE, ["bt1886"]),
        ("Rec.709", PRIMARIES, ["bt709"]),
        ("ITU-R BT.2020", PRIMARIES, ["bt2020"]),
        ("average", ["each", "mean", "spread"], ["mean"]),
        ("must", ["shall", "should"], ["shall"]),
        ("filter", ["spectroradiometer", "colorimeter"], ["colorimeter"]),
        ("ciede2000", ["delta-e-itp", "delta-e-2000"], ["delta-e-2000"]),
        ("data", ["spectroradiometer", "colorimeter"], []),  # nothing here is called full
        ("video-master", ["video-masters", "web-srgb"], ["video-masters"]),
    ],
)
def test_words_of_the_trade(text: str, names: list[str], likely: list[str]) -> None:
    *some, last = [f"'{name}'" for name in likely] or [one_of(names)]
    meant = f"{', '.join(some)} or {last}" if some else last
    expected = f"did you mean {meant}?" if likely else f"expected {last}"
    assert did_you_mean(text, names) == expected


def test_each_word_of_the_trade_is_written_as_it_is_looked_up() -> None:
    assert all(word.isalnum() and word == word.lower() for word in TRADE_WORDS)


def test_no_names_at_all() -> None:
    assert did_you_mean("a", []) == "there are none"
    assert did_you_mean("a", ["xyz"]) == "expected xyz"


def test_values_stay_on_one_line_and_short() -> None:
    assert quoted("a\n b\tc") == "'a b c'"
    assert quoted("a\u202eb") == "'a\\u202eb'"
    assert quoted("x" * 100) == "'" + "x" * 39 + "…'"


def test_paths_and_values_as_printed() -> None:
    assert dotted(("slots", 0, "readings", "file")) == "slots[0].readings.file"
    assert dotted(("a", "b\nc")) == "a.b c"
    assert inline_yaml({"a": [1, 2.50, True], "b": {"c": "x"}}) == "{a: [1, 2.5, true], b: {c: x}}"
    assert inline_yaml("a, b") == "a, b"
    assert inline_yaml({"a": ["b, c", "d"]}) == "{a: ['b, c', d]}"
