"""Code values that meet the rule's patches, but in another encoding than was said."""

from __future__ import annotations

from dataclasses import replace

from compliance.errors import RuleError
from compliance.grading.case import Case
from compliance.matching import Matcher, distinct_patches
from compliance.model import ENCODINGS, Encoding, Readings, Remark
from compliance.patches import Plan

__all__ = ["encoding"]

FEW = 0.5
"""Share of the rule's patches that is found, above which nothing is said."""
HARDLY = 0.1
"""Share that is found of a rule's patches where others were measured."""
MOST = 0.9
"""Share that another encoding must find."""


def encoding(case: Case, readings: Readings) -> Remark | None:
    """A remark where most patches are missing, and are there if the codes are read otherwise."""
    here, every = _found(case.matcher)
    if here > FEW * every:
        return None
    others = {name: _found_in(case, readings, other) for name, other in ENCODINGS.items()}
    best = max(others, key=lambda name: others[name])
    if others[best] < MOST * every:
        return _of_another_plan(here, every, len(case.patches))
    return Remark(
        "encoding",
        f"Of {every} patches that the rule names {here} are among the readings as "
        f"{readings.encoding.name}, and {others[best]} would be as {best}: the code values may "
        "be in that encoding.",
    )


def _of_another_plan(here: int, every: int, read: int) -> Remark | None:
    """A remark where hardly any of the rule's patches is there, and much that is none of them."""
    if here > HARDLY * every or read <= 2 * here:
        return None
    return Remark(
        "other-plan",
        f"Of {every} patches that the rule names {here or 'none'} "
        f"{'is' if here == 1 else 'are'} among the readings: they may have been taken for another "
        "rule.",
    )


def _found_in(case: Case, readings: Readings, other: Encoding) -> int:
    """How many of the rule's patches there are if the codes are in another encoding."""
    if other == readings.encoding or readings.codes.max(initial=0) > other.top:
        return 0
    try:
        plan = Plan(case.rule, other)
    except RuleError:  # X'Y'Z' codes for a rule that takes RGB
        return 0
    found, _ = _found(Matcher(plan, distinct_patches(replace(readings, encoding=other), plan)))
    return found


def _found(matcher: Matcher) -> tuple[int, int]:
    """How many of the patches in the rule's sets are among the readings, and of how many."""
    plan = matcher.plan
    names = ("white", "black", *plan.rule.sets)
    patches = [patch for name in names for patch in plan.patches(name)]
    return sum(matcher.find(patch) is not None for patch in patches), len(patches)
