"""Do the intervals cover the truth, and does the decision keep its promise? By simulation.

A true display is read with errors drawn from the very model that the meter's file
states; the stream of those errors is not the one the engine draws from. The number of
sets is small in CI; `LONG_TESTS=1` takes 2,000.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from helpers import builders
from helpers.budget import LONG
from numpy.typing import NDArray

from compliance.colour import transfer
from compliance.grading.match import MatchedReadings, match_readings
from compliance.grading.monte_carlo import findings_of
from compliance.model import Decision, Finding, Limits, Over, Readings, Rule, Uncertainty, Verdict
from compliance.quantities.catalogue import QUANTITIES

Array = NDArray[np.float64]

SETS = 2000 if LONG else 300
DRAWS = 2000 if LONG else 1000
SLACK = 0.02 if LONG else 0.035
LEVELS = np.array([0, 51, 77, 102, 128, 153, 179, 204, 255])
GAMMA, BLACK, WHITE = 2.35, 0.05, 101.0
METER = builders.meter(0.3)


def limits(quantity: str) -> Limits:
    return Limits(box=(1.0, 1.0)) if quantity == "chromaticity" else Limits(0, 1e9)


RULE = builders.rule(
    builders.target(),
    *(
        replace(builders.requirement(name, over, limits=limits(name)), id=name)
        for name, over in (
            ("luminance", Over(("white",))),
            ("contrast", None),
            ("chromaticity", Over(("white",))),
            ("fitted-exponent", Over(("grey",), signal=(0.1, 0.9))),
            ("gamut-coverage", None),
        )
    ),
    sets=(builders.ramp(6), builders.HUES),
)


def truth() -> Readings:
    """A display with a white off D65 and primaries that cover about 92 % of BT.709."""
    white = np.array([0.96, 1.0, 1.06])
    grey = np.asarray(transfer.bt1886(LEVELS / 255, WHITE, BLACK, GAMMA))
    hues = WHITE * np.array([[0.40, 0.217, 0.025], [0.358, 0.705, 0.125], [0.18, 0.0735, 0.935]])
    return builders.readings(
        [*([code] * 3 for code in LEVELS), [255, 0, 0], [0, 255, 0], [0, 0, 255]],
        np.concatenate([grey[:, None] * white, hues]),
    )


def misread(true: Readings, random: np.random.Generator, file: Uncertainty) -> Readings:
    """One reading of everything, with errors from the stated uncertainty."""
    xyz = true.xyz
    luminance = xyz[:, 1]
    low = luminance < 1.0
    z = random.standard_normal
    decades = np.abs(np.subtract.outer(*[np.log10(np.maximum(luminance, 1e-5))] * 2))
    levels = np.linalg.cholesky(np.exp(-decades) + 1e-9 * np.eye(len(decades)))
    common = np.where(low, 0.02, 0.01) * (levels @ z(len(luminance)))
    own = 0.003 * z(len(luminance))
    read = luminance * (1 + common + own) + 0.001 * z()
    u = np.where(low[:, None], (0.002, 0.0015), (0.001, 0.0005))
    rho = file.correlation or 0.0
    pair = np.sqrt(8) / 3 * z((1, 2)) + levels @ z((len(luminance), 2)) / 3
    shared = u * np.stack([pair[:, 0], rho * pair[:, 0] + np.sqrt(1 - rho**2) * pair[:, 1]], axis=1)
    repeat = z((len(luminance), 2)) * np.array([0.00025, 0.0002])
    xy = xyz[:, :2] / xyz.sum(axis=1, keepdims=True) + shared
    xy = xy + repeat
    x, y = xy.T
    return replace(true, xyz=np.stack([x / y * read, read, (1 - x - y) / y * read], axis=1))


def case_of(rule: Rule, readings: Readings) -> MatchedReadings:
    return replace(match_readings(rule, readings, meter=METER), chromaticity_floor=0.001)


@cache
def simulated() -> list[tuple[Finding, ...]]:
    random = np.random.default_rng(20)
    true = truth()
    assert METER.uncertainty is not None
    return [
        findings_of(
            case_of(RULE, misread(true, random, METER.uncertainty)),
            METER.uncertainty,
            count=DRAWS,
            seed=seed,
        )
        for seed in range(SETS)
    ]


def true_values() -> dict[str, float | tuple[float, float]]:
    found = findings_of(case_of(RULE, truth()), None, count=0, seed=0)
    return {one.id: one.value for one in found}  # type: ignore[misc]


def covered(name: str, axis: int | None = None) -> float:
    place = [requirement.id for requirement in RULE.requirements].index(name)
    true = true_values()[name]
    hits = 0
    for findings in simulated():
        interval = findings[place].interval
        assert interval is not None and interval.sided == 2
        low, high = interval.low, interval.high
        if axis is not None:
            low, high = low[axis], high[axis]  # type: ignore[index]
        value = true if axis is None else true[axis]  # type: ignore[index]
        hits += low <= value <= high  # type: ignore[operator]
    return hits / SETS


@pytest.mark.parametrize(
    ("name", "axis"),
    [
        ("luminance", None),
        ("contrast", None),
        ("chromaticity", 0),
        ("fitted-exponent", None),
        ("gamut-coverage", None),
    ],
)
def test_95_per_cent_intervals_cover_the_truth(name: str, axis: int | None) -> None:
    assert covered(name, axis) == pytest.approx(0.95, abs=SLACK)


def test_the_truth_is_what_it_was_built_to_be() -> None:
    true = true_values()
    assert true["fitted-exponent"] == pytest.approx(GAMMA, abs=1e-6)
    assert true["contrast"] == pytest.approx(WHITE / BLACK)
    assert true["gamut-coverage"] == pytest.approx(92, abs=1)
    assert set(true) <= set(QUANTITIES)


def test_guarded_acceptance_keeps_its_promise() -> None:
    """A white exactly on its limit is accepted at most 5 times in 100."""
    requirement = builders.requirement("luminance", "white", limits=Limits(minimum=WHITE))
    rule = builders.rule(builders.target(), requirement, decision=Decision("guarded", 0.95))
    random = np.random.default_rng(21)
    accepted = 0
    for seed in range(SETS):
        assert METER.uncertainty is not None
        readings = misread(truth(), random, METER.uncertainty)
        (finding,) = findings_of(case_of(rule, readings), METER.uncertainty, count=DRAWS, seed=seed)
        accepted += finding.verdict is Verdict.PASS
    assert accepted / SETS <= 0.05 + 2.6 * np.sqrt(0.05 * 0.95 / SETS)
    assert accepted / SETS >= 0.05 - 3.5 * np.sqrt(0.05 * 0.95 / SETS), "not idle either"


def test_many_patches_do_not_make_a_perfect_display_fail() -> None:
    """60 neutral patches, each within ± 5 %, read once by a typical meter.

    Two decades below white, u of a ratio is √(2·(1 − e⁻²)) % and .4 % of repeatability: one in
    twenty of the darkest comes nearer to its limit than 1.64 u.
    """
    levels = np.linspace(64, 255, 60).round().astype(int)
    levels[0] = 0
    light = np.asarray(transfer.bt1886(levels / 255, 100.0, 0.05))
    perfect = builders.readings(
        np.repeat(levels[:, None], 3, axis=1), light[:, None] * np.array([0.9505, 1.0, 1.0891])
    )
    requirement = builders.requirement(
        "luminance-error", Over(("grey",), target=(1, 100)), limits=Limits(-5, 5)
    )
    rule = builders.rule(
        builders.target(),
        requirement,
        sets=(builders.ramp(3, signal=(0.25, 1.0)),),
        decision=Decision("guarded", 0.95),
    )
    random = np.random.default_rng(22)
    passed = failed = 0
    for seed in range(60):
        assert METER.uncertainty is not None
        readings = misread(perfect, random, METER.uncertainty)
        (finding,) = findings_of(case_of(rule, readings), METER.uncertainty, count=1000, seed=seed)
        assert len(finding.points) >= 50
        passed += finding.verdict is Verdict.PASS
        failed += finding.verdict in (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)
    assert passed >= 52
    assert failed == 0
