"""Nodes against a JSON Schema: plain data out, every fault found on the way.

The schema says which type a scalar has, so `on`, `1:30` or `0412` stay what was written.
Only what our schemas use is understood. Alternatives are told apart by the node's kind
first; conditions between keys are left to the code that reads the data.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from compliance.errors import Problem
from compliance.yaml_nodes.messages import Path, did_you_mean, dotted, inline_yaml, nearest, quoted
from compliance.yaml_nodes.nodes import Node, locate

Schema = Mapping[str, Any]
Resolve = Callable[[Schema], Schema]

DEPTH = 3
"""Mappings within mappings that are looked into."""
MOST = 3
"""Places a message names; a key of more is no hint."""


def where_key_belongs(
    key: str, scopes: Sequence[tuple[Path, Schema]], resolve: Resolve
) -> str | None:
    """`it belongs in readings or before`; None where no mapping around knows `key`.

    `scopes` are the mappings around it and their schemas, the innermost, where it stands, first.
    Looked for is below that one, then in the next and below it, and so on outwards.
    """
    for number, (path, schema) in enumerate(scopes):
        if number and key in schema.get("properties", {}):
            return f"it belongs in {dotted(path)}" if path else "it belongs at the top of the file"
        places = _below(key, schema, path if number else (), resolve)
        if places:
            *some, last = places
            named = f"{', '.join(some)} or {last}" if some else last
            return f"it belongs in {named}" if len(places) <= MOST else None
    return None


def _below(key: str, schema: Schema, path: Path, resolve: Resolve) -> list[str]:
    """The mappings below that know `key`: the nearest, none further down."""
    level = [(path, schema)]
    for _ in range(DEPTH):
        level = [each for place, part in level for each in _parts(place, part, resolve)]
        places = [dotted(place) for place, part in level if key in part.get("properties", {})]
        if places:
            return list(dict.fromkeys(places))
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
    resolved = resolve(schema)
    branches = resolved.get("oneOf") or resolved.get("anyOf")
    if not branches:
        yield resolved
    for branch in branches or ():
        yield from _alternatives(branch, resolve)


Hint = Callable[[Path], str | None]
"""What is expected at a path, where that depends on more than the schema."""

BAD: Any = object()
"""Stands for a value that had a fault."""

MAX_TEXT = 2000
MAX_DIGITS = 30
LARGEST = 1e15
"""Whole numbers up to here are exact in JSON."""
SURELY = 0.8
"""Likeness from which a key is misspelt rather than misplaced."""
NUMBER = re.compile(r"[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?", re.ASCII)
DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
TIME = re.compile(
    r"\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}:\d{2}(\.\d{1,6})?([Zz]|[+-]\d{2}:\d{2})", re.ASCII
)
YEARS = range(1970, 2200)
UNPRINTABLE = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]"
)
"""Control characters, and those that turn the direction of what follows."""

KINDS = {"object": "mapping", "array": "list"}
NOUNS = {"mapping": "a mapping", "list": "a list", "scalar": "a single value"}


def as_float(value: float | None) -> float | None:
    """A number of the data, which may be whole, as a float; None stays None."""
    return None if value is None else float(value)


def as_date(text: str) -> date | None:
    """A date `YYYY-MM-DD`, or None."""
    try:
        day = date.fromisoformat(text) if DATE.fullmatch(text) else None
    except ValueError:
        return None
    return day if day and day.year in YEARS else None


def as_time(text: str) -> datetime | None:
    """An RFC 3339 time with its offset, or None."""
    if not TIME.fullmatch(text):
        return None
    try:
        time = datetime.fromisoformat(text.upper().replace("Z", "+00:00"))
    except ValueError:
        return None
    return time if time.year in YEARS else None


class Reader:
    """Reads one document's nodes by one schema and collects the problems."""

    def __init__(self, schema: Schema, file: str, hint: Hint | None = None) -> None:
        self._schema = schema
        self._file = file
        self._hint = hint
        self._around: list[tuple[Path, Schema]] = []
        self.problems: list[Problem] = []

    def read(self, node: Node, start: str | None = None) -> Any:
        """The document as plain data; look at `problems` before using it."""
        self._root = node
        data = self._read(node, {"$ref": start} if start else self._schema, ())
        self.problems.sort(key=lambda problem: problem.line or 0)
        return data

    # -- what every node goes through

    def _read(self, node: Node, schema: Schema, path: Path) -> Any:
        schema = self._resolved(schema)
        if "type" not in schema and "enum" not in schema:
            return self._alternative(node, schema, path)
        kind = KINDS.get(_first(schema.get("type", "string")), "scalar")
        if node.kind != kind or node.empty:
            return self._fault(path, f"{_found(node)}; {self._expected(schema, path)}")
        if kind == "mapping":
            self._around.insert(0, (path, schema))
            data = self._mapping(node, schema, path)
            del self._around[0]
            return data
        if kind == "list":
            return self._list(node, schema, path)
        return self._scalar(node, schema, path)

    def _resolved(self, schema: Schema) -> Schema:
        """The schema with its reference followed; what stands beside it goes before."""
        if "$ref" not in schema:
            return schema
        target: Any = self._schema
        for part in schema["$ref"].removeprefix("#/").split("/"):
            target = target[int(part) if isinstance(target, list) else part]
        beside = {key: value for key, value in schema.items() if key != "$ref"}
        return self._resolved({**target, **beside})

    def _alternative(self, node: Node, schema: Schema, path: Path) -> Any:
        fitting = []
        for branch in map(self._resolved, schema.get("oneOf") or schema["anyOf"]):
            kind = KINDS.get(_first(branch.get("type", "string")), "scalar")
            if kind == node.kind:
                fitting.append(branch)
        if not fitting or node.empty:
            return self._fault(path, f"{_found(node)}; {self._expected(schema, path)}")
        named = [branch for branch in fitting if node.text in branch.get("enum", ())]
        chosen = (named or [fitting[-1]])[0]
        return self._read(node, {**_said(schema), **chosen}, path)

    def _fault(self, path: Path, message: str) -> Any:
        line, _ = locate(self._root, path)
        self.problems.append(Problem(self._file, message, line, dotted(path) or None))
        return BAD

    def _expected(self, schema: Schema, path: Path) -> str:
        """`expected cd/m², e.g. max: 110`."""
        hint = self._hint(path) if self._hint else None
        if hint:
            return f"expected {hint}"
        title = schema.get("title") or NOUNS[KINDS.get(_first(schema.get("type", "")), "scalar")]
        examples = schema.get("examples")
        return f"expected {title}{_example(path, examples[0]) if examples else ''}"

    # -- mappings and lists

    def _mapping(self, node: Node, schema: Schema, path: Path) -> Any:
        known: Mapping[str, Schema] = schema.get("properties", {})
        other = schema.get("additionalProperties", False)
        data = {}
        missing = set(schema.get("required", ()))
        for key, entry in node.entries.items():
            below = (*path, key)
            if key in known:
                data[key] = self._read(entry, known[key], below)
            elif isinstance(other, Mapping):
                if self._named(key, schema.get("propertyNames", {}), below):
                    data[key] = self._read(entry, other, below)
            else:
                advice = self._advice(key, entry, known)
                self._fault(below, f"{quoted(key)} is no key here; {advice}")
                missing -= {nearest(key, known)}
        for key in sorted(missing, key=list(known).index):
            if key not in node.entries:
                wanted = self._expected(self._resolved(known[key]), (*path, key))
                self._fault((*path, key), f"missing; {wanted}")
        if len(node.entries) < schema.get("minProperties", 0):
            self._fault(path, f"an empty mapping; {self._expected(schema, path)}")
        return {key: value for key, value in data.items() if value is not BAD}

    def _advice(self, key: str, entry: Node, known: Mapping[str, Schema]) -> str:
        if entry.empty and NUMBER.fullmatch(key):
            return "a comma parts entries in brackets: write a decimal point, e.g. 1.5"
        misspelt = nearest(key, known, SURELY) is not None
        elsewhere = None if misspelt else where_key_belongs(key, self._around, self._resolved)
        return elsewhere or did_you_mean(key, known)

    def _named(self, key: str, schema: Schema, path: Path) -> bool:
        names = self._resolved(schema)
        if re.fullmatch(names.get("pattern", ".*"), key) and len(key) <= names.get("maxLength", 80):
            return True
        self._fault(path, f"{quoted(key)} is no fitting name; {self._expected(names, ())}")
        return False

    def _list(self, node: Node, schema: Schema, path: Path) -> Any:
        count = len(node.items)
        if not schema.get("minItems", 0) <= count <= schema.get("maxItems", math.inf):
            entries = "1 entry" if count == 1 else f"{count or 'no'} entries"
            return self._fault(path, f"a list with {entries}; {self._expected(schema, path)}")
        data = [
            self._read(item, schema["items"], (*path, number))
            for number, item in enumerate(node.items)
        ]
        if schema.get("uniqueItems"):
            for number, value in enumerate(data):
                if value is not BAD and value in data[:number]:
                    self._fault((*path, number), f"{quoted(inline_yaml(value))} stands here twice")
        return [value for value in data if value is not BAD]

    # -- scalars

    def _scalar(self, node: Node, schema: Schema, path: Path) -> Any:
        kinds = schema.get("type", "string")
        if "enum" in schema:
            return self._name(node, schema, path)
        if kinds in ("number", "integer"):
            return self._number(node, schema, path, whole=kinds == "integer")
        if kinds == "boolean":
            if node.plain and node.text in ("true", "false"):
                return node.text == "true"
            message = f"{quoted(node.text)} is neither true nor false{_in_quotes(node)}"
            return self._fault(path, f"{message}; {self._expected(schema, path)}")
        return self._text(node, schema, path)

    def _name(self, node: Node, schema: Schema, path: Path) -> Any:
        if node.text in schema["enum"]:
            return node.text
        noun, known = schema.get("title", "value that is known here"), schema["enum"]
        return self._fault(
            path, f"{quoted(node.text)} is no {noun}; {did_you_mean(node.text, known)}"
        )

    def _number(self, node: Node, schema: Schema, path: Path, *, whole: bool) -> Any:
        shown, expected = quoted(node.text), self._expected(schema, path)
        fits = NUMBER.fullmatch(node.text) and len(node.text) <= MAX_DIGITS
        if not fits or not node.plain:
            comma = re.fullmatch(r"[-+]?\d+,\d+", node.text)
            advice = " (write a decimal point, no comma)" if comma else _in_quotes(node)
            noun = "whole number" if whole else "number"
            return self._fault(path, f"{shown} is no {noun}{advice}; {expected}")
        value = float(node.text)
        if abs(value) > LARGEST:
            return self._fault(path, f"{shown} is too large a number; {expected}")
        if whole and value != math.floor(value):
            return self._fault(path, f"{shown} is no whole number; {expected}")
        limit = _outside(value, schema)
        if limit:
            return self._fault(path, f"{shown} is {limit}; {expected}")
        return int(value) if value == math.floor(value) else value

    def _text(self, node: Node, schema: Schema, path: Path) -> Any:
        text = re.sub(r"\s*\n\s*", " ", node.text.strip())
        expected = self._expected(schema, path)
        odd = UNPRINTABLE.search(text)
        if odd:
            code = f"U+{ord(odd.group()):04X}"
            return self._fault(path, f"has the character {code}, which cannot be printed")
        if not text:
            return self._fault(path, f"an empty text; {expected}")
        most = schema.get("maxLength", MAX_TEXT)
        if len(text) > most:
            return self._fault(path, f"a text of {len(text)} characters; at most {most} fit here")
        if not re.fullmatch(schema.get("pattern", ".*"), text):
            return self._fault(path, f"{quoted(text)} does not fit; {expected}")
        check = {"date": as_date, "date-time": as_time}.get(schema.get("format", ""))
        if check and check(text) is None:
            noun = "date" if check is as_date else "time with offset"
            return self._fault(path, f"{quoted(text)} is no {noun}; {expected}")
        return text


def _first(kinds: str | list[str]) -> str:
    return kinds if isinstance(kinds, str) else kinds[0]


def _said(schema: Schema) -> Schema:
    """What a schema with alternatives says about the value as a whole."""
    return {key: schema[key] for key in ("title", "examples") if key in schema}


def _found(node: Node) -> str:
    if node.empty:
        return "nothing stands here"
    if node.kind == "scalar":
        return f"{quoted(node.text)} stands here"
    return f"{NOUNS[node.kind]} stands here"


def _example(path: Path, example: Any) -> str:
    key = path[-1] if path and isinstance(path[-1], str) else None
    return f", e.g. {key}: {inline_yaml(example)}" if key else f", e.g. {inline_yaml(example)}"


def _in_quotes(node: Node) -> str:
    return "" if node.plain else " (it stands in quotes, which makes it a text)"


def _outside(value: float, schema: Schema) -> str | None:
    if value < schema.get("minimum", -math.inf):
        return f"below {schema['minimum']:g}"
    if value > schema.get("maximum", math.inf):
        return f"above {schema['maximum']:g}"
    if value <= schema.get("exclusiveMinimum", -math.inf):
        return f"not above {schema['exclusiveMinimum']:g}"
    if value >= schema.get("exclusiveMaximum", math.inf):
        return f"not below {schema['exclusiveMaximum']:g}"
    return None
