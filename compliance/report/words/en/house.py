"""A house rule beside the rule that it extends, in words."""

from __future__ import annotations

from collections.abc import Sequence

from compliance.model import Change, Rule
from compliance.report.numbers import format_date
from compliance.report.words.en.grammar import capital, counted, listed
from compliance.rules.compare_parts import Kind

WITHDRAWN = "not asked"
NOT_KNOWN = "not known here"
NO_REASON = "No reason stated"
MOST_NAMED = 3
"""Parts of a rule that a sentence names before it counts the rest."""
SUBJECTS = {
    "valid_for": "Time of validity",
    "target": "Target",
    "decision": "Decision rule",
    "patches": "Patches",
    "signal": "Signal",
    "window": "Patch window",
}


def subject(key: str) -> str:
    """A part of a rule that is no requirement, by its key."""
    name, _, part = key.partition(".")
    title = SUBJECTS.get(name, capital(name.replace("_", " ")))
    return f"{title}: {part}" if part else title


def unknown_parent(rule: Rule) -> str:
    """Beside the verdict, if the parent is none of the shipped rules."""
    count = counted(len(rule.changes), "change is stated", "changes are stated")
    return f"By house rule {rule.id}, which extends {rule.extends}: {count}."


def summary(rule: Rule, changed: Sequence[tuple[Kind, str]], others: Sequence[str]) -> str:
    """Beside the verdict: how many limits are wider, gone or other than in the parent, and which.

    `changed` are the requirements that differ, by their titles.
    """
    kinds = [kind for kind, _ in changed]

    def named(kind: Kind) -> str:
        return listed([title for each, title in changed if each is kind], MOST_NAMED)

    parts = []
    if wider := kinds.count(Kind.LOOSENED):
        limits = counted(wider, "limit")
        parts.append(f"{limits} wider than in {rule.extends} ({named(Kind.LOOSENED)})")
    if gone := kinds.count(Kind.WITHDRAWN):
        needs = counted(gone, "requirement")
        parts.append(f"{needs} of {rule.extends} not asked ({named(Kind.WITHDRAWN)})")
    if others_changed := kinds.count(Kind.CHANGED):
        needs = counted(others_changed, "requirement")
        parts.append(f"{needs} changed in other ways ({named(Kind.CHANGED)})")
    if others:
        names = [subject(key).lower() for key in others]
        parts.append(f"not as strict or other: {listed(names, MOST_NAMED)}")
    if not parts:
        parts.append(f"nothing is easier than in {rule.extends}")
    stricter = kinds.count(Kind.TIGHTENED) + kinds.count(Kind.ADDED)
    if stricter:
        parts.append(f"{stricter} stricter or added")
    return f"By house rule {rule.id}: {'; '.join(parts)}."


def met(inside: bool | None, value: str) -> str:
    """Whether the parent's limits would be met by what was measured."""
    if inside is None:
        return "cannot be told"
    return f"yes: {value}" if inside else f"no: {value}"


def why(change: Change) -> tuple[str, str]:
    """The reason of a change; who agreed, and when."""
    return f"{capital(change.reason)}.", f"{change.agreed_by}, {format_date(change.date)}"
