"""Bounds of what a rule asks for, checked before anything is computed from it.

Evidence comes from anybody: a rule of some kilobytes can ask for work without end. The same
bounds hold where sheets are made, so that every sheet can be verified.
"""

from __future__ import annotations

from compliance.errors import Problem, RuleError
from compliance.model import PatchSet, Requirement, Rule

MOST_REQUIREMENTS = 100
"""Most requirements of a rule; the largest shipped one has 23."""
MOST_PLANNED = 10_000
"""Most patches that all requirements together name; a cube of 21 levels has 9,261."""
MOST_DRAWN = 700
"""Most values that are computed from draws of one set of readings, each 10,000 times.

Counted are the readings drawn and the patches that each requirement judges, both for each
correlation of x and y that is tried. Shipped rules need 250, and 640 if the correlation is not
known; with readings before calibration a sheet needs twice that. `tests/bench/worst_sheets.py`
prints what the most take.
"""
MOST_MOVED = 5_000
"""Most readings of ideal displays that are moved to a one-sided limit each; shipped rules: 800."""


def check_rule_size(rule: Rule) -> None:
    """Raise RuleError if a rule has too many requirements, or they name too many patches."""
    _check(rule, "has", len(rule.requirements), MOST_REQUIREMENTS, "requirements")
    named = sum(_named(requirement, rule) for requirement in rule.requirements)
    _check(rule, "names", named, MOST_PLANNED, "patches in all its requirements together")


def check_drawn(rule: Rule, values: int) -> None:
    """Raise RuleError if too many values would be computed from draws."""
    if values > MOST_DRAWN:
        what = (
            f"needs {values} values computed from draws of the meter's uncertainty: of readings, "
            f"and of patches in all its requirements together; expected at most {MOST_DRAWN}; use "
            "fewer patches, or a meter's file that states the correlation of x and y"
        )
        raise RuleError(Problem(rule.id, what))


def check_moved(rule: Rule, readings: int) -> None:
    """Raise RuleError if whether a meter can prove a rule needs too many displays on its limits."""
    if readings > MOST_MOVED:
        what = (
            f"has more one-sided limits of luminance and contrast than a meter is tried with: "
            f"they need {readings} readings; expected at most {MOST_MOVED}; use fewer different "
            "limits, or fewer patches"
        )
        raise RuleError(Problem(rule.id, what))


def _named(requirement: Requirement, rule: Rule) -> int:
    names = requirement.over.patches if requirement.over is not None else ()
    return sum(_size(rule.sets[name]) for name in names if name in rule.sets)


def _size(patches: PatchSet) -> int:
    parts = (patches.hues, patches.patches, patches.positions, patches.windows)
    return max(
        (patches.steps or 1) * max(map(len, parts)), patches.steps or 1, patches.repeats or 1
    )


def _check(rule: Rule, does: str, count: int, most: int, what: str) -> None:
    if count > most:
        raise RuleError(Problem(rule.id, f"{does} {count} {what}; expected at most {most}"))
