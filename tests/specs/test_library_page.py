"""The page of the library says what each rule covers; patch lists are as written."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest
import robustness
from helpers.shipped import RULES
from pages import library
from pages.markdown import plain

from compliance.model import ENCODINGS
from compliance.rules.library import load_rule

ROOT = Path(__file__).resolve().parent.parent.parent


def script(name: str) -> ModuleType:
    """A file of scripts/ as a module."""
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, ROOT / "scripts" / f"{name}.py")
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


def test_the_page_says_of_each_clause_whether_it_is_covered() -> None:
    text = (ROOT / "docs" / "reference" / "library.md").read_text(encoding="utf-8")
    sections = dict(part.split("\n", 1) for part in text.split("\n## ")[1:])
    for name in RULES:
        rule = load_rule(name)
        section = sections[name]
        assert rule.not_covered
        for entry in rule.not_covered:
            assert (
                f"| {plain(entry.clause)} | {plain(entry.what)} | {plain(entry.why)} |" in section
            )
        for requirement in rule.requirements:
            assert f"(`{requirement.id}`)" in section
            assert plain(requirement.clause or "") in section
        assert "good ones" in section
    for clause in ("1.5.1", "1.5.2", "1.5.3", "1.5.4", "1.5.5", "1.5.6", "1.5.7"):
        assert f"EBU Tech 3320 v4.1, {clause}" in sections["sdr-broadcast-grade-1"]


def test_the_comment_of_a_file_is_read_by_paragraphs() -> None:
    text = "# A rule.\n# More of it.\n#\n# Of `basis`.\n\n# not this\nrule: x\n"
    assert library.read_comment(text) == ["A rule. More of it.", "Of `basis`."]


def test_the_computed_lists_are_fresh() -> None:
    """Else run scripts/make_patch_lists.py."""
    lists = script("make_patch_lists")
    for name, text in lists.files().items():
        assert (lists.FOLDER / name).read_text(encoding="utf-8") == text, name


def test_skin_and_memory_colours_are_what_they_say() -> None:
    """The codes of each list, through its rule's own target, give the CIELAB they came from.

    To the rounding of the codes: a code of 10-bit PQ is up to .8 in a* or b*.
    """
    from compliance import targets
    from compliance.colour import codes, spaces
    from compliance.targets import target_model

    lists = script("make_patch_lists")
    seen = 0
    for name in RULES:
        rule = load_rule(name)
        (found, *_) = *(rule.sets[one] for one in ("memory", "mixed") if one in rule.sets), None
        if found is None or rule.target.system_gamma not in (None, 1.2):
            continue
        seen += 1
        encoding = found.encoding or ENCODINGS["rgb-10-full"]
        model = target_model(rule, encoding)
        white = 203 if rule.target.curve in ("pq", "hlg") else rule.target.luminance_white
        for label, triple in found.patches:
            signal = codes.decode(triple, encoding.bits, encoding.narrow)
            light = targets.nominal_xyz(signal[None], model)[0]
            lightness, a, b = spaces.xyz_to_lab(light, white * model.white_xyz)
            expected = lists.lab_to_xyz(*lists.COLOURS[label], rule.target.white_name) * white
            again = spaces.xyz_to_lab(expected, white * model.white_xyz)
            assert (lightness, a, b) == pytest.approx(tuple(again), abs=0.8), (name, label)
    assert seen >= 7


def test_the_printed_spreads_are_those_used() -> None:
    """Else run robustness.py."""
    assert robustness.SPREADS.read_text(encoding="utf-8") == robustness.spreads_text()
