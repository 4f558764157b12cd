"""Where a sheet's house rule departs from its parent, with what the parent asks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from compliance.model import Change
from compliance.model.stated import StatedRule
from compliance.rules.parents import shipped_by_pin


@dataclass(frozen=True, slots=True)
class Departure:
    """One stated change of a house rule."""

    change: Change
    now: Any
    """The value in the rule, as in a rule file; None if it was withdrawn."""
    parent: Any
    """The value in the parent; None if it has none or does not come with this tool."""


def departures(rule: StatedRule, resolved: Mapping[str, Any]) -> tuple[Departure, ...]:
    """Return the changes that a sheet's rule states; `resolved` is the rule attached to it."""
    found = shipped_by_pin(rule.extends) if rule.extends and rule.changes else None
    parent = found.resolved if found else {}
    return tuple(
        Departure(change, _at(resolved, change.subject), _at(parent, change.subject))
        for change in rule.changes
    )


def _at(rule: Mapping[str, Any], subject: str) -> Any:
    """Return the value at a dotted key, of lists by their entries' ids; None if there is none."""
    value: Any = rule
    for key in subject.split("."):
        if isinstance(value, list):
            named = (each for each in value if isinstance(each, Mapping) and each.get("id") == key)
            value = next(named, None)
        else:
            value = value.get(key) if isinstance(value, Mapping) else None
    return value
