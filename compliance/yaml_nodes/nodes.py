"""YAML as a tree of nodes that know their line; nothing in it is interpreted.

Only the unambiguous part of YAML is accepted: mappings with plain keys, lists, scalars.
Tags, anchors, aliases, merge keys, duplicate keys and a second document are refused; size,
depth and number of nodes are bounded.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import yaml

from compliance.errors import InputError, Problem, RuleError
from compliance.yaml_nodes.messages import Path, dotted

MAX_DEPTH = 16
MAX_NODES = 100_000


@dataclass(frozen=True, slots=True)
class Node:
    """A mapping, a list or a scalar of a document."""

    kind: str
    """`mapping`, `list` or `scalar`."""
    line: int | None = None
    """Counted from 1; None if the document has no lines (JSON)."""
    text: str = ""
    """Of a scalar."""
    plain: bool = True
    """Of a scalar: written without quotes."""
    entries: Mapping[str, Node] = field(default_factory=dict)
    lines: Mapping[str, int] = field(default_factory=dict)
    """Of a mapping: the lines of its keys."""
    items: tuple[Node, ...] = ()

    @property
    def empty(self) -> bool:
        """Whether the value is missing."""
        return self.kind == "scalar" and self.plain and self.text in ("", "~", "null")


class _Fault(Exception):
    def __init__(self, line: int | None, message: str) -> None:
        super().__init__(message)
        self.line = line
        self.message = message


def parse(data: bytes, file: str) -> Node | Problem:
    """The document in `data` as nodes, or the first problem that makes it unreadable."""
    try:
        return _Composer(_decoded(data)).document()
    except _Fault as fault:
        return Problem(file, fault.message, fault.line)


def _decoded(data: bytes) -> str:
    if not data.strip():
        raise _Fault(None, "is empty")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = data.count(b"\n", 0, fault.start) + 1
        raise _Fault(line, "is not UTF-8 text; save the file as UTF-8") from None
    odd = yaml.reader.Reader.NON_PRINTABLE.search(text)
    if odd:
        line = text.count("\n", 0, odd.start()) + 1
        code = f"U+{ord(odd.group()):04X}"
        raise _Fault(line, f"has a control character, {code}; this is not a text file")
    return text


class _Composer:
    """Turns the parser's events into nodes, depth first, within bounds."""

    def __init__(self, text: str) -> None:
        self._events = self._safely(text)
        self._left = MAX_NODES

    def document(self) -> Node:
        opening = next(self._events)
        while isinstance(opening, yaml.StreamStartEvent):
            opening = next(self._events)
        if isinstance(opening, yaml.StreamEndEvent):
            raise _Fault(None, "contains only comments")
        node = self._node(next(self._events), 1)
        next(self._events)
        extra = next(self._events)
        if not isinstance(extra, yaml.StreamEndEvent):
            raise _Fault(_line(extra), "a second document begins here; expected one per file")
        return node

    def _node(self, event: yaml.Event, depth: int) -> Node:
        line = _line(event)
        self._left -= 1
        if self._left < 0:
            raise _Fault(line, f"has more than {MAX_NODES:,} values, the most a file may have")
        if depth > MAX_DEPTH:
            raise _Fault(line, f"is nested deeper than {MAX_DEPTH} levels")
        if isinstance(event, yaml.AliasEvent):
            raise _Fault(line, f"'{_shown(f'*{event.anchor}')}' is an alias; write the value out")
        assert isinstance(event, yaml.ScalarEvent | yaml.CollectionStartEvent)
        if event.anchor is not None:
            raise _Fault(
                line, f"'{_shown(f'&{event.anchor}')}' is an anchor; write the value out each time"
            )
        if event.tag is not None:
            tag = event.tag.replace("tag:yaml.org,2002:", "!!")
            raise _Fault(line, f"'{_shown(tag)}' is a tag; leave it out")
        if isinstance(event, yaml.MappingStartEvent):
            return self._mapping(line, depth)
        if isinstance(event, yaml.SequenceStartEvent):
            items: list[Node] = []
            while not isinstance(item := next(self._events), yaml.SequenceEndEvent):
                items.append(self._node(item, depth + 1))
            return Node("list", line, items=tuple(items))
        assert isinstance(event, yaml.ScalarEvent)
        return Node("scalar", line, event.value, event.style is None)

    def _mapping(self, line: int, depth: int) -> Node:
        entries: dict[str, Node] = {}
        lines: dict[str, int] = {}
        while not isinstance(event := next(self._events), yaml.MappingEndEvent):
            key = self._node(event, depth + 1)
            here = _line(event)
            if key.kind != "scalar":
                raise _Fault(here, f"found a {key.kind} in place of a key")
            if key.plain and key.text == "<<":
                raise _Fault(here, "'<<' is a merge key; write the values out")
            if key.text in entries:
                first = lines[key.text]
                raise _Fault(here, f"duplicate key '{_shown(key.text)}' (first in line {first})")
            lines[key.text] = here
            entries[key.text] = self._node(next(self._events), depth + 1)
        return Node("mapping", line, entries=entries, lines=lines)

    @staticmethod
    def _safely(text: str) -> Iterator[yaml.Event]:
        """Yield the parser's events; each of its errors becomes a fault."""
        try:
            yield from yaml.parse(text, Loader=yaml.SafeLoader)
        except yaml.MarkedYAMLError as fault:
            mark = fault.problem_mark or fault.context_mark
            line = mark.line + 1 if mark else None
            raise _Fault(line, f"invalid YAML: {_reworded(fault.problem or '')}") from None
        except (yaml.YAMLError, ValueError, OverflowError, IndexError):
            message = "invalid YAML: an unknown directive, or an unknown escape in a quoted text"
            raise _Fault(None, message) from None


_WORDS = {
    "mapping values are not allowed": "an extra colon, or a wrong indentation; "
    "put a text that contains ': ' in quotes",
    "found character '\\t'": "tab character; indent with spaces",
    "could not find expected ':'": "a key without a colon",
    "found unexpected end of stream": "a quote that is never closed",
    "expected ',' or '}'": "a comma or a closing brace } is missing",
    "expected ',' or ']'": "a comma or a closing bracket ] is missing",
    "found incompatible YAML document": "a directive for another version of YAML; leave it out",
    "expected <block end>": "a wrong indentation, or a text that needs quotes",
}


def _reworded(problem: str) -> str:
    """The parser's complaint in the words of the file's author, if we have them."""
    return next((words for start, words in _WORDS.items() if problem.startswith(start)), "") or (
        _shown(problem)
    )


def _line(event: yaml.Event) -> int:
    return int(event.start_mark.line) + 1 if event.start_mark else 1


def _shown(text: str) -> str:
    flat = " ".join(text.split())
    return flat if len(flat) <= 60 else flat[:57] + "…"


def node_from_data(data: Any, depth: int = 1) -> Node:
    """Plain data (as from JSON) as nodes without lines, so that one check serves both.

    Raises ValueError if it is nested too deeply or has a key that is not a text.
    """
    if depth > MAX_DEPTH:
        raise ValueError(f"is nested deeper than {MAX_DEPTH} levels")
    if isinstance(data, Mapping):
        if not all(isinstance(key, str) for key in data):
            raise ValueError("has a key that is not a text")
        return Node("mapping", entries={k: node_from_data(v, depth + 1) for k, v in data.items()})
    if isinstance(data, list | tuple):
        return Node("list", items=tuple(node_from_data(item, depth + 1) for item in data))
    if isinstance(data, str):
        return Node("scalar", text=data, plain=False)
    if data is None:
        return Node("scalar")
    return Node("scalar", text=str(data).lower() if isinstance(data, bool) else repr(data))


def locate(node: Node, path: Path) -> tuple[int | None, int]:
    """The line of the deepest part of `path` that `node` contains, and the number of parts."""
    line = node.line
    for depth, part in enumerate(path):
        if isinstance(part, int):
            if part >= len(node.items):
                return line, depth
            node = node.items[part]
            line = node.line
        else:
            if part not in node.entries:
                return line, depth
            line = node.lines.get(part)
            node = node.entries[part]
    return line, len(path)


class SourceLocations:
    """The files that a document was made of, the nearest first, and their problems."""

    def __init__(
        self, files: Sequence[tuple[str, Node]], error: type[InputError] = RuleError
    ) -> None:
        self.files = tuple(files)
        self.error = error
        self.problems: list[Problem] = []

    def at(self, *keys: str | int) -> Location:
        """The key at the end of a path from the top."""
        return Location(self, keys)

    def find(self, path: Path) -> tuple[str, int | None]:
        """File and line of a key: in the file with most of the path, the nearest of those."""
        best: tuple[int, str, int | None] | None = None
        for file, node in self.files:
            line, depth = locate(node, path)
            if best is None or depth > best[0]:
                best = (depth, file, line)
        if best is None:
            return "rule", None
        return best[1], best[2]

    def raise_if_any(self) -> None:
        """Raise all problems as one error, in the order of the lines."""
        if self.problems:
            order = {file: number for number, (file, _) in enumerate(self.files)}
            self.problems.sort(key=lambda p: (order.get(p.file, len(order)), p.line or 0))
            raise self.error(self.problems)


@dataclass(frozen=True, slots=True)
class Location:
    """A key of a document, to note its problems."""

    sources: SourceLocations
    path: Path

    def at(self, *keys: str | int) -> Location:
        """A key below this one."""
        return Location(self.sources, (*self.path, *keys))

    def problem(self, message: str) -> None:
        """Note a problem, in the file with most of the path."""
        self.sources.problems.append(self._fault(message))

    def error(self, message: str) -> InputError:
        """Return an error to raise, for a problem after which nothing can be read."""
        return self.sources.error(self._fault(message))

    def _fault(self, message: str) -> Problem:
        file, line = self.sources.find(self.path)
        return Problem(file, message, line, dotted(self.path) or None)

    @property
    def problem_count(self) -> int:
        """Number of problems noted so far, here and elsewhere."""
        return len(self.sources.problems)


MARKS = {
    "rule": ("rule",),
    "job": ("job", "slots"),
    "meter": ("kind",),  # a job has the key meter, too
    "repository": ("specs",),
}
"""Keys that only one kind of document has, by the name of its schema."""


def kind_of(node: Node) -> str | None:
    """The kind of the document at `node`, named as its schema; None if it is not one of ours."""
    return next((kind for kind, marks in MARKS.items() if _marked(node, marks)), None)


def other_kind(node: Node, schema: str) -> str | None:
    """The kind of a document that is clearly not of the kind `schema`; None if unclear."""
    return None if _marked(node, MARKS.get(schema, ())) else kind_of(node)


def _marked(node: Node, marks: tuple[str, ...]) -> bool:
    return any(mark in node.entries for mark in marks)


WIDTH = 100


class _Dumper(yaml.SafeDumper):
    """Block style, short lists on one line, no anchors."""

    def ignore_aliases(self, data: Any) -> bool:
        return True


def _sequence(dumper: _Dumper, data: list[Any]) -> yaml.Node:
    flat = all(not isinstance(entry, dict | list | tuple) for entry in data)
    return dumper.represent_sequence("tag:yaml.org,2002:seq", data, flow_style=flat)


def _mapping(dumper: _Dumper, data: dict[str, Any]) -> yaml.Node:
    flat = all(not isinstance(entry, dict | list | tuple) for entry in data.values())
    short = flat and sum(len(f"{key}{value}") for key, value in data.items()) < WIDTH // 2
    return dumper.represent_mapping("tag:yaml.org,2002:map", data.items(), flow_style=short)


_Dumper.add_representer(list, _sequence)
_Dumper.add_representer(dict, _mapping)


def write_yaml(data: dict[str, Any]) -> str:
    """The mapping as a YAML document, its keys in their order, UTF-8 as it is."""
    return yaml.dump(data, Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=WIDTH)
