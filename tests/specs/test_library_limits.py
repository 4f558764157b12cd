"""The library: pushed past one shall limit after another, an ideal display fails just that."""

from __future__ import annotations

import pytest
from helpers.limit_pushers import Bench, pushes
from helpers.shipped import RULES, applicable, finding, graded, outside, shipped_rule, technologies

from compliance.model import Level, Outcome, Verdict

BLACKS = {"black-level", "black-level-projector", "black-level-direct-view"}
COUPLED: dict[str, set[str]] = {
    # Black is a part of contrast, and of a checkerboard.
    "black-level": {"contrast"},
    "black-level-projector": {"contrast"},
    "black-level-direct-view": {"contrast", "checkerboard-black-direct-view"},
    "contrast": {*BLACKS, "checkerboard-black-direct-view"},
    # Of absolute targets white is a step like the others; a checkerboard has white too.
    "white-level": {"tracking", "steps", "primary-level", "checkerboard-white"},
    # Another exponent is another luminance at every step, and another colour of what a wider signal
    # mixes.
    "gamma": {"tracking", "tracking-mean", "steps", "primaries"},
    # Beyond the rule's own peak, HLG's system gamma is that of the measured one.
    "peak-level": {"tracking", "grey"},
    # ΔE ITP sees luminance too.
    "tracking": {"grey"},
    # Colours are seen against the target's white, and the primaries are among them and span what is
    # covered.
    "white-point": {"colours"},
    "primaries": {"colours", "colours-bright", "coverage"},
    "coverage": {"primaries", "colours", "colours-bright"},
    "colours": {"primary-level"},
    # A place at 80 % of the centre is uneven.
    "edges": {"uniformity-direct-view", "uniformity-projector"},
    "uniformity-projector": {"edges"},
}
"""Requirements that may be missed along with the one that is pushed. No other may."""


@pytest.mark.parametrize("name", RULES)
def test_each_shall_limit_is_missed_alone(name: str) -> None:
    rule = shipped_rule(name)
    for kind in technologies(rule):
        bench = Bench(rule, kind)
        assert graded(rule, bench.shown, technology=kind).verdict is Outcome.COMPLIANT
        for requirement in applicable(rule, kind):
            if requirement.level is not Level.SHALL:
                continue
            tried = 0
            for push in pushes(bench, requirement):
                tried += 1
                assessment = graded(rule, push.shown, stated=push.job)
                told = (kind, requirement.id, push.name)
                assert assessment.verdict is Outcome.NOT_COMPLIANT, told
                assert finding(assessment, requirement.id).verdict is Verdict.FAIL, told
                others = outside(assessment) - {requirement.id}
                assert others <= COUPLED.get(requirement.id, set()), (told, others)
            assert tried, requirement.id
