"""One rule file: its bytes, its nodes, its resolved data, and the rule made from them.

Canonical JSON sorts the keys of mappings. The order of requirements, sets and patches is
part of what a sheet prints, so they stand as lists there, each entry with its own name.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from compliance.errors import Problem, RuleError
from compliance.model import Change, Decision, Level, Rule, RuleFile
from compliance.plain_data import digest
from compliance.quantities.catalogue import QUANTITIES
from compliance.rules.git_history import provenance
from compliance.rules.patch_sets import check_list, read_sets
from compliance.rules.requirements import (
    KEYS,
    LIMIT_KEYS,
    Definitions,
    example_of,
    read_requirement,
    unit_phrase,
)
from compliance.rules.target import read_encoding, read_target
from compliance.yaml_nodes import read_nodes, read_yaml
from compliance.yaml_nodes.locations import SourceLocations
from compliance.yaml_nodes.messages import quoted
from compliance.yaml_nodes.nodes import Node, locate
from compliance.yaml_nodes.read_file import read_bytes, resolve_inside, sha256
from compliance.yaml_nodes.schema_reader import Hint, as_date

Data = Mapping[str, Any]

FILE = "rule.json"
"""How messages name what came back from the evidence."""


def to_resolved(data: Data) -> dict[str, Any]:
    """A rule's data with lists for its named requirements, sets and patches."""
    lists = dict(data)
    if "patches" in data:
        lists["patches"] = [
            {"set": name, **_listed(entry)} for name, entry in data["patches"].items()
        ]
    lists["requirements"] = [{"id": name, **entry} for name, entry in data["requirements"].items()]
    return lists


def _listed(entry: Data) -> dict[str, Any]:
    if "list" not in entry:
        return dict(entry)
    patches = [{"name": name, "codes": codes} for name, codes in entry["list"]["patches"].items()]
    return {**entry, "list": {**entry["list"], "patches": patches}}


def from_resolved(resolved: Any) -> dict[str, Any]:
    """The data again, in the form a file gives. RuleError where it is in no such form."""
    if not isinstance(resolved, Mapping):
        raise _fault((), "is no resolved rule; expected a mapping")
    data = dict(resolved)
    if "patches" in resolved:
        data["patches"] = {
            name: _unlisted(entry, name)
            for name, entry in _named(resolved["patches"], "set", "patches").items()
        }
    if "requirements" in resolved:
        data["requirements"] = _named(resolved["requirements"], "id", "requirements")
    return data


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
    by_name: dict[str, dict[str, Any]] = {}
    for entry in entries:
        name = entry.get(key)
        if not isinstance(name, str):
            raise _fault(where, f"an entry has no '{key}'")
        if name in by_name:
            raise _fault(where, f"'{name}' stands there twice")
        by_name[name] = {part: value for part, value in entry.items() if part != key}
    return by_name


def _fault(where: object, message: str) -> RuleError:
    return RuleError(Problem(FILE, message, field=str(where) if where else None))


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
    pin = PIN.fullmatch(entry.text) if entry is not None else None
    return (pin[1], int(pin[2])) if pin else None


def read_rule(
    source: RuleSource, data: bytes, node: Node, parent: Mapping[str, Any] | None
) -> RuleText:
    """A rule file by its schema, with its lists. Raises RuleError with every problem.

    `parent` is the parent's resolved data; it only lends its quantities to the messages.
    """
    typed = read_nodes(node, source.shown, "rule", RuleError, hint=_hint(node, parent or {}))
    places = SourceLocations([(source.shown, node)])
    if typed["rule"] != source.path.stem:
        places.at("rule").problem(
            f"{quoted(typed['rule'])} stands in a file named {quoted(source.path.name)}; "
            f"expected rule: {source.path.stem}, or another file name"
        )
    lists = _inline_lists(typed, source, places)
    places.raise_if_any()
    return RuleText(source.shown, node, typed, (_record(source, data), *lists))


def _record(source: RuleSource, data: bytes) -> RuleFile:
    origin = provenance(source.path, data)
    path = source.recorded if source.shipped else origin.path or source.recorded
    return RuleFile(path, sha256(data), origin.commit, origin.dirty, source.shipped)


def _inline_lists(typed: Data, source: RuleSource, places: SourceLocations) -> list[RuleFile]:
    """Put each patch list in place of its path; the files, each once."""
    known: dict[str, tuple[Any, RuleFile]] = {}
    for name, entry in typed.get("patches", {}).items():
        named = entry.get("list")
        if not isinstance(named, str):
            continue
        here = places.at("patches", name, "list")
        if resolve_inside(source.path.parent, named) is None:
            here.problem(f"{quoted(named)} leaves the rule's folder; lists stand in it or below")
            continue
        try:
            if named not in known:
                known[named] = read_list(source.beside(named))
            entry["list"] = known[named][0]
        except RuleError as error:
            if any(problem.line for problem in error.problems):
                places.problems.extend(error.problems)
                continue
            for problem in error.problems:
                here.problem(f"{quoted(named)}: {problem.message}")
    return [record for _, record in known.values()]


def read_list(source: RuleSource) -> tuple[Any, RuleFile]:
    """A patch list's data and its record. Raises RuleError with every problem."""
    data = read_bytes(source.path, RuleError, "patch list")
    node = read_yaml(data, source.shown, RuleError)
    typed = read_nodes(node, source.shown, "rule", RuleError, start="#/$defs/list")
    places = SourceLocations([(source.shown, node)])
    check_list(typed, places.at())
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
    line, depth = locate(node, path)
    del line
    if depth < len(path):
        return None
    for part in path:
        node = node.entries[str(part)]
    return node.text if node.kind == "scalar" else None


def build_rule(data: Mapping[str, Any], files: Sequence[RuleFile], places: SourceLocations) -> Rule:
    """The rule of resolved data that its schema accepts; RuleError with every problem."""
    for key, example in (("target", "{primaries: bt709, …}"), ("requirements", "{…}")):
        if key not in data:
            places.at(key).problem(f"missing; a rule needs it, e.g. {key}: {example}")
    places.raise_if_any()
    encoding = read_encoding(data)
    target = read_target(data["target"], encoding, places)
    names = data.get("patches", {})
    sets = read_sets(names, target, places.at("patches"))
    known = Definitions(target, names, sets)
    here = places.at("requirements")
    requirements = [
        read_requirement(name, entry, known, here.at(name))
        for name, entry in data["requirements"].items()
    ]
    if all(entry.get("level") == Level.SHOULD for entry in data["requirements"].values()):
        here.problem(
            "no requirement is a shall, so every display would comply; expected at least one"
        )
    places.raise_if_any()
    assert target is not None
    resolved = to_resolved(data)
    return Rule(
        id=data["rule"],
        title=data["title"],
        revision=data["revision"],
        valid_days=data.get("valid_for", {}).get("days"),
        target=target,
        encoding=encoding,
        window=float(data.get("window", 100)),
        decision=_decision(data.get("decision", {})),
        sets=sets,
        requirements=tuple(found for found in requirements if found),
        resolved=resolved,
        digest=digest(resolved),
        files=tuple(files),
        changes=tuple(_change(entry) for entry in data.get("changes", ())),
        extends=data.get("extends"),
    )


def _decision(data: Mapping[str, Any]) -> Decision:
    return Decision(data.get("acceptance", "simple"), float(data.get("confidence", 0.95)))


def _change(data: Mapping[str, Any]) -> Change:
    when = as_date(data["date"])
    assert when is not None  # the schema's format
    return Change(
        data["subject"], data["reason"], data["agreed_by"], when, data.get("withdrawn", False)
    )
