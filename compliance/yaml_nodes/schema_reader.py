"""Type nodes by a JSON Schema.

The schema determines the type of a scalar, so `on`, `1:30` or `0412` stay as written. Nodes are
walked together with the schema; alternatives (`if`, `then`, `else`) are chosen by the kind of
node. The result is plain data, which jsonschema validates: `schema_faults` words its errors. A
scalar that does not have the form of its type stays a text, which the validator reports.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from typing import Any

from compliance.yaml_nodes.json_schema import Schema
from compliance.yaml_nodes.messages import Path
from compliance.yaml_nodes.nodes import Node, SourceLocations

MAX_DIGITS = 30
LARGEST = 1e15
"""Whole numbers up to here are exact in JSON."""
NUMBER = re.compile(r"[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?", re.ASCII)
UNPRINTABLE = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069"
    "\ud800-\udfff\ufffe\uffff]"
)
"""Control characters, and those that change the direction of the following text."""

KINDS = {"object": "mapping", "array": "list"}
"""Kinds of nodes by the types of JSON; all others are scalars."""


def as_float(value: float | None) -> float | None:
    """A number of the data, which may be whole, as a float; None stays None."""
    return None if value is None else float(value)


class Reader:
    """Reads one document's nodes by one schema, and keeps the part of it used for each."""

    def __init__(self, schema: Schema, places: SourceLocations) -> None:
        self._schema = schema
        self._places = places
        self.parts: dict[Path, tuple[Node, Schema]] = {}
        """Of each value read: its node, and the schema with its alternatives chosen."""
        self.unprintable: set[Path] = set()

    def read(self, node: Node, schema: Schema, path: Path = ()) -> Any:
        """A value as plain data, in the types of the schema if the node has their form."""
        part = self._chosen(node, self.resolved(schema))
        self.parts[path] = node, part
        if node.kind == "mapping":
            return self._mapping(node, part, path)
        if node.kind == "list":
            return [
                self.read(item, part.get("items", {}), (*path, number))
                for number, item in enumerate(node.items)
            ]
        self._printable(node.text, path)
        return None if node.empty else _scalar(node, part)

    def resolved(self, schema: Schema) -> Schema:
        """The schema with its reference followed; keys beside the reference take precedence."""
        if "$ref" not in schema:
            return schema
        target: Any = self._schema
        for part in schema["$ref"].removeprefix("#/").split("/"):
            target = target[part]
        beside = {key: value for key, value in schema.items() if key != "$ref"}
        return self.resolved({**target, **beside})

    def _chosen(self, node: Node, schema: Schema) -> Schema:
        """The schema with the alternative for this kind of node, whose keys take precedence."""
        wanted = schema.get("if", {}).get("type")
        kind = None if wanted is None or node.empty else type_of(node, schema)
        if kind is None:
            return schema
        own = {key: schema[key] for key in schema.keys() - {"if", "then", "else"}}
        branch = schema.get("then" if kind == wanted else "else", {})
        return self._chosen(node, {**own, **self.resolved(branch)})

    def _mapping(self, node: Node, schema: Schema, path: Path) -> dict[str, Any]:
        known, other = schema.get("properties", {}), schema.get("additionalProperties")
        data = {}
        for key, entry in node.entries.items():
            part, below = known.get(key, other), (*path, key)
            self._printable(key, below)
            data[key] = self.read(entry, part, below) if isinstance(part, Mapping) else None
        return data

    def _printable(self, text: str, path: Path) -> None:
        odd = UNPRINTABLE.search(text)
        if odd:
            code = f"U+{ord(odd.group()):04X}"
            self._places.at(*path).problem(f"has the character {code}, which cannot be printed")
            self.unprintable.add(path)


def types_of(schema: Schema) -> list[str]:
    """The types that a value may have, in the order in which they are tried."""
    kinds = schema.get("type", "string")
    return [kinds] if isinstance(kinds, str) else kinds


def type_of(node: Node, schema: Schema) -> str | None:
    """The first type of a schema whose form a node has."""
    for kind in types_of(schema):
        form = KINDS.get(kind, "scalar")
        if form == node.kind and (form != "scalar" or SCALARS[kind](node) is not None):
            return kind
    return None


def _scalar(node: Node, schema: Schema) -> Any:
    """The scalar in the first type whose form it has, else as text."""
    return SCALARS[type_of(node, schema) or "string"](node)


def _text(node: Node) -> str:
    """The text in one line; a regular expression would take quadratic time over blanks."""
    return " ".join(filter(None, map(str.strip, node.text.strip().split("\n"))))


def _number(node: Node) -> float | None:
    if not node.plain or len(node.text) > MAX_DIGITS or not NUMBER.fullmatch(node.text):
        return None
    value = float(node.text)
    if abs(value) > LARGEST:
        return None
    return int(value) if value == math.floor(value) else value


def _truth(node: Node) -> bool | None:
    return {"true": True, "false": False}.get(node.text) if node.plain else None


SCALARS: Mapping[str, Callable[[Node], Any]] = {
    "string": _text,
    "number": _number,
    "integer": _number,
    "boolean": _truth,
}
"""Readers of a scalar by type; None if it does not have the type's form."""
