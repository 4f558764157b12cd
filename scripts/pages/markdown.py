"""Tables in Markdown, among them those of a JSON Schema's fields."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent.parent
Schema = Mapping[str, Any]
TYPES = {"string": "text", "integer": "whole number"}
"""Plain words for JSON types."""


def plain(text: str) -> str:
    """Text with Markdown's characters escaped."""
    for sign in ("\\", "*", "_", "|", "<"):
        text = text.replace(sign, f"\\{sign}")
    return text.replace("\u00a0", " ")


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """Lines of a table."""
    yield f"| {' | '.join(head)} |"
    yield f"|{'---|' * len(head)}"
    for row in rows:
        yield f"| {' | '.join(row)} |"
    yield ""


def schema(name: str) -> Schema:
    """A schema of the package."""
    file = ROOT / "compliance" / "schemas" / f"{name}.json"
    data: Schema = json.loads(file.read_text(encoding="utf-8"))
    return data


def anchor(name: str) -> str:
    """The heading of a definition, and its anchor on the page."""
    return name.replace("_", "-")


class Fields:
    """The fields of a schema's objects as tables; definitions of objects are sections."""

    def __init__(self, whole: Schema, examples: bool = True) -> None:
        self._whole = whole
        self._examples = examples

    def top(self) -> Iterator[str]:
        """The table of the document itself."""
        yield from self._table(self._whole)

    def sections(self, leave_out: Sequence[str] = (), level: str = "##") -> Iterator[str]:
        """A section for each linked definition."""
        for name, part in self._whole.get("$defs", {}).items():
            if not self._is_section(part) or name in leave_out:
                continue
            yield from (f"{level} {anchor(name)}", "")
            if text := self._meaning(part):
                yield from (text, "")
            if "properties" in part:
                yield from self._table(part)

    def _is_section(self, part: Schema) -> bool:
        if "type" not in part and {"required", "dependentSchemas"} & set(part):
            return False  # conditions between keys
        return "properties" in part or not {"title", "$ref"} & set(part)

    def _table(self, part: Schema) -> Iterator[str]:
        head = ("key", "value", "meaning")
        yield from table((*head, "example") if self._examples else head, self._rows(part))

    def _rows(self, part: Schema, path: str = "") -> Iterator[tuple[str, ...]]:
        """Every key below an object, by its path, in the order of the schema."""
        required = part.get("required", ()) if self._examples else ()
        for key, entry in part.get("properties", {}).items():
            place = f"{path}{key}"
            meaning = self._meaning(entry)
            if key in required:
                meaning = f"**Required.** {meaning}".strip()
            row = (f"`{place}`", self._value(entry), meaning)
            yield (*row, self._example(entry)) if self._examples else row
            for inner, step in self._inside(entry):
                yield from self._rows(inner, f"{place}{step}.")

    def _inside(self, part: Schema) -> Iterator[tuple[Schema, str]]:
        """Objects in a value that have no section of their own, each with its path."""
        if "$ref" in part:
            if self._section_of(part):
                return
            part = self._resolved(part)
        if "properties" in part:
            yield part, ""
        for way in _ways(part):
            yield from self._inside(way)
        for key, step in (("items", "[]"), ("additionalProperties", ".NAME")):
            inner = part.get(key)
            if isinstance(inner, Mapping) and not self._section_of(inner):
                yield from ((each, f"{step}{more}") for each, more in self._inside(inner))

    def _section_of(self, part: Schema) -> str | None:
        """The definition that a value refers to, if it has a section."""
        name: str = part.get("$ref", "").removeprefix("#/$defs/")
        target = self._whole.get("$defs", {}).get(name)
        return name if target is not None and self._is_section(target) else None

    def _resolved(self, part: Schema) -> Schema:
        while "$ref" in part:
            found: Any = self._whole
            for step in part["$ref"].removeprefix("#/").split("/"):
                found = found[int(step)] if isinstance(found, list) else found[step]
            part = {**found, **{key: value for key, value in part.items() if key != "$ref"}}
        return part

    def _value(self, part: Schema) -> str:
        """The possible values of a key, in a few words."""
        if name := self._section_of(part):
            return f"[{anchor(name)}](#{anchor(name)})"
        part = self._resolved(part)
        if "const" in part:
            return "text"
        if "enum" in part:
            return ", ".join("null" if each is None else f"`{each}`" for each in part["enum"])
        if "anyOf" in part:
            return " or ".join(self._value(each) for each in part["anyOf"])
        if "title" in part:
            inner = self._enumerated(part)
            link = self._linked(part)
            return plain(part["title"]) + (f" ({inner})" if inner else "") + link
        types = part.get("type", "anything")
        types = [types] if isinstance(types, str) else types
        words = [self._word(each, part) for each in types if each != "null"]
        return " or ".join([*words, *(["null"] if "null" in types else [])])

    def _linked(self, part: Schema) -> str:
        """The section of the entries of a list or a mapping, or of another form of a value."""
        for inner in (part.get("items"), part.get("additionalProperties"), *_ways(part)):
            if isinstance(inner, Mapping) and (name := self._section_of(inner)):
                return f": [{anchor(name)}](#{anchor(name)})"
        return ""

    def _enumerated(self, part: Schema) -> str:
        """The possible names of a value, or of a value in a list."""
        ways = [part.get("items", {}), *_ways(part)]
        for way in map(self._resolved, ways):
            if "enum" in way:
                return ", ".join(f"`{each}`" for each in way["enum"])
        return ""

    def _word(self, name: str, part: Schema) -> str:
        if name == "array":
            items = part.get("items", {})
            return f"list of {'object' if 'properties' in items else self._value(items)}"
        return TYPES.get(name, name)

    def _meaning(self, part: Schema) -> str:
        return str(self._resolved(part).get("description", "")).replace("|", "\\|").strip()

    def _example(self, part: Schema) -> str:
        examples = self._resolved(part).get("examples", ())
        if not examples or isinstance(examples[0], Mapping):
            return ""
        text = json.dumps(examples[0], ensure_ascii=False)
        if len(text) > 40:
            return ""
        return f"`{text.strip(chr(34))}`" if text not in ('"…"', "…") else ""


def _ways(part: Schema) -> list[Schema]:
    """The alternatives of a value that a schema tells apart by its type."""
    return [part[key] for key in ("then", "else") if "type" in part and key in part]
