"""Where a key belongs that stands in a mapping which does not know it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from compliance.documents.words import Path, dotted

__all__ = ["belongs"]

Schema = Mapping[str, Any]
Resolve = Callable[[Schema], Schema]

DEPTH = 3
"""Mappings within mappings that are looked into."""
MOST = 3
"""Places a message names; a key of more is no hint."""


def belongs(key: str, scopes: Sequence[tuple[Path, Schema]], resolve: Resolve) -> str | None:
    """`it belongs in readings or before`; None where no mapping around knows `key`.

    `scopes` are the mappings around it and their schemas, the innermost, where it stands, first.
    Looked for is below that one, then in the next and below it, and so on outwards.
    """
    for number, (path, schema) in enumerate(scopes):
        if number and key in schema.get("properties", {}):
            return f"it belongs in {dotted(path)}" if path else "it belongs at the top of the file"
        found = _below(key, schema, path if number else (), resolve)
        if found:
            *some, last = found
            named = f"{', '.join(some)} or {last}" if some else last
            return f"it belongs in {named}" if len(found) <= MOST else None
    return None


def _below(key: str, schema: Schema, path: Path, resolve: Resolve) -> list[str]:
    """The mappings below that know `key`: the nearest, none further down."""
    level = [(path, schema)]
    for _ in range(DEPTH):
        level = [each for place, part in level for each in _parts(place, part, resolve)]
        found = [dotted(place) for place, part in level if key in part.get("properties", {})]
        if found:
            return list(dict.fromkeys(found))
    return []


def _parts(path: Path, schema: Schema, resolve: Resolve) -> Iterator[tuple[Path, Schema]]:
    """The mappings that stand in a mapping: its entries, and those of a list in it."""
    entries = {**schema.get("properties", {})}
    other = schema.get("additionalProperties")
    if isinstance(other, Mapping):
        entries["NAME"] = other
    for name, entry in entries.items():
        for part in _alternatives(entry, resolve):
            if "items" in part:
                yield from (
                    ((*path, name, 0), item) for item in _alternatives(part["items"], resolve)
                )
            else:
                yield (*path, name), part


def _alternatives(schema: Schema, resolve: Resolve) -> Iterator[Schema]:
    found = resolve(schema)
    branches = found.get("oneOf") or found.get("anyOf")
    if not branches:
        yield found
    for branch in branches or ():
        yield from _alternatives(branch, resolve)
