"""HLG at several nominal peaks through one `system_gamma: auto`.

Held to ITU-R BT.2100-3, Table 5 and note 5f, written out here with the constants as printed there,
and to colour-science; 203 cd/m² at 75 % is ITU-R BT.2408-8's (tables/hdr-levels.csv).
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from helpers import simulated
from helpers.outside_tools import colour
from helpers.shipped import graded, ideal, outside, shipped_rule
from numpy.typing import NDArray

from compliance import targets
from compliance.colour.spaces import PRIMARIES, WHITES, rgb_to_xyz_matrix
from compliance.errors import RuleError
from compliance.model import Outcome, Rule
from compliance.rules.library import load_rule
from compliance.targets import target_model

Array = NDArray[np.float64]

PEAKS = (400, 600, 1000, 2000)
GAMMAS = {400: 1.033, 600: 1.107, 1000: 1.2, 2000: 1.326}
"""1.2 + .42·log10(Lw/1000), to three decimals."""
A, B, C = 0.17883277, 0.28466892, 0.55991073
SIGNALS = np.array(
    [[v, v, v] for v in (0.05, 0.1, 0.25, 0.5, 0.58, 0.75, 0.9, 1.0)]
    + [[0.75, 0.4, 0.1], [0.2, 0.7, 0.3], [0.3, 0.2, 0.9]]
)

HOUSE = """\
rule: hlg-house
extends: hdr-hlg-1000@2
title: HDR master, HLG, another peak
revision: 1
target: {{luminance: {{white: {peak}}}}}
patches:
  brightest: {{hues: [red, green, blue, cyan, magenta, yellow], neutral: {peak}}}
changes:
  target: {{reason: another peak, agreed_by: the client, date: 2026-11-02}}
  patches: {{reason: another peak, agreed_by: the client, date: 2026-11-02}}
requirements:
  peak-level:
    limits: {{min: {low}, max: {high}}}
    change: {{reason: another peak, agreed_by: the client, date: 2026-11-02}}
"""


def at_peak(peak: int, folder: Path) -> Rule:
    """The shipped rule, or a house rule on it that names another peak."""
    if peak == 1000:
        return shipped_rule("hdr-hlg-1000")
    path = folder / "hlg-house.yaml"
    path.write_text(HOUSE.format(peak=peak, low=0.95 * peak, high=1.1 * peak))
    return load_rule(path)


def scene(signal: float) -> float:
    """Inverse OETF of BT.2100, Table 5."""
    return signal * signal / 3 if signal <= 0.5 else (math.exp((signal - C) / A) + B) / 12


def display(signal: Array, peak: float, black: float) -> list[float]:
    """EOTF of BT.2100, Table 5, R, G, B in cd/m²."""
    gamma = 1.2 + 0.42 * math.log10(peak / 1000)
    beta = math.sqrt(3 * (black / peak) ** (1 / gamma))
    red, green, blue = (scene(max(0.0, (1 - beta) * float(one) + beta)) for one in signal)
    luminance = 0.2627 * red + 0.6780 * green + 0.0593 * blue
    return [peak * luminance ** (gamma - 1) * one for one in (red, green, blue)]


def shown(rule: Rule, black: float) -> Array:
    """Target R, G, B in cd/m² of the signals, by the engine."""
    model = target_model(rule, rule.encoding)
    count = len(SIGNALS)
    white = np.full(count, rule.target.luminance_white)
    xyz = targets.target_xyz(SIGNALS, model, white, np.full(count, black))
    return np.asarray(xyz @ np.linalg.inv(rgb_to_xyz_matrix(PRIMARIES["bt2020"], WHITES["d65"])).T)


@pytest.mark.parametrize("peak", PEAKS)
def test_the_system_gamma_follows_the_peak(peak: int, tmp_path: Path) -> None:
    gamma = at_peak(peak, tmp_path).target.system_gamma
    assert gamma == pytest.approx(GAMMAS[peak], abs=0.0005)


@pytest.mark.parametrize("peak", PEAKS)
@pytest.mark.parametrize("black", [0.0, 0.005])
def test_targets_are_bt2100_s(peak: int, black: float, tmp_path: Path) -> None:
    """The constants are printed to 8 decimals, which is some 1e-7 of the light."""
    found = shown(at_peak(peak, tmp_path), black)
    expected = [display(signal, peak, black) for signal in SIGNALS]
    np.testing.assert_allclose(found, expected, rtol=2e-6, atol=1e-9)


@pytest.mark.parametrize("peak", PEAKS)
def test_targets_are_those_of_another_library(peak: int, tmp_path: Path) -> None:
    found = shown(at_peak(peak, tmp_path), 0.005)
    expected = colour.models.eotf_BT2100_HLG(SIGNALS, L_B=0.005, L_W=peak)
    np.testing.assert_allclose(found, expected, rtol=1e-6, atol=1e-9)


def test_203_at_75_percent() -> None:
    assert shown(shipped_rule("hdr-hlg-1000"), 0.0)[5] == pytest.approx([203] * 3, abs=0.5)


@pytest.mark.parametrize("peak", PEAKS)
def test_a_display_of_that_peak_complies(peak: int, tmp_path: Path) -> None:
    rule = at_peak(peak, tmp_path)
    assert graded(rule, ideal(rule, black=0.002)).verdict is Outcome.COMPLIANT


@pytest.mark.parametrize("peak", [400, 2000])
def test_a_gamma_of_1_2_is_wrong_elsewhere(peak: int, tmp_path: Path) -> None:
    rule = at_peak(peak, tmp_path)
    fixed = replace(rule.target, system_gamma=1.2)
    assessment = graded(rule, ideal(rule, black=0.002, wrong_target=fixed))
    assert {"tracking", "grey"} <= outside(assessment)


def test_another_peak_needs_its_own_brightest_colours(tmp_path: Path) -> None:
    text = HOUSE.format(peak=600, low=570, high=660)
    path = tmp_path / "hlg-house.yaml"
    path.write_text(text.replace("neutral: 600", "neutral: 1000"))
    with pytest.raises(RuleError, match=r"patches.brightest.neutral: 1000 is above the target's"):
        load_rule(path)


@pytest.mark.parametrize(("grade", "peak"), [("1a", 1000), ("1b", 1000), ("2", 600), ("3", 500)])
def test_the_grades_peaks(grade: str, peak: int) -> None:
    """EBU Tech 3320 v4.1, 2.4.1.1: at least so much in 1 % of the area, whatever 10 % shows."""
    rule = shipped_rule(f"hdr-hlg-grade-{grade}")
    for level, expected in ((0.999 * peak, {"peak-level"}), (1.001 * peak, set())):
        assert outside(graded(rule, ideal(rule, white=level))) == expected

    def small(patch: object, xyz: Array) -> Array:
        return xyz * 0.9 if getattr(patch, "window", 0) == 1 else xyz

    assert outside(graded(rule, ideal(rule, fault=small))) == {"peak-level"}


@pytest.mark.parametrize(
    ("transfer", "more", "message"),
    [
        ("{curve: pq, system_gamma: auto}", "", "belongs to hlg, not pq"),
        ("{curve: hlg, system_gamma: some}", "", "expected 'auto' or a number"),
        ("{curve: hlg, system_gamma: 1.1}", ", surround: 10", "leave one out"),
    ],
)
def test_a_wrong_system_gamma_is_refused(
    transfer: str, more: str, message: str, tmp_path: Path
) -> None:
    with pytest.raises(RuleError) as caught:
        load_rule(_own(tmp_path, transfer, more))
    assert message in str(caught.value)


def test_a_stated_system_gamma_is_taken(tmp_path: Path) -> None:
    rule = load_rule(_own(tmp_path, "{curve: hlg, system_gamma: 1.1}"))
    assert rule.target.system_gamma == 1.1
    assert simulated.ideal(rule)


def _own(folder: Path, transfer: str, more: str = "") -> Path:
    path = folder / "own.yaml"
    path.write_text(
        "rule: own\ntitle: Own\nrevision: 1\n"
        f"target: {{primaries: bt2020, white: d65, transfer: {transfer}, "
        f"luminance: {{white: 1000}}{more}}}\n"
        "requirements: {black-level: {quantity: luminance, over: black, limits: {max: 1}}}\n"
    )
    return path
