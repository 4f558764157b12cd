"""What a house rule must explain: whatever is not provably tighter than in its parent."""

from __future__ import annotations

from collections.abc import Mapping

from compliance.model import PatchSet, Requirement, Rule
from compliance.rules.compare import requirement_details, rule_details
from compliance.rules.kinds import Kind
from compliance.rules.tolerance import limits_kind

__all__ = ["departures", "requirement_departures"]

Sets = Mapping[str, PatchSet]


def departures(child: Rule, parent: Rule) -> dict[str, tuple[str, ...]]:
    """Keys outside the requirements that are not provably tighter, and in what."""
    found: dict[str, list[str]] = {}
    for detail in rule_details(child, parent):
        if not detail.kind.harmless:
            key, _, part = detail.key.partition(".")
            part = part.removesuffix("_white").replace("_peak", "")
            found.setdefault(key, [])
            if key == "target" and part not in found[key]:
                found[key].append(part)
    loose = [name for name in parent.sets if not _set_is_tighter(name, child, parent)]
    if loose:
        found["patches"] = loose
    return {key: tuple(parts) for key, parts in found.items()}


def _set_is_tighter(name: str, child: Rule, parent: Rule) -> bool:
    """The redefined set only makes the parent's requirements harder that lean on it."""
    if child.sets.get(name) == parent.sets[name]:
        return True
    if name not in child.sets:
        return False
    sets = {**parent.sets, name: child.sets[name]}
    return all(
        detail.kind.harmless
        for one in parent.requirements
        for detail in requirement_details(one, one, sets, parent.sets)
    )


def requirement_departures(
    child: Requirement, parent: Requirement, child_sets: Sets, parent_sets: Sets
) -> tuple[str, ...]:
    """Keys in which a requirement is not provably tighter than its parent's.

    Sets that were redefined are not among them. Other words for the source of the same limits
    are: who says so has to say why.
    """
    found = requirement_details(child, parent, child_sets, parent_sets)
    loose = [
        detail.key
        for detail in found
        if not detail.kind.harmless and not detail.key.startswith("patches.")
    ]
    if limits_kind(child, parent) is Kind.SAME:
        loose += [
            name for name in ("basis", "clause") if getattr(child, name) != getattr(parent, name)
        ]
    return tuple(dict.fromkeys(loose))
