"""A resolved rule as it is hashed and travels with the evidence, and back.

Canonical JSON sorts the keys of mappings. The order of requirements, sets and patches is
part of what a sheet prints, so they stand as lists there, each entry with its own name.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from compliance.errors import Problem, RuleError

__all__ = ["from_resolved", "to_resolved"]

Data = Mapping[str, Any]

FILE = "rule.json"
"""How messages name what came back from the evidence."""


def to_resolved(data: Data) -> dict[str, Any]:
    """A rule's data with lists for its named requirements, sets and patches."""
    found = dict(data)
    if "patches" in data:
        found["patches"] = [
            {"set": name, **_listed(entry)} for name, entry in data["patches"].items()
        ]
    found["requirements"] = [{"id": name, **entry} for name, entry in data["requirements"].items()]
    return found


def _listed(entry: Data) -> dict[str, Any]:
    if "list" not in entry:
        return dict(entry)
    patches = [{"name": name, "codes": codes} for name, codes in entry["list"]["patches"].items()]
    return {**entry, "list": {**entry["list"], "patches": patches}}


def from_resolved(resolved: Any) -> dict[str, Any]:
    """The data again, in the form a file gives. RuleError where it is in no such form."""
    if not isinstance(resolved, Mapping):
        raise _fault((), "is no resolved rule; expected a mapping")
    found = dict(resolved)
    if "patches" in resolved:
        found["patches"] = {
            name: _unlisted(entry, name)
            for name, entry in _named(resolved["patches"], "set", "patches").items()
        }
    if "requirements" in resolved:
        found["requirements"] = _named(resolved["requirements"], "id", "requirements")
    return found


def _unlisted(entry: dict[str, Any], name: str) -> dict[str, Any]:
    listed = entry.get("list")
    if not isinstance(listed, Mapping) or "patches" not in listed:
        return entry
    where = f"patches.{name}.list.patches"
    patches = _named(listed["patches"], "name", where)
    if any(set(patch) != {"codes"} for patch in patches.values()):
        raise _fault(where, "expected name and codes in each entry")
    codes = {name: patch["codes"] for name, patch in patches.items()}
    return {**entry, "list": {**listed, "patches": codes}}


def _named(entries: Any, key: str, where: str) -> dict[str, dict[str, Any]]:
    """Entries by their own names, in order; each name once."""
    if not isinstance(entries, list) or not all(isinstance(entry, Mapping) for entry in entries):
        raise _fault(where, f"expected a list of mappings, each with '{key}'")
    found: dict[str, dict[str, Any]] = {}
    for entry in entries:
        name = entry.get(key)
        if not isinstance(name, str):
            raise _fault(where, f"an entry has no '{key}'")
        if name in found:
            raise _fault(where, f"'{name}' stands there twice")
        found[name] = {part: value for part, value in entry.items() if part != key}
    return found


def _fault(where: object, message: str) -> RuleError:
    return RuleError(Problem(FILE, message, field=str(where) if where else None))
