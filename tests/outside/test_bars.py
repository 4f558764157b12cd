"""The bars on a small budget; with LONG_TESTS=1 all of them, which takes hours.

`python -m outside.bars`, `outside.black` and `outside.meter_keys` print the figures.
"""

from __future__ import annotations

import os

import pytest

from outside import bars, black, meter_keys
from outside.coverage import Case

LONG = os.environ.get("LONG_TESTS") == "1"
WITH_BAR = [case for case, has_bar in bars.cases() if has_bar]


def _case(name: str) -> Case:
    return next(case for case in WITH_BAR if case.name == name)


def test_intervals_hold_the_truth() -> None:
    """A certificate of one figure, errors that go together over a decade."""
    counts = bars.run(_case("one-figure 1 dec exponential"), 32)
    assert not counts.unknown and not counts.not_judged
    requirements = sorted({key[0] for key in counts.sets})
    shares = {name: counts.pooled(name)[0] for name in requirements}
    assert len(shares) == 12
    assert min(shares.values()) > 0.82, shares
    assert sum(shares.values()) / len(shares) > 0.91, shares


def test_values_on_a_limit_are_rarely_accepted() -> None:
    """Over all values on a limit, p is .95 or more in about one of twenty."""
    counts = bars.run(_case("on limit, one-figure 1 dec exponential"), 64)
    accepted, values = sum(counts.accepted.values()), sum(counts.sets.values())
    assert values > 400 and not counts.unknown
    assert accepted / values < 0.08


if LONG:

    @pytest.mark.parametrize("case", WITH_BAR, ids=lambda case: case.name)
    def test_every_bar(case: Case) -> None:
        """Each value of each case, over 2,000 sets."""
        assert not bars.missed(case, bars.run(case, 2000, workers=2))


def test_blacks_out_of_sight() -> None:
    """BT.1886 passes and other curves fail, with the values that a plain search finds."""
    if LONG:
        outcomes = list(black.outcomes())
    else:
        curves = ("bt1886 2.4", "power 2.2", "power 2.5", "srgb")
        outcomes = list(black.outcomes(curves, (0.0, 0.0027), (0.003, 0.02), ("zero",), 500))
    assert len(outcomes) >= 16
    for outcome in outcomes:
        assert not outcome.faults(), outcome
        tracking, gamma = black.expected(outcome.curve, outcome.black, outcome.lowest)
        assert outcome.tracking == pytest.approx(tracking, rel=0.05, abs=0.03), outcome
        assert outcome.gamma == pytest.approx(gamma, abs=0.015), outcome


@pytest.mark.parametrize("meter", meter_keys.METERS if LONG else ["rich", "sparse"])
def test_nothing_left_out_makes_a_verdict_better(meter: str) -> None:
    """Keys deleted or blanked, bands that begin later."""
    if LONG:
        found = list(meter_keys.faults(meter, two=40))
    else:
        found = list(
            meter_keys.faults(meter, every=24, two=1, requirements=("white-level", "grey-colour"))
        )
    assert sum(graded for graded, _ in found) >= 4
    assert not [worded for _, worded in found if worded]
