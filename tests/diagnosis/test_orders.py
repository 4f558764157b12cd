"""A display with two faults is the same, whichever of them was put on it first."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from helpers import physical

from compliance.diagnosis.candidates import FITTED
from compliance.diagnosis.faulty_display import ideal_display, simulate
from compliance.diagnosis.fitting import Chosen, Option, applied

RULES = list(physical.WHITES)


def chosen(option: Option) -> Chosen:
    """The option with a value that is neither its first nor its last."""
    return Chosen(option, option.grid[len(option.grid) // 3])


@pytest.mark.parametrize("rule", RULES)
def test_every_two_options_in_both_orders(rule: str) -> None:
    inputs = physical.inputs_of(rule)
    start = ideal_display(inputs)
    options = [chosen(one) for row in FITTED.values() for one in row.options(inputs)]
    for one, other in itertools.combinations(options, 2):
        if one.option.parts & other.option.parts:
            continue
        first, second = (
            simulate(applied(start, two), inputs) for two in ((one, other), (other, one))
        )
        names = [f"{each.option.cause} {each.option.variant}" for each in (one, other)]
        assert np.allclose(first.xyz, second.xyz, rtol=1e-9, atol=1e-12), names
