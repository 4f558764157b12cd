"""Displays side by side have the losses that they have alone."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from helpers import physical

from compliance.diagnosis.candidates import FITTED
from compliance.diagnosis.faulty_display import Display, ideal_display
from compliance.diagnosis.fitting import Chosen, Combination, applied, loss, losses, refined
from compliance.diagnosis.inputs import Inputs
from compliance.diagnosis.stacking import TOGETHER, Sized, stacks

RULES = list(physical.WHITES)


def grown(inputs: Inputs) -> list[Sized]:
    """Every option's grid alone and on the middle of that of every eleventh option."""
    start = ideal_display(inputs)
    options = [option for row in FITTED.values() for option in row.options(inputs)]
    under: list[Display] = [start]
    under += (applied(start, [Chosen(one, one.grid[len(one.grid) // 2])]) for one in options[::11])
    return [
        Sized(option.change(display, option.grid), len(option.grid))
        for display, option in itertools.product(under, options)
    ]


@pytest.mark.parametrize("rule", RULES)
def test_losses_are_those_of_each_alone(rule: str) -> None:
    inputs = physical.inputs_of(rule)
    displays = grown(inputs)
    for (display, size), found in zip(displays, losses(displays, inputs), strict=True):
        assert len(found) == size
        assert np.allclose(found, loss(display, inputs), rtol=0, atol=2e-9)


def test_few_stacks_hold_all_displays_once() -> None:
    displays = grown(physical.inputs_of("sdr-broadcast"))
    found = list(stacks(displays))
    assert sorted(itertools.chain(*found)) == list(range(len(displays)))
    assert len(found) <= len(displays) / 3
    for places in found:
        assert len(places) == 1 or sum(displays[place].size for place in places) <= TOGETHER


def test_a_combination_is_refined_as_if_alone() -> None:
    inputs = physical.inputs_of("sdr-broadcast")
    options = {
        (option.cause, option.subject): option
        for row in FITTED.values()
        for option in row.options(inputs)
    }
    gain, offset = (options[cause, "red"] for cause in ("gain", "offset"))
    some: list[Combination] = [
        (Chosen(gain, gain.grid[15]),),
        (Chosen(gain, gain.grid[12]), Chosen(offset, offset.grid[14])),
    ]
    start = ideal_display(inputs)
    for alone, beside in zip(some, refined(start, some, inputs), strict=True):
        (own,) = refined(start, [alone], inputs)
        assert np.isclose(own.loss, beside.loss, rtol=0, atol=1e-8)
        assert beside.loss < loss(applied(start, alone), inputs)[0]
