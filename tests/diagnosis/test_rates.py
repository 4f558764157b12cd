"""How often the right cause is named, over the table of simulated faults.

CI runs a part of the table; LONG_TESTS=1 runs all of it and more, and prints the rates (with -s).
"""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from helpers import fault_table
from helpers.budget import LONG
from helpers.fault_table import RULES, Trial

from compliance.rules.library import shipped_rules

SEEDS = 5 if LONG else 1
EACH = None if LONG else 1
PAIRS = 300 if LONG else 10
QUIET = 100 if LONG else 2


def kinds(trial: Trial, ranks: int = 99) -> set[str]:
    """The kinds of the causes of the first ranks."""
    return {one.kind for one in fault_table.diagnosed(trial).causes if one.rank <= ranks}


def rate(name: str, trials: Iterable[tuple[Trial, bool]]) -> float:
    """Share of trials that went as wanted; says which did not."""
    told = list(trials)
    missed = [trial.name for trial, good in told if not good]
    print(f"{name}: {len(told) - len(missed)} of {len(told)}")
    for each in missed:
        print(f"  missed: {each}")
    return 1 - len(missed) / len(told)


@pytest.mark.parametrize("rule", RULES)
def test_the_cause_of_a_single_fault_comes_first(rule: str) -> None:
    trials = fault_table.singles([rule], SEEDS, each=EACH)
    found = ((trial, set(trial.wanted) <= kinds(trial, 1)) for trial in trials)
    assert rate(f"{rule}, single faults", found) >= 0.95


@pytest.mark.parametrize("rule", RULES)
def test_both_causes_of_a_pair_come_first(rule: str) -> None:
    trials = fault_table.pairs([rule], PAIRS, seed=5)
    found = ((trial, set(trial.wanted) <= kinds(trial, 2)) for trial in trials)
    assert rate(f"{rule}, pairs", found) >= (0.95 if LONG else 0.8)


def test_a_good_display_gets_no_cause() -> None:
    """Well calibrated displays with their spreads, and a meter's noise: every shipped rule."""
    trials = [Trial(rule, (), 1000 + seed) for rule in shipped_rules() for seed in range(QUIET)]
    found = ((trial, not kinds(trial)) for trial in trials)
    assert rate("good displays", found) >= 0.99


def test_every_cause_is_in_the_table() -> None:
    from compliance.diagnosis.diagnose import CAUSES

    simulated = {one.wanted[0] for one in fault_table.singles(RULES, 1)}
    elsewhere = {
        "unloaded", "luminance", "sag", "misread", "colour-drift", "clipping", "tint", "crosstalk",
        "deliverable", "meter",
    }  # fmt: skip
    assert set(CAUSES) - simulated == elsewhere
