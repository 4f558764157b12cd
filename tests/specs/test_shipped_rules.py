"""The shipped rules against simulated displays, all four alike."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import simulated
from numpy.typing import NDArray
from shipped import RULES, edges, good, good_white, ideal, judged, outside

from compliance.colorimetry.spaces import PRIMARIES
from compliance.model import ENCODINGS, Outcome, Reason, Rule, Verdict
from compliance.patches import PlannedPatch
from compliance.rules import load_rule, shipped_rules

Array = NDArray[np.float64]


@pytest.fixture(params=RULES)
def rule(request: pytest.FixtureRequest) -> Rule:
    return load_rule(request.param)


def test_these_are_the_shipped_rules() -> None:
    assert sorted(shipped_rules()) == list(RULES)


def test_every_limit_says_how_firm_it_is(rule: Rule) -> None:
    for requirement in rule.requirements:
        assert requirement.basis in ("published", "digest", "memory", "practice")
        if requirement.basis != "practice":
            assert requirement.clause, requirement.id


@pytest.mark.parametrize("quantised", [False, True])
def test_an_ideal_display_meets_every_requirement(rule: Rule, quantised: bool) -> None:
    """Also with the digits that a meter prints."""

    def printed(_patch: PlannedPatch, xyz: Array) -> Array:
        return np.array([float(f"{value:.5g}") for value in xyz])

    fall_off = edges(0.85) if rule.id == "cinema-review-room" else None
    faults = [fault for fault in (fall_off, printed if quantised else None) if fault]
    assessment = judged(rule, ideal(rule, fault=simulated.in_turn(*faults)))
    assert outside(assessment, None) == set()
    assert assessment.verdict is Outcome.COMPLIANT
    for one in assessment.state.findings:
        assert one.verdict is Verdict.PASS or one.reason is Reason.NOT_APPLICABLE, one
        assert one.missing == ()
        assert one.probability is None


@pytest.mark.parametrize(
    ("name", "encoding"),
    [
        ("sdr-broadcast", "rgb-10-full"),
        ("sdr-broadcast", "rgb-12-narrow"),
        ("sdr-broadcast", "rgb-8-narrow"),
        ("web-srgb", "rgb-10-full"),
        ("web-srgb", "rgb-8-narrow"),
        ("hdr-pq-1000", "rgb-10-narrow"),
        ("hdr-pq-1000", "rgb-12-full"),
        ("cinema-review-room", "rgb-12-full"),
        ("cinema-review-room", "rgb-10-full"),
    ],
)
def test_an_ideal_display_complies_in_other_encodings(name: str, encoding: str) -> None:
    rule = load_rule(name)
    fall_off = edges(0.85) if name == "cinema-review-room" else None
    shown = ideal(rule, encoding=ENCODINGS[encoding], fault=fall_off)
    assessment = judged(rule, shown, encoding=encoding)
    assert outside(assessment, None) == set()
    assert assessment.verdict is Outcome.COMPLIANT


def test_a_black_alone_is_undecided(rule: Rule) -> None:
    """A black alone: nothing is assessed on what is not there, and nothing vanishes."""
    black = [one for one in ideal(rule) if one.codes in ((0, 0, 0), (64, 64, 64))]
    assessment = judged(rule, black)
    assert len(assessment.state.findings) == len(rule.requirements)
    assert assessment.verdict is Outcome.UNDECIDED
    assert assessment.state.reason is Reason.MISSING_READINGS


# ---------------------------------------------------------------- many displays


MANY = 40


@pytest.mark.parametrize("name", RULES)
def test_well_calibrated_displays_pass(name: str) -> None:
    """Invented good displays: at least 9 of 10 pass each shall."""
    rule = load_rule(name)
    random = np.random.RandomState(2026)
    failed: dict[str, int] = {}
    for _ in range(MANY):
        shown = ideal(rule, white=good_white(rule, random), fault=good(rule, random))
        for one in outside(judged(rule, shown)):
            failed[one] = failed.get(one, 0) + 1
    assert all(count <= MANY * 0.1 for count in failed.values()), failed


WRONG: dict[tuple[str, str], Callable[[Rule], dict[str, object]]] = {
    ("sdr-broadcast", "gamma 2.2"): lambda rule: {
        "wrong_target": replace(rule.target, exponent=2.2)
    },
    ("sdr-broadcast", "P3"): lambda rule: {
        "wrong_target": replace(rule.target, primaries=PRIMARIES["p3"], container=PRIMARIES["p3"])
    },
    ("sdr-broadcast", "120 cd/m²"): lambda rule: {"white": 120.0},
    ("hdr-pq-1000", "peak 600"): lambda rule: {"peak": 600.0},
    ("hdr-pq-1000", "black 0.03"): lambda rule: {"black": 0.03},
    ("web-srgb", "gamma 1.8"): lambda rule: {
        "wrong_target": replace(rule.target, curve="power", exponent=1.8)
    },
    ("web-srgb", "gamma 2.4"): lambda rule: {
        "wrong_target": replace(rule.target, curve="power", exponent=2.4)
    },
}


@pytest.mark.parametrize(("name", "fault"), WRONG)
def test_wrong_displays_fail_however_good_otherwise(name: str, fault: str) -> None:
    rule = load_rule(name)
    random = np.random.RandomState(2027)
    for _ in range(MANY // 4):
        how = WRONG[name, fault](rule)
        how.setdefault("white", good_white(rule, random))
        peak = float(how.pop("peak", np.inf))  # type: ignore[arg-type]
        faults = simulated.in_turn(good(rule, random), simulated.clipped(peak))
        assessment = judged(rule, ideal(rule, fault=faults, **how))
        assert assessment.verdict is Outcome.NOT_COMPLIANT
