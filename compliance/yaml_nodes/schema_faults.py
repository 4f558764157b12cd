"""Word jsonschema's errors of a document: found, expected, what to do.

The library names the schema's keyword that a value breaks. The message is made from the value's
node and from its part of the schema, whose `title` and `examples` state the expected value.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import islice
from typing import TYPE_CHECKING, Any

from compliance.yaml_nodes.json_schema import Schema
from compliance.yaml_nodes.messages import (
    Path,
    did_you_mean,
    dotted,
    inline_yaml,
    nearest,
    one_of,
    quoted,
)
from compliance.yaml_nodes.nodes import Node, SourceLocations
from compliance.yaml_nodes.schema_reader import (
    KINDS,
    NUMBER,
    Reader,
    types_of,
)

if TYPE_CHECKING:
    from jsonschema import Draft202012Validator, ValidationError

Hint = Callable[[Path], str | None]
"""Returns the expected value at a path, if it depends on more than the schema."""


def note_faults(
    data: Any,
    read: Reader,
    validator: Draft202012Validator,
    places: SourceLocations,
    hint: Hint | None = None,
) -> None:
    """Note the faults of a document: one for each key, in the document's order."""
    wording = _Wording(read, places, hint)
    order = {path: number for number, path in enumerate(read.parts)}
    errors = list(islice(validator.iter_errors(data), MOST_ERRORS))
    for error in sorted(errors, key=lambda error: order[tuple(error.path)]):
        wording.note(error)
    if len(errors) == MOST_ERRORS:
        places.at().problem(f"has {MOST_ERRORS} errors or more; fix these first")


MOST_ERRORS = 500
"""Largest number of errors reported for one document."""
MOST_UNKNOWN = 50
"""Largest number of unknown keys reported for one mapping."""
SURELY = 0.8
"""Likeness above which a key is misspelt rather than misplaced."""
NOUNS = {"mapping": "a mapping", "list": "a list", "scalar": "a single value"}
OUTSIDE = {
    "minimum": "below",
    "maximum": "above",
    "exclusiveMinimum": "not above",
    "exclusiveMaximum": "not below",
}
"""Keywords of bounds, and the position of a number that breaks them."""


class _Wording:
    """Makes messages of the library's errors."""

    def __init__(self, read: Reader, places: SourceLocations, hint: Hint | None) -> None:
        self._read = read
        self._places = places
        self._hint = hint
        self._noted = set(read.unprintable)
        self._meant: dict[Path, set[str | None]] = {}

    def note(self, error: ValidationError) -> None:
        """Note an error, by the keyword that is broken."""
        path = tuple(error.path)
        if "propertyNames" in error.schema_path:
            self._name(error, path)
        elif error.validator == "additionalProperties":
            self._unknown_keys(error, path)
        elif error.validator == "required":
            self._missing(error, path)
        elif error.validator == "anyOf":
            self._needs(error, path)
        elif error.validator == "not":
            self._excluded(error, path)
        else:
            self._fault(path, self._value(error, path))

    def _fault(self, path: Path, message: str) -> None:
        """Note a problem of a key; once, since one value may break several keywords."""
        if path not in self._noted:
            self._noted.add(path)
            self._places.at(*path).problem(message)

    def _expected(self, schema: Schema, path: Path) -> str:
        """`expected cd/m², e.g. max: 110`."""
        hint = self._hint(path) if self._hint else None
        if hint:
            return f"expected {hint}"
        noun = NOUNS[KINDS.get(types_of(schema)[0], "scalar")]
        examples = schema.get("examples", [])
        if len({KINDS.get(kind, "scalar") for kind in types_of(schema)}) == 1:
            examples = examples[:1]  # of a value of several forms there is one each
        key = f"{path[-1]}: " if path and isinstance(path[-1], str) else ""
        shown = " or ".join(f"{key}{inline_yaml(example)}" for example in examples)
        example = f", e.g. {shown}" if shown else ""
        return f"expected {schema.get('title', noun)}{example}"

    def _example(self, key: str, path: Path) -> str:
        """`, e.g. steps: 21`, for a key below a path."""
        part = self._read.resolved(self._read.parts[path][1]["properties"][key])
        _, eg, example = self._expected(part, (*path, key)).partition(", e.g. ")
        return eg + example

    # -- keys

    def _name(self, error: ValidationError, path: Path) -> None:
        names = self._read.parts[path][1]["propertyNames"]
        wanted = self._expected(self._read.resolved(names), ())
        message = f"{quoted(error.instance)} is not a valid name; {wanted}"
        self._fault((*path, error.instance), message)

    def _unknown_keys(self, error: ValidationError, path: Path) -> None:
        node, part = self._read.parts[path]
        known, allowed = part.get("properties", {}), error.schema.get("properties", {})
        unknown = [key for key in node.entries if key not in known]
        for key in unknown[:MOST_UNKNOWN]:
            advice = self._advice(key, node.entries[key], path)
            self._fault((*path, key), f"unknown key {quoted(key)}; {advice}")
        if len(unknown) > MOST_UNKNOWN:
            self._fault(path, f"has {len(unknown)} unknown keys; expected {one_of(known)}")
        for key in known:
            if key not in node.entries or key in allowed:
                continue
            if key in part["dependentSchemas"]:
                self._not_both(_beside(error), (*path, key))
            else:
                message = f"does not go with {_beside(error)}; expected {one_of(allowed)}"
                self._fault((*path, key), message)

    def _advice(self, key: str, entry: Node, path: Path) -> str:
        known = self._read.parts[path][1].get("properties", {})
        if entry.empty and NUMBER.fullmatch(key):
            return "a comma separates entries in brackets: write a decimal point, e.g. 1.5"
        if nearest(key, known, SURELY) is None:
            around = [path[:length] for length in range(len(path), -1, -1)]
            scopes = [(place, self._read.parts[place][1]) for place in around]
            elsewhere = where_key_belongs(key, scopes, self._read.resolved)
            if elsewhere is not None:
                return elsewhere
        return did_you_mean(key, known)

    def _missing(self, error: ValidationError, path: Path) -> None:
        beside, part = _beside(error), self._read.parts[path][1]
        rivals = {*part.get("dependentSchemas", ())} & error.instance.keys() - {beside}
        if beside is not None and rivals:
            return  # first the user must choose one of them
        for key in error.validator_value:
            if key in error.instance or key in self._misspelt(path):
                continue
            below = (*path, key)
            if beside is None:
                wanted = self._expected(self._read.resolved(part["properties"][key]), below)
            else:
                wanted = f"{beside} needs it{self._example(key, path)}"
            self._fault(below, f"missing; {wanted}")

    def _needs(self, error: ValidationError, path: Path) -> None:
        """Note that none of several alternative keys is present."""
        keys = [branch["required"][0] for branch in error.validator_value]
        if self._misspelt(path):
            return
        beside = _beside(error)
        if beside is not None:
            wanted = f"{' or '.join(keys)}{self._example(keys[0], path)}"
            self._fault((*path, beside), f"needs {wanted}")
            return
        _, eg, example = (self._hint(path) or "" if self._hint else "").partition(", e.g. ")
        self._fault(path, f"needs {one_of(keys)}{eg + example or self._example(keys[0], path)}")

    def _excluded(self, error: ValidationError, path: Path) -> None:
        """Note a key that is not allowed: beside another one, or by the schema's title."""
        beside = _beside(error)
        if beside is None:
            self._fault(path, f"is {error.schema['title']}")
        else:
            self._not_both(beside, path)

    def _not_both(self, beside: str | None, path: Path) -> None:
        """Note two keys that exclude one another, at the later one in the schema."""
        *around, key = path
        known = list(self._read.parts[tuple(around)][1]["properties"])
        first, second = sorted((str(beside), str(key)), key=known.index)
        self._fault((*around, second), f"give {first} or {second}, not both")

    def _misspelt(self, path: Path) -> set[str | None]:
        """Known keys that unknown keys of a mapping are likely to mean."""
        if path not in self._meant:
            node, part = self._read.parts[path]
            known = part.get("properties", {})
            unknown = [key for key in node.entries if key not in known] if known else []
            self._meant[path] = {nearest(key, known) for key in unknown[:MOST_UNKNOWN]}
        return self._meant[path]

    # -- values

    def _value(self, error: ValidationError, path: Path) -> str:
        node, part = self._read.parts[path]
        keyword, bound, shown = error.validator, error.validator_value, quoted(node.text)
        wanted = self._expected(part, path)
        kinds = types_of(part)
        if keyword == "type" or node.empty or node.kind not in map(_form, kinds):
            return f"{_mistyped(node, kinds)}; {wanted}"
        if keyword == "enum" and "number" in kinds:
            return f"found {shown}{_how_written(node)}; {wanted}"
        if keyword == "enum":
            noun = part.get("title", "value")
            return f"unknown {noun} {shown}; {did_you_mean(node.text, part['enum'])}"
        if keyword in OUTSIDE:
            return f"{shown} is {OUTSIDE[keyword]} {bound:g}; {wanted}"
        if keyword in ("minItems", "maxItems"):
            count = len(node.items)
            return f"a list with {count or 'no'} {'entry' if count == 1 else 'entries'}; {wanted}"
        if keyword == "uniqueItems":
            return f"{shown} is listed twice"
        if keyword == "minProperties":
            return f"an empty mapping; {wanted}"
        if keyword == "minLength":
            return f"an empty text; {wanted}"
        if keyword == "maxLength":
            return f"a text of {len(error.instance)} characters; expected at most {bound}"
        if keyword == "format":
            noun = "date" if bound == "date" else "time with offset"
            return f"{shown} is not a {noun}; {wanted}"
        return f"{shown} does not fit; {wanted}"


def _beside(error: ValidationError) -> str | None:
    """The key on which the broken part of a schema depends (`dependentSchemas`)."""
    steps = list(error.schema_path)
    if "dependentSchemas" not in steps:
        return None
    return str(steps[len(steps) - steps[::-1].index("dependentSchemas")])


def _form(kind: str) -> str:
    return KINDS.get(kind, "scalar")


def _mistyped(node: Node, kinds: Sequence[str]) -> str:
    """The value found instead of one of these types."""
    shown = quoted(node.text)
    if node.empty:
        return "is empty"
    if node.kind != "scalar":
        return f"found {NOUNS[node.kind]}"
    if "boolean" in kinds:
        return f"{shown} is neither true nor false{_how_written(node)}"
    if "number" not in kinds and "integer" not in kinds:
        return f"found {shown}"
    if node.plain and NUMBER.fullmatch(node.text) and "integer" not in kinds:
        return f"{shown} is too large a number"
    noun = "whole number" if "integer" in kinds else "number"
    return f"{shown} is not a {noun}{_how_written(node)}"


def _how_written(node: Node) -> str:
    """The reason why a scalar is not the number or the word that it looks like."""
    if re.fullmatch(r"[-+]?\d+,\d+", node.text):
        return f" (with a decimal point: {node.text.replace(',', '.')})"
    return "" if node.plain else " (quotes make it a text)"


# ---------------------------------------------------------------- where a key belongs

Resolve = Callable[[Schema], Schema]

DEPTH = 3
"""Levels of nested mappings that are searched."""
MOST = 3
"""Largest number of places in a message; with more, no place is named."""


def where_key_belongs(
    key: str, scopes: Sequence[tuple[Path, Schema]], resolve: Resolve
) -> str | None:
    """`it belongs in readings or before`; None if no mapping around has `key`.

    `scopes` are the mappings around it and their schemas, the innermost, its own, first. The
    search goes below that one, then in the next and below it, and so on outwards.
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
    """The mappings below that have `key`: only those of the nearest level."""
    level = [(path, schema)]
    for _ in range(DEPTH):
        level = [each for place, part in level for each in _parts(place, part, resolve)]
        places = [dotted(place) for place, part in level if key in part.get("properties", {})]
        if places:
            return list(dict.fromkeys(places))
    return []


def _parts(path: Path, schema: Schema, resolve: Resolve) -> Iterator[tuple[Path, Schema]]:
    """Yield the mappings in a mapping: its entries, and those of a list in it."""
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
    branches = [resolved[key] for key in ("then", "else") if key in resolved]
    if not branches:
        yield resolved
    for branch in branches:
        yield from _alternatives(branch, resolve)
