"""One rule file: its bytes, its nodes, its data with patch lists inlined."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from compliance.documents import (
    Hint,
    Node,
    inside,
    quoted,
    read_bytes,
    read_nodes,
    read_yaml,
    sha256,
    walk,
)
from compliance.errors import RuleError
from compliance.model import RuleFile
from compliance.quantities.table import QUANTITIES
from compliance.rules.limits import KEYS, LIMIT_KEYS, example_of, unit_phrase
from compliance.rules.places import Places
from compliance.rules.provenance import provenance
from compliance.rules.sets import check_list

__all__ = ["PIN", "RuleSource", "RuleText", "pinned", "read_list", "read_nodes_of", "read_rule"]


PIN = re.compile(r"([a-z0-9]+(?:-[a-z0-9]+)*)@([1-9][0-9]{0,8})")
"""Id and revision of a parent."""


@dataclass(frozen=True, slots=True)
class RuleText:
    """A rule file as it stands, before its parent and its defaults enter."""

    file: str
    """As named in messages."""
    node: Node
    data: Mapping[str, Any]
    """By the schema, patch lists inlined."""
    files: tuple[RuleFile, ...]
    """The rule file itself, then its patch lists."""


@dataclass(frozen=True, slots=True)
class RuleSource:
    """Where a rule file is, how messages name it, how the evidence names it."""

    path: Path
    shown: str
    recorded: str
    shipped: bool = False

    def beside(self, named: str) -> RuleSource:
        """A file named from this one's folder."""
        return RuleSource(
            self.path.parent / named,
            str(Path(self.shown).parent / named),
            (Path(self.recorded).parent / named).as_posix(),
            self.shipped,
        )


def read_nodes_of(source: RuleSource) -> tuple[bytes, Node]:
    """A rule file's bytes and nodes. Raises RuleError."""
    data = read_bytes(source.path, RuleError, "rule")
    return data, read_yaml(data, source.shown, RuleError)


def pinned(node: Node) -> tuple[str, int] | None:
    """Id and revision in `extends`, where they stand in their form."""
    entry = node.entries.get("extends")
    found = PIN.fullmatch(entry.text) if entry is not None else None
    return (found[1], int(found[2])) if found else None


def read_rule(
    source: RuleSource, data: bytes, node: Node, parent: Mapping[str, Any] | None
) -> RuleText:
    """A rule file by its schema, with its lists. Raises RuleError with every problem.

    `parent` is the parent's resolved data; it only lends its quantities to the messages.
    """
    typed = read_nodes(node, source.shown, "rule", RuleError, hint=_hint(node, parent or {}))
    places = Places([(source.shown, node)])
    if typed["rule"] != source.path.stem:
        places.problem(
            ("rule",),
            f"{quoted(typed['rule'])} stands in a file named {quoted(source.path.name)}; "
            f"expected rule: {source.path.stem}, or another file name",
        )
    lists = _inline_lists(typed, source, places)
    places.raise_if_any()
    own = _record(source, data)
    return RuleText(source.shown, node, typed, (own, *lists))


def _record(source: RuleSource, data: bytes) -> RuleFile:
    origin = provenance(source.path, data)
    path = source.recorded if source.shipped else origin.path or source.recorded
    return RuleFile(path, sha256(data), origin.commit, origin.dirty, source.shipped)


def _inline_lists(typed: Mapping[str, Any], source: RuleSource, places: Places) -> list[RuleFile]:
    """Put each patch list in place of its path; the files, each once."""
    known: dict[str, tuple[Any, RuleFile]] = {}
    for name, entry in typed.get("patches", {}).items():
        named = entry.get("list")
        if not isinstance(named, str):
            continue
        if inside(source.path.parent, named) is None:
            places.problem(
                ("patches", name, "list"),
                f"{quoted(named)} leaves the rule's folder; lists stand in it or below",
            )
            continue
        try:
            if named not in known:
                known[named] = read_list(source.beside(named))
        except RuleError as error:
            missing = all(problem.line is None for problem in error.problems)
            if missing:
                for problem in error.problems:
                    places.problem(("patches", name, "list"), f"{quoted(named)}: {problem.message}")
            else:
                places.problems.extend(error.problems)
            continue
        entry["list"] = known[named][0]
    return [record for _, record in known.values()]


def read_list(source: RuleSource) -> tuple[Any, RuleFile]:
    """A patch list's data and its record. Raises RuleError with every problem."""
    data = read_bytes(source.path, RuleError, "patch list")
    node = read_yaml(data, source.shown, RuleError)
    typed = read_nodes(node, source.shown, "rule", RuleError, start="#/$defs/list")
    places = Places([(source.shown, node)])
    check_list(typed, places, ())
    places.raise_if_any()
    return typed, _record(source, data)


# ---------------------------------------------------------------- what is expected of limits


def _hint(node: Node, parent: Mapping[str, Any]) -> Hint:
    """Expected limits by the quantity of their requirement, here or in the parent."""

    def hint(path: tuple[str | int, ...]) -> str | None:
        if len(path) < 3 or path[0] != "requirements" or path[2] not in LIMIT_KEYS:
            return None
        above = parent.get("requirements", {}).get(path[1], {})
        name = _text(node, (*path[:2], "quantity")) or above.get("quantity")
        quantity = QUANTITIES.get(str(name))
        if quantity is None:
            return None
        key = path[-1]
        if key == "limits":
            return f"a mapping, e.g. limits: {example_of(quantity)}"
        if key in KEYS and key not in ("box", "within_percent"):
            field = _text(node, (*path[:2], "field")) or above.get("field")
            number = quantity.example.split(",")[0].split(":")[-1].strip()
            if quantity.pair:
                return f"half widths, e.g. {quantity.example}"
            return f"{unit_phrase(quantity, field)}, e.g. {key}: {number}"
        return None

    return hint


def _text(node: Node, path: tuple[str | int, ...]) -> str | None:
    """The scalar at a path of keys, if there is one."""
    line, depth = walk(node, path)
    del line
    if depth < len(path):
        return None
    for part in path:
        node = node.entries[str(part)]
    return node.text if node.kind == "scalar" else None
