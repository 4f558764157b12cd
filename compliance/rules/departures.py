"""What a house rule takes easier than its parent, and whether each of that has its record."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from compliance.model import PatchSet, Requirement, Rule
from compliance.rules.compare import requirement_details, rule_details
from compliance.rules.compare_parts import Kind, limits_kind

Sets = Mapping[str, PatchSet]


def looser_parts(child: Rule, parent: Rule) -> dict[str, tuple[str, ...]]:
    """Keys besides the requirements that are not provably tighter, each with the parts of it."""
    looser: dict[str, list[str]] = {}
    for detail in rule_details(child, parent):
        if not detail.kind.harmless:
            key, _, part = detail.key.partition(".")
            part = part.removesuffix("_white").replace("_peak", "")
            looser.setdefault(key, [])
            if key == "target" and part not in looser[key]:
                looser[key].append(part)
    loose = [name for name in parent.sets if not _set_is_tighter(name, child, parent)]
    if loose:
        looser["patches"] = loose
    return {key: tuple(parts) for key, parts in looser.items()}


def _set_is_tighter(name: str, child: Rule, parent: Rule) -> bool:
    """Return whether a redefined set can only make the parent's requirements harder."""
    if child.sets.get(name) == parent.sets[name]:
        return True
    if name not in child.sets:
        return False
    sets = {**parent.sets, name: child.sets[name]}
    return all(
        detail.kind.harmless
        for requirement in parent.requirements
        for detail in requirement_details(requirement, requirement, sets, parent.sets)
    )


def requirement_departures(
    child: Requirement, parent: Requirement, child_sets: Sets, parent_sets: Sets
) -> tuple[str, ...]:
    """Keys in which a requirement is not provably tighter than its parent's.

    Redefined sets are not included. Another basis or clause for the same limits is included: it
    needs a reason.
    """
    details = requirement_details(child, parent, child_sets, parent_sets)
    loose = [
        detail.key
        for detail in details
        if not detail.kind.harmless and not detail.key.startswith("patches.")
    ]
    if limits_kind(child, parent) is Kind.SAME:
        loose += [
            name for name in ("basis", "clause") if getattr(child, name) != getattr(parent, name)
        ]
    return tuple(dict.fromkeys(loose))


def unrecorded_departures(child: Rule, parent: Rule) -> tuple[str, ...]:
    """Subjects in which a rule is not provably tighter than its parent, and has no record of it.

    A record is a `Change` of the rule's own: with a reason, who agreed to it, and a date. Records
    that the parent has belong to the parent's own departures, and have to be kept.
    """
    inherited = len(parent.changes)
    kept, own = child.changes[:inherited], child.changes[inherited:]
    recorded = {change.subject for change in own}
    dropped = [change.subject for change in parent.changes if change not in kept]
    departs = [subject for subject in _departures(child, parent) if subject not in recorded]
    return tuple(dict.fromkeys([*dropped, *departs]))


def _departures(child: Rule, parent: Rule) -> Iterator[str]:
    for key in looser_parts(child, parent):
        if child.resolved.get(key) != parent.resolved.get(key):
            yield key
    own = {requirement.id: requirement for requirement in child.requirements}
    for requirement in parent.requirements:
        mine = own.get(requirement.id)
        if mine is None or requirement_departures(mine, requirement, child.sets, parent.sets):
            yield f"requirements.{requirement.id}"
