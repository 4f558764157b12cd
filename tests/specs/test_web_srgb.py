"""The web rule: gamma 2.2 and the sRGB curve pass, 1.8 and 2.4 do not.

Common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers.shipped import graded, ideal, outside, shipped_rule
from numpy.typing import NDArray

from compliance.grading.patches import PlannedPatch
from compliance.model import Assessment, Outcome

Array = NDArray[np.float64]


def _web(exponent: float) -> Assessment:
    rule = shipped_rule("web-srgb")
    return graded(
        rule,
        ideal(rule, wrong_target=replace(rule.target, curve="power", exponent=exponent)),
    )


def test_gamma_2_2_is_a_web_display() -> None:
    assert _web(2.2).verdict is Outcome.COMPLIANT


@pytest.mark.parametrize("exponent", [1.8, 2.4])
def test_gammas_1_8_and_2_4_are_no_web_displays(exponent: float) -> None:
    assessment = _web(exponent)
    assert assessment.verdict is Outcome.NOT_COMPLIANT
    assert "grey" in outside(assessment)


@pytest.mark.parametrize("curve", ["srgb", "power"])
def test_a_2_percent_dark_panel_passes_as_web_display(curve: str) -> None:
    """An LCD of 400:1 whose tones between white and black are 2 % dark."""
    rule = shipped_rule("web-srgb")
    black = 0.3

    def dark(_patch: PlannedPatch, xyz: Array) -> Array:
        return xyz if xyz[1] in (120.0, black) else 0.98 * xyz

    target = replace(rule.target, curve=curve, exponent=2.2)
    assessment = graded(rule, ideal(rule, wrong_target=target, black=black, fault=dark))
    assert assessment.verdict is Outcome.COMPLIANT


@pytest.mark.parametrize(
    ("white", "ok"), [(79.9, False), (80.0, True), (160.0, True), (161, False)]
)
def test_the_web_takes_whites_of_80_to_160(white: float, ok: bool) -> None:
    rule = shipped_rule("web-srgb")
    assessment = graded(rule, ideal(rule, white=white, black=white / 600))
    assert (outside(assessment) == set()) is ok
