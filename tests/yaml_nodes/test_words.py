"""Words of messages: the nearest name, values on one line."""

from __future__ import annotations

import pytest

from compliance.yaml_nodes.messages import did_you_mean, dotted, inline_yaml, one_of, quoted


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


def test_no_names_at_all() -> None:
    assert did_you_mean("a", []) == "there is none to name"
    assert did_you_mean("a", ["xyz"]) == "expected xyz"


def test_values_stay_on_one_line_and_short() -> None:
    assert quoted("a\n b\tc") == "'a b c'"
    assert quoted("a\u202eb") == "'a\\u202eb'"
    assert quoted("x" * 100) == "'" + "x" * 39 + "…'"


def test_paths_and_values_as_printed() -> None:
    assert dotted(("slots", 0, "readings", "file")) == "slots[0].readings.file"
    assert dotted(("a", "b\nc")) == "a.b c"
    assert inline_yaml({"a": [1, 2.50, True], "b": {"c": "x"}}) == "{a: [1, 2.5, true], b: {c: x}}"
