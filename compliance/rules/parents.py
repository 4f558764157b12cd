"""The shipped rule that a house rule extends."""

from __future__ import annotations

from functools import lru_cache

from compliance.errors import RuleError
from compliance.model import Rule
from compliance.rules.library import load_rule
from compliance.rules.load import PIN


def shipped_parent(rule: Rule) -> Rule | None:
    """Return what a house rule extends, as it is shipped; None if that is no shipped rule."""
    return shipped_by_pin(rule.extends) if rule.extends else None


@lru_cache(maxsize=64)
def shipped_by_pin(pin: str) -> Rule | None:
    """Return the shipped or archived rule named `ID@REVISION`; None if none is shipped so."""
    if PIN.fullmatch(pin) is None:
        return None
    try:
        return load_rule(pin)
    except RuleError:
        return None
