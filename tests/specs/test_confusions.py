"""Which other displays the shipped rules let pass, by the generated page and a rule spoilt.

That the page is what the program says is tested in tests/docs, for some of the rules. The named
cases are those that were found by hand before the rules were tightened, with differences computed
there by CIEDE2000.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import pytest

from compliance import load_rule
from compliance.grading.match import DeclaredFacts, match_readings
from compliance.model import Level, Limits
from compliance.planning.confusion import (
    ASPECTS,
    BLACKS,
    Judge,
    accepted,
    aspects_of,
    neighbours,
    shown,
)
from compliance.quantities.catalogue import is_stated
from compliance.rules.library import shipped_rules

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "confusions.md"


@lru_cache(maxsize=1)
def passes() -> Mapping[str, Mapping[str, tuple[set[float], str]]]:
    """By rule and display, the blacks over which it passes and the reason."""
    found: dict[str, dict[str, tuple[set[float], str]]] = {}
    for line in PAGE.read_text(encoding="utf-8").splitlines():
        if line.startswith("## "):
            rule = found.setdefault(line[3:], {})
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if line.startswith("| ") and cells[0] != "passes":
            blacks = {float(black) for black in cells[1].split(",")}
            rule[cells[0]] = (blacks, cells[3])
    return found


def test_the_page_has_every_rule_and_no_pass_without_a_reason() -> None:
    assert list(passes()) == shipped_rules()
    for rule, displays in passes().items():
        for display, (blacks, reason) in displays.items():
            assert blacks <= set(BLACKS), (rule, display)
            assert not reason.startswith("nothing"), (rule, display)


@pytest.mark.parametrize(
    ("rule", "display", "fails"),
    [
        # At 100 cd/m² BT.1886 is 1.42 from sRGB by mean CIEDE2000 over a black of .005, .96 over
        # .02; gamma 2.2, which may pass, .56.
        ("web-srgb", "as for sdr-broadcast", (0.0005, 0.005, 0.02)),
        ("web-srgb", "BT.1886", (0.0005, 0.005, 0.02)),
        ("web-p3", "BT.1886", (0.0005, 0.005, 0.02)),
        ("web-srgb", "gamma 2.4", BLACKS),
        ("stills-adobergb", "BT.1886", (0.0005, 0.005, 0.02)),
        ("stills-adobergb", "gamma 2.4", BLACKS),
        ("sdr-broadcast", "sRGB curve", (0.0, 0.0005, 0.005, 0.02, 0.05)),
        ("sdr-broadcast", "gamma 2.2", BLACKS),
        ("sdr-broadcast-grade-2", "gamma 2.2", BLACKS),
        ("sdr-broadcast-grade-3", "gamma 2.2", BLACKS),
        ("sdr-broadcast-grade-3", "sRGB curve", (0.0, 0.0005, 0.005, 0.02, 0.05, 0.3)),
        ("sdr-uhd", "gamma 2.2", BLACKS),
        ("cinema-review-room", "as for cinema-p3d65", BLACKS),
        ("cinema-p3d65", "as for cinema-p3-dci", BLACKS),
        ("hdr-pq-1000", "as for hdr-hlg-1000", BLACKS),
        ("hdr-pq-1000", "as for hdr-pq-p3", BLACKS),
        ("hdr-hlg-1000", "system gamma 1.1", BLACKS),
        ("hdr-hlg-1000", "system gamma 1.3", BLACKS),
    ],
)
def test_a_slot_for_something_else_fails(rule: str, display: str, fails: tuple[float, ...]) -> None:
    blacks, _ = passes()[rule].get(display, (set(), ""))
    assert not blacks & set(fails)


def test_gamma_2_2_may_pass_on_the_web_and_is_the_reason_for_bt1886_over_a_high_black() -> None:
    of = passes()["web-srgb"]
    assert of["gamma 2.2"][0] == set(BLACKS)
    assert of["BT.1886"] == ({0.05, 0.1, 0.3}, "gamma 2.2")


def test_the_headers_promises_hold() -> None:
    """web-srgb: 1.8 and 2.4 must not pass; web and stills: 2.2 and sRGB do."""
    for name in ("web-srgb", "web-p3", "stills-adobergb", "stills-d50"):
        rule = load_rule(name)
        judge = Judge(rule, {})
        for exponent, passing in ((1.8, False), (2.2, True), (2.4, False)):
            curve = replace(rule.target, curve="power", exponent=exponent, black="add")
            display = replace(accepted(rule)[0], name="curve", target=curve)
            for black in (0.0, 0.02, 0.3):
                assert (judge.outcome(display, black).failed is None) == passing, (name, exponent)


def test_a_pass_without_a_reason_is_found() -> None:
    rule = load_rule("web-srgb")
    (gamma,) = (each for each in neighbours(rule, []) if each.name == "gamma 2.2")
    assert not Judge(rule, {}).outcome(gamma, 0.02).unexplained
    assert Judge(replace(rule, accepts=()), {}).outcome(gamma, 0.02).unexplained
    (lifted,) = (each for each in neighbours(rule, []) if each.name == "BT.1886")
    loose = tuple(
        replace(each, limits=Limits(maximum=1.5)) if each.id == "grey-mean" else each
        for each in rule.requirements
    )
    assert Judge(rule, {}).outcome(lifted, 0.02).failed == "grey-mean"
    assert Judge(replace(rule, requirements=loose), {}).outcome(lifted, 0.02).unexplained


@pytest.mark.parametrize("name", shipped_rules())
def test_every_rule_judges_every_aspect(name: str) -> None:
    """What a rule does not judge, a wrong slot may get wrong."""
    rule = load_rule(name)
    (own, *_) = accepted(rule)
    readings = shown(rule, own, rule.target.luminance_white, 0.005)
    case = match_readings(rule, readings, stated=DeclaredFacts("lcd"))
    judged = {
        aspect
        for each in rule.requirements
        if each.level is Level.SHALL and not is_stated(each.quantity)
        for aspect in aspects_of(each, case)
    }
    assert judged == set(ASPECTS)


def test_the_light_of_a_neighbour_is_the_one_computed_by_hand() -> None:
    """BT.1886 at 100 cd/m² over .02 for code 128 of 255: (V·(w − k) + k)^2.4."""
    rule = load_rule("web-srgb")
    display = next(
        each for each in neighbours(rule, [load_rule("sdr-broadcast")]) if "sdr" in each.name
    )
    readings = shown(rule, display, 100.0, 0.02)
    row = next(row for row, code in enumerate(readings.codes) if list(code) == [128] * 3)
    high, low = 100 ** (1 / 2.4), 0.02 ** (1 / 2.4)
    assert readings.xyz[row, 1] == pytest.approx((128 / 255 * (high - low) + low) ** 2.4, rel=1e-9)
