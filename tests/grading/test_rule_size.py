"""Rules that ask for more than any sheet: refused before anything is computed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from helpers.shipped import shipped_rule

from compliance.errors import RuleError
from compliance.grading.rule_size import (
    MOST_DRAWN,
    MOST_PLANNED,
    MOST_REQUIREMENTS,
    check_drawn,
    check_rule_size,
)
from compliance.model import Rule

RULE = shipped_rule("sdr-broadcast")


def with_requirements(count: int) -> Rule:
    """The rule with its tracking required so many times."""
    tracking = next(each for each in RULE.requirements if each.id == "tracking")
    many = (replace(tracking, id=f"tracking-{number}") for number in range(count))
    return replace(RULE, requirements=tuple(many))


def test_requirements_are_bounded() -> None:
    check_rule_size(RULE)
    check_rule_size(with_requirements(MOST_REQUIREMENTS))
    with pytest.raises(RuleError, match="has 101 requirements; expected at most 100"):
        check_rule_size(with_requirements(MOST_REQUIREMENTS + 1))


@pytest.mark.parametrize(
    "parts",
    [
        {"steps": MOST_PLANNED},
        {"kind": "saturations", "steps": MOST_PLANNED // 2, "hues": ("red", "green", "blue")},
        {"kind": "repeats", "repeats": MOST_PLANNED + 1},
        {"kind": "list", "patches": ((("a", (1, 2, 3)),) * (MOST_PLANNED + 1))},
    ],
)
def test_patches_that_requirements_name_are_bounded(parts: dict[str, Any]) -> None:
    sets = {**RULE.sets, "grey": replace(RULE.sets["grey"], **parts)}
    with pytest.raises(RuleError, match=r"names \d+ patches in all its requirements together"):
        check_rule_size(replace(RULE, sets=sets))


def test_patches_with_draws_are_bounded() -> None:
    class Judged:
        def __init__(self, count: int) -> None:
            self.patches = tuple(range(count))

    grades: Any = [Judged(MOST_DRAWN - 1), Judged(1)]
    check_drawn(RULE, grades)
    with pytest.raises(RuleError, match="judges 1501 patches in all its requirements together"):
        check_drawn(RULE, [*grades, *grades[1:]])
