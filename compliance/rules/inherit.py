"""A house rule on top of its parent: merged, and every looser part with its change."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from compliance.model import PatchSet, Requirement, Rule
from compliance.rules.compare import requirement_details, rule_details
from compliance.rules.compare_parts import Kind, limits_kind
from compliance.rules.requirements import LIMIT_KEYS
from compliance.yaml_nodes.locations import Location, SourceLocations
from compliance.yaml_nodes.messages import did_you_mean, quoted

Sets = Mapping[str, PatchSet]


def looser_parts(child: Rule, parent: Rule) -> dict[str, tuple[str, ...]]:
    """Keys outside the requirements that are not provably tighter, and in what."""
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
    """The redefined set only makes the parent's requirements harder that lean on it."""
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

    Sets that were redefined are not among them. Other words for the source of the same limits
    are: who says so has to say why.
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


ORDER = (
    "rule", "extends", "title", "revision", "valid_for", "target", "signal", "window", "decision",
    "patches", "requirements", "changes",
)  # fmt: skip
ONE_LEVEL = ("target", "signal", "decision", "patches")
"""Merged key by key; patch sets replace one another by name."""

EXAMPLE = "change: {reason: …, agreed_by: …, date: 2026-11-02}"

Data = Mapping[str, Any]


def inherit(own: Data, parent: Data | None, places: SourceLocations) -> dict[str, Any]:
    """A rule's own data on top of its parent's resolved data, defaults written in.

    Problems (a change or a withdrawal that has nothing to be about) are noted in `places`.
    """
    above = parent or {}
    merged: dict[str, Any] = {**above, **own}
    for key in ONE_LEVEL:
        if key in above and key in own:
            merged[key] = {**above[key], **own[key]}
    changes = list(above.get("changes", ()))
    changes += [{"subject": key, **entry} for key, entry in own.get("changes", {}).items()]
    if parent is None and "changes" in own:
        places.at("changes").problem("are for a rule that extends another; this one does not")
    if "requirements" in merged:
        merged["requirements"] = _requirements(own, above, changes, places.at("requirements"))
    merged["changes"] = changes
    return {key: merged[key] for key in ORDER if key in merged and (key != "changes" or changes)}


def _requirements(
    own: Data, above: Data, changes: list[dict[str, Any]], here: Location
) -> dict[str, Any]:
    merged = dict(above.get("requirements", {}))
    for name, entry in own.get("requirements", {}).items():
        known = merged.get(name)
        place = here.at(name)
        fields = {key: value for key, value in entry.items() if key not in ("change", "withdraw")}
        change = {"subject": f"requirements.{name}", **entry.get("change", {})}
        if known is None and not _may_be_new(name, entry, above, place):
            continue
        if "change" in entry and not entry.get("withdraw"):
            changes.append(change)
        if entry.get("withdraw"):
            _check_withdrawal(entry, fields, place)
            del merged[name]
            changes.append({**change, "withdrawn": True})
        elif known is None:
            merged[name] = {**own.get("defaults", {}), **fields}
        else:
            merged[name] = _one_level(known, fields)
    return merged


def _may_be_new(name: str, entry: Data, above: Data, here: Location) -> bool:
    """A requirement the parent lacks: it says its quantity, and withdraws or changes nothing."""
    names = above.get("requirements", {})
    why = f"the parent has no {quoted(name)}; {did_you_mean(name, names)}"
    for key in ("withdraw", "change"):
        if key in entry:
            why = why if names else "is for a rule that extends another; this one does not"
            here.at(key).problem(why)
            return False
    if names and "quantity" not in entry:
        here.problem(f"{why} (a new one states its quantity)")
        return False
    return True


def _check_withdrawal(entry: Data, fields: Data, here: Location) -> None:
    if "change" not in entry:
        here.at("change").problem(f"missing; a withdrawal needs it, e.g. {EXAMPLE}")
    for key in fields:
        here.at(key).problem("a withdrawn requirement says nothing else; leave it out")


def _one_level(known: Data, fields: Data) -> dict[str, Any]:
    """Fields over fields; limits, bands and by_patch replace one another.

    Other limits are no longer those of the parent's document: unless the house says where
    they come from, their basis is the house.
    """
    merged = {**known, **fields}
    stated = [key for key in LIMIT_KEYS if key in fields]
    if not stated:
        return merged
    for key in LIMIT_KEYS:
        if key not in fields:
            merged.pop(key, None)
    if any(fields[key] != known.get(key) for key in stated) and "basis" not in fields:
        merged["basis"] = "house"
        if "clause" not in fields:
            merged.pop("clause", None)
    return merged


def check_changes(
    rule: Rule, parent: Rule, own: Data, inherited: Data, places: SourceLocations
) -> None:
    """Note each departure without its change, and each change without a departure.

    `own` is the rule file's data, `inherited` the parent's resolved data.
    """
    pin = f"{parent.id}@{parent.revision}"
    stated = own.get("changes", {})
    differ = looser_parts(rule, parent)
    for key, parts in differ.items():
        if key in own and key not in stated:
            about = f" ({', '.join(parts)})" if parts else ""
            places.at(key).problem(
                f"not provably tighter than in {pin}{about}; expected a reason, "
                f"e.g. changes: {{{key}: {{reason: …, agreed_by: …, date: 2026-11-02}}}}"
            )
    for key in stated:
        if key not in own or own[key] == inherited.get(key):
            places.at("changes", key).problem(f"{key} is as in {pin}; leave the entry out")
    above = {requirement.id: requirement for requirement in parent.requirements}
    for requirement in rule.requirements:
        known, entry = above.get(requirement.id), own.get("requirements", {}).get(requirement.id)
        if known is None or entry is None:
            continue
        here = places.at("requirements", requirement.id)
        loose = requirement_departures(requirement, known, rule.sets, parent.sets)
        if loose and "change" not in entry:
            also = f" (nor is {', '.join(loose[1:])})" if loose[1:] else ""
            message = f"not provably tighter than in {pin}{also}; expected a reason, e.g. {EXAMPLE}"
            here.at(loose[0]).problem(message)
        if "change" in entry and requirement == known:
            here.at("change").problem(f"the requirement is as in {pin}; leave the change out")
