"""The library: displays as good as their kind comply, wrong ones never do.

The spreads of the good ones stand in good_displays.py. Here is a small budget; the numbers of 300
displays per rule, made by hand with robustness.py, stand in tables/robustness.csv.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from helpers.good_displays import FAMILIES, family, good, wrong, wrong_ways
from helpers.shipped import RULES, graded, shipped_rule

from compliance.model import Outcome

PER_FAMILY = 40
PER_RULE = 16
"""At least, so that a few unlucky displays do not decide about a family of many rules."""
WRONG = 2
SHARE = 0.9
TABLE = Path(__file__).parent.parent / "tables" / "robustness.csv"


@pytest.mark.parametrize("name", FAMILIES)
def test_good_displays_comply(name: str) -> None:
    """9 of 10 in each family; the budget is shared among its rules."""
    rules = [rule for rule in map(shipped_rule, RULES) if family(rule) == name]
    assert rules, name
    random = np.random.RandomState(2026)
    verdicts = []
    for rule in rules:
        for _ in range(max(PER_RULE, -(-PER_FAMILY // len(rules)))):
            verdicts.append(graded(rule, good(rule, random)).verdict)
    assert Outcome.UNDECIDED not in verdicts
    assert verdicts.count(Outcome.COMPLIANT) >= SHARE * len(verdicts)


@pytest.mark.parametrize("name", RULES)
def test_wrong_displays_never_comply(name: str) -> None:
    rule = shipped_rule(name)
    random = np.random.RandomState(2027)
    for way, make in wrong_ways(rule).items():
        for _ in range(WRONG):
            assert graded(rule, wrong(rule, make, random)).verdict is Outcome.NOT_COMPLIANT, way


def test_the_table_of_robustness_covers_the_library() -> None:
    """As made by hand: at least 9 of 10 good displays of each rule comply, and no wrong one."""
    text = TABLE.read_text(encoding="utf-8")
    rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    good_rows = {row["rule"]: row for row in rows if row["display"] == "good"}
    assert set(good_rows) == set(RULES)
    for row in good_rows.values():
        assert int(row["displays"]) >= 300
        assert int(row["compliant"]) >= SHARE * int(row["displays"]), row
    for rule in map(shipped_rule, RULES):
        ways = {row["display"]: row for row in rows if row["rule"] == rule.id}
        for way in wrong_ways(rule):
            assert int(ways[way]["displays"]) >= 300
            assert int(ways[way]["compliant"]) == 0, ways[way]
