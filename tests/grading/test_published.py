"""Conformance probabilities of JCGM 106:2012, and acceptance limits, by the code that decides.

Worked examples of 7.3.3 and 7.4, recalled (see the figures beside each); a value is
drawn as the examples say and asked of the same tally that grades a slot.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from compliance.grading.decide import statement
from compliance.grading.samples import SampleCounts, SampledQuantity
from compliance.model import Limits, Verdict

DRAWS = 400_000


def tally(estimate: float, u: float, limits: Limits) -> SampleCounts:
    question = SampledQuantity(
        values=lambda view: np.asarray(view),  # type: ignore[call-overload, no-any-return]
        limits=(limits,),
        places=(),
        one_sided=False,
    )
    asked = SampleCounts(question, 0, (True,))
    random = np.random.RandomState(np.random.Philox(key=7))
    asked.add(estimate + u * random.standard_normal((DRAWS, 1)))  # type: ignore[arg-type]
    return asked


@pytest.mark.parametrize(
    ("estimate", "u", "limits", "expected"),
    [
        (-5.47, 0.05, Limits(maximum=-5.40), 0.92),
        (509.7, 8.6, Limits(minimum=490.0), 0.99),
        (13.6, 1.8, Limits(12.50, 16.30), 0.66),
    ],
)
def test_conformance_probability(
    estimate: float, u: float, limits: Limits, expected: float
) -> None:
    """Φ(1.4), Φ(2.3) and Φ(1.5) − Φ(−.6)."""
    assert tally(estimate, u, limits).probability(0) == pytest.approx(expected, abs=0.005)


@pytest.mark.parametrize("sides", ["lower", "upper", "both"])
def test_probability_against_scipy(sides: str) -> None:
    low = -np.inf if sides == "upper" else 9.0
    high = np.inf if sides == "lower" else 11.0
    limits = Limits(None if sides == "upper" else 9.0, None if sides == "lower" else 11.0)
    for estimate in (8.7, 9.4, 10.0, 10.9, 11.6):
        exact = stats.norm.cdf(high, estimate, 0.4) - stats.norm.cdf(low, estimate, 0.4)
        assert tally(estimate, 0.4, limits).probability(0) == pytest.approx(exact, abs=0.003)


def test_the_acceptance_limit_is_1_64_u_inside() -> None:
    """JCGM 106, 8.3.2: guard band z·u with z = Φ⁻¹(.95)."""
    u, limits = 0.5, Limits(maximum=10.0)
    edge = 10.0 - stats.norm.ppf(0.95) * u
    for estimate, expected in (
        (edge - 0.03, Verdict.PASS),
        (edge + 0.03, Verdict.CONDITIONAL_PASS),
    ):
        probability = tally(estimate, u, limits).probability(0)
        assert statement(True, probability, 0.95) is expected
    edge = 10.0 + stats.norm.ppf(0.95) * u
    for estimate, expected in (
        (edge - 0.03, Verdict.CONDITIONAL_FAIL),
        (edge + 0.03, Verdict.FAIL),
    ):
        probability = tally(estimate, u, limits).probability(0)
        assert statement(False, probability, 0.95) is expected


def test_intervals_are_those_of_the_normal() -> None:
    interval = tally(3.0, 0.2, Limits(0, 9)).interval(0)
    assert interval is not None
    assert interval.low == pytest.approx(3.0 - 1.96 * 0.2, abs=0.003)
    assert interval.high == pytest.approx(3.0 + 1.96 * 0.2, abs=0.003)
