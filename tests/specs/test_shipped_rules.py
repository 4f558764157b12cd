"""The library: every shipped rule alike, so that a new one is covered on arrival."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from helpers import simulated
from helpers.shipped import (
    RULES,
    black,
    edge_share,
    edges,
    ideal,
    judged,
    outside,
    shipped_rule,
    technologies,
)
from numpy.typing import NDArray

from compliance import targets
from compliance.grading.decide import margin
from compliance.grading.patches import Plan, PlannedPatch
from compliance.model import ENCODINGS, Finding, Outcome, Reason, Rule, Verdict
from compliance.pictures import fonts

Array = NDArray[np.float64]

LIBRARY = {
    "cinema-hdr-direct-view",
    "cinema-hdr-projector",
    "cinema-p3-dci",
    "cinema-p3d65",
    "cinema-review-room",
    "cinema-theatre",
    "hdr-hlg-1000",
    "hdr-hlg-grade-1a",
    "hdr-hlg-grade-1b",
    "hdr-hlg-grade-2",
    "hdr-hlg-grade-3",
    "hdr-pq-1000",
    "hdr-pq-2000",
    "hdr-pq-4000",
    "hdr-pq-bt2020",
    "hdr-pq-p3",
    "sdr-broadcast",
    "sdr-broadcast-grade-1",
    "sdr-broadcast-grade-2",
    "sdr-broadcast-grade-3",
    "sdr-uhd",
    "stills-adobergb",
    "stills-d50",
    "web-p3",
    "web-srgb",
}
MARGIN = 0.02
"""Of an ideal display: share of the limits' size between its value and the nearest limit."""


@pytest.fixture(params=RULES)
def rule(request: pytest.FixtureRequest) -> Rule:
    return shipped_rule(request.param)


def test_the_library_has_lost_no_rule() -> None:
    assert set(RULES) >= LIBRARY


def test_a_rule_stands_on_its_own(rule: Rule) -> None:
    assert rule.extends is None
    assert rule.changes == ()


def test_every_limit_says_how_firm_it_is(rule: Rule) -> None:
    for requirement in rule.requirements:
        assert requirement.basis in ("published", "digest", "memory", "practice")
        if requirement.basis != "practice":
            assert requirement.clause, requirement.id


def test_the_sheet_has_every_sign_of_its_words(rule: Rule) -> None:
    for text in (rule.title, *(one.title for one in rule.requirements)):
        fonts.require_glyphs(text)
    for requirement in rule.requirements:
        fonts.require_glyphs(requirement.clause or "")


@pytest.mark.parametrize("quantised", [False, True])
def test_an_ideal_display_meets_every_requirement_with_margin(rule: Rule, quantised: bool) -> None:
    """Quantised to the signal; also with the digits that a meter prints."""

    def printed(_patch: PlannedPatch, xyz: Array) -> Array:
        return np.array([float(f"{value:.5g}") for value in xyz])

    for kind in technologies(rule):
        faults = [edges(edge_share(rule, kind)), *([printed] if quantised else [])]
        shown = ideal(rule, black=black(rule, kind), fault=simulated.in_turn(*faults))
        assessment = judged(rule, shown, technology=kind)
        assert outside(assessment, None) == set()
        assert assessment.verdict is Outcome.COMPLIANT
        for one in assessment.state.findings:
            if one.reason is Reason.NOT_APPLICABLE:
                continue
            assert one.verdict is Verdict.PASS, one
            assert one.missing == ()
            assert one.probability is None
            assert all(room >= MARGIN for room in margins(one)), one.id


def margins(finding: Finding) -> Iterator[float]:
    """Of every value that counts."""
    if finding.quantity in ("recorded", "declared", "monotonicity", "slope-monotonicity"):
        return  # at the limit, or in a unit of its own
    counted = [one for one in finding.points if one.verdict is not None]
    for one in counted:
        assert one.value is not None and one.limits is not None
        yield margin(one.value, one.limits)
    if not counted:
        assert finding.value is not None and finding.limits is not None
        yield margin(finding.value, finding.limits)


@pytest.mark.parametrize(
    ("name", "encoding"),
    [
        ("sdr-broadcast", "rgb-10-full"),
        ("sdr-broadcast", "rgb-12-narrow"),
        ("sdr-broadcast", "rgb-8-narrow"),
        ("sdr-broadcast-grade-1", "rgb-12-full"),
        ("sdr-broadcast-grade-3", "rgb-8-full"),
        ("sdr-uhd", "rgb-10-full"),
        ("sdr-uhd", "rgb-12-narrow"),
        ("web-srgb", "rgb-10-full"),
        ("web-srgb", "rgb-8-narrow"),
        ("web-p3", "rgb-10-full"),
        ("stills-adobergb", "rgb-10-full"),
        ("stills-d50", "rgb-10-full"),
        ("hdr-pq-1000", "rgb-10-narrow"),
        ("hdr-pq-1000", "rgb-12-full"),
        ("hdr-pq-2000", "rgb-10-narrow"),
        ("hdr-pq-4000", "rgb-12-full"),
        ("hdr-pq-p3", "rgb-12-narrow"),
        ("hdr-pq-bt2020", "rgb-12-narrow"),
        ("hdr-hlg-1000", "rgb-10-full"),
        ("hdr-hlg-grade-1b", "rgb-10-full"),
        ("hdr-hlg-grade-2", "rgb-12-full"),
        ("cinema-review-room", "rgb-12-full"),
        ("cinema-review-room", "rgb-10-full"),
        ("cinema-theatre", "rgb-12-full"),
        ("cinema-p3-dci", "rgb-12-full"),
        ("cinema-p3d65", "rgb-12-full"),
        ("cinema-p3d65", "rgb-10-narrow"),
        ("cinema-hdr-direct-view", "rgb-12-full"),
    ],
)
def test_an_ideal_display_complies_in_other_encodings(name: str, encoding: str) -> None:
    rule = shipped_rule(name)
    shown = ideal(rule, encoding=ENCODINGS[encoding], fault=edges(edge_share(rule)))
    assessment = judged(rule, shown, encoding=encoding)
    assert outside(assessment, None) == set()
    assert assessment.verdict is Outcome.COMPLIANT


def test_a_black_alone_is_undecided(rule: Rule) -> None:
    """A black alone: nothing is assessed on what is not there, and nothing vanishes."""
    dark = [one for one in ideal(rule) if one.codes in ((0, 0, 0), (64, 64, 64))]
    assessment = judged(rule, dark)
    assert len(assessment.state.findings) == len(rule.requirements)
    assert assessment.verdict is Outcome.UNDECIDED
    assert assessment.state.reason is Reason.MISSING_READINGS


def test_no_planned_patch_lies_within_a_code_of_an_edge(rule: Rule) -> None:
    """Of a band, or of a range of nominal targets: rounding must not decide which limit holds."""
    plan = Plan(rule, rule.encoding)
    model = plan.model
    top = float(targets.nominal_xyz(targets.peak_signal(model)[None], model)[0, 1])
    for one in rule.requirements:
        if one.over is None:
            continue
        ends = one.over.target or ()
        edges_of = [*ends, *(band.upto for band in one.bands if band.upto is not None)]
        for name in one.over.patches:
            for patch in plan.patches(name):
                signal = np.array(patch.signal)
                ways = np.stack([signal - model.step, signal, signal + model.step])
                low, here, high = targets.nominal_xyz(np.clip(ways, 0, 1), model)[:, 1]
                for edge in edges_of:
                    full = here >= top * (1 - 1e-9) and edge >= here * (1 - 1e-9)
                    assert full or not low <= edge <= high, (one.id, patch.name, here, edge)
