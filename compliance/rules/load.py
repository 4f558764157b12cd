"""Load one rule file: its bytes, its nodes, its data on top of its parent's, and the rule.

Canonical JSON sorts the keys of mappings. Sheets print requirements, sets and patches in their
order, so they are lists there, each entry with its own name.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import Any

from compliance.errors import Problem, RuleError
from compliance.model import (
    Change,
    Decision,
    Level,
    NotCovered,
    Rule,
    RuleFile,
)
from compliance.plain_data import digest
from compliance.quantities.catalogue import QUANTITIES
from compliance.rules.departures import looser_parts, requirement_departures
from compliance.rules.git_history import provenance
from compliance.rules.patch_sets import check_list, read_sets
from compliance.rules.requirements import (
    KEYS,
    LIMIT_KEYS,
    Definitions,
    check_adapted,
    example_of,
    read_encoding,
    read_requirement,
    read_target,
    unit_phrase,
)
from compliance.rules.scope import check_accepts, join_not_covered, read_accepts
from compliance.yaml_nodes.json_schema import as_date
from compliance.yaml_nodes.messages import did_you_mean, quoted
from compliance.yaml_nodes.nodes import Location, Node, SourceLocations, locate, node_from_data
from compliance.yaml_nodes.read_file import (
    is_device_name,
    read_bytes,
    read_nodes,
    read_yaml,
    resolve_inside,
    sha256,
)
from compliance.yaml_nodes.schema_faults import Hint

Data = Mapping[str, Any]

FILE = "rule.json"
"""Name in messages of a rule that was read from the evidence."""


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
    """Restore the data to the form of a rule file. Raises RuleError if that is impossible."""
    if not isinstance(resolved, Mapping):
        raise _fault((), "is not a resolved rule; expected a mapping")
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
            raise _fault(where, f"duplicate {key} '{name}'")
        by_name[name] = {part: value for part, value in entry.items() if part != key}
    return by_name


def _fault(where: object, message: str) -> RuleError:
    return RuleError(Problem(FILE, message, field=str(where) if where else None))


WITHIN = "5"
"""Example of a half width, for limits that are usually stated by their ends."""
PIN = re.compile(r"([a-z0-9]+(?:-[a-z0-9]+)*)@([1-9][0-9]{0,8})")
"""Id and revision of a parent."""


@dataclass(frozen=True, slots=True)
class RuleText:
    """A rule file as written, without its parent and its defaults."""

    file: str
    """As named in messages."""
    node: Node
    data: Mapping[str, Any]
    """Typed by the schema, patch lists inlined."""
    files: tuple[RuleFile, ...]
    """The rule file itself, then its patch lists."""


@dataclass(frozen=True, slots=True)
class RuleSource:
    """A rule file's path, its name in messages and its name in the evidence."""

    path: Path
    shown: str
    recorded: str
    shipped: bool = False

    def beside(self, named: str) -> RuleSource:
        """A file named relative to this one's folder."""
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
    """Id and revision in `extends`; None if they are missing or malformed."""
    entry = node.entries.get("extends")
    pin = PIN.fullmatch(entry.text) if entry is not None else None
    return (pin[1], int(pin[2])) if pin else None


def read_rule(
    source: RuleSource, data: bytes, node: Node, parent: Mapping[str, Any] | None
) -> RuleText:
    """Read a rule file by its schema, with its lists. Raises RuleError with every problem.

    `parent` is the parent's resolved data; only messages use it, for its quantities.
    """
    typed = read_nodes(node, source.shown, "rule", RuleError, hint=_hint(node, parent or {}))
    places = SourceLocations([(source.shown, node)])
    if typed["rule"] != source.path.stem:
        places.at("rule").problem(
            f"{quoted(typed['rule'])} is in a file named {quoted(source.path.name)}; "
            f"expected rule: {source.path.stem}, or another file name"
        )
    if is_device_name(source.path.name):
        places.at("rule").problem(
            f"{quoted(typed['rule'])} is a name that Windows keeps for a device; choose another"
        )
    lists = _inline_lists(typed, source, places)
    places.raise_if_any()
    return RuleText(source.shown, node, typed, (_record(source, data), *lists))


def _record(source: RuleSource, data: bytes) -> RuleFile:
    origin = provenance(source.path, data)
    recorded = PurePath(source.recorded).as_posix()
    path = recorded if source.shipped else origin.path or recorded
    return RuleFile(path, sha256(data), origin.commit, origin.dirty, source.shipped)


def _inline_lists(typed: Data, source: RuleSource, places: SourceLocations) -> list[RuleFile]:
    """Replace each path of a patch list by the list; returns the files, each once."""
    known: dict[str, tuple[Any, RuleFile]] = {}
    for name, entry in typed.get("patches", {}).items():
        named = entry.get("list")
        if not isinstance(named, str):
            continue
        here = places.at("patches", name, "list")
        if resolve_inside(source.path.parent, named) is None:
            here.problem(
                f"{quoted(named)} is outside the rule's folder; expected a file in it or below"
            )
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
    """Read a patch list's data and its record. Raises RuleError with every problem."""
    data = read_bytes(source.path, RuleError, "patch list")
    node = read_yaml(data, source.shown, RuleError)
    typed = read_nodes(node, source.shown, "rule", RuleError, start="#/$defs/list")
    places = SourceLocations([(source.shown, node)])
    check_list(typed, places.at())
    places.raise_if_any()
    return typed, _record(source, data)


# ---------------------------------------------------------------- what is expected of limits


def _hint(node: Node, parent: Mapping[str, Any]) -> Hint:
    """Make hints of expected limits from a requirement's quantity, here or in the parent."""

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
            if quantity.pair:
                return f"half widths, e.g. {quantity.example}"
            stated = dict(part.strip().split(": ") for part in quantity.example.split(","))
            number = stated.get(key, WITHIN if key == "within" else next(iter(stated.values())))
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


# ---------------------------------------------------------------- on top of the parent

ORDER = (
    "rule", "extends", "title", "revision", "valid_for", "not_covered", "target", "accepts",
    "signal", "window", "decision", "patches", "requirements", "changes",
)  # fmt: skip
ONE_LEVEL = ("target", "signal", "decision", "patches")
"""Keys merged key by key; patch sets replace one another by name."""

LISTS = ("not_covered", "accepts", "changes")
"""Keys left out of resolved data if empty."""

EXAMPLE = "change: {reason: …, agreed_by: …, date: 2026-11-02}"


def inherit(own: Data, parent: Data | None, places: SourceLocations) -> dict[str, Any]:
    """Merge a rule's own data into its parent's resolved data, with defaults written in.

    `accepts` replaces the parent's list; `not_covered` is added to it. Problems (a change or a
    withdrawal of a requirement that does not exist, a clause named twice) are noted in `places`.
    """
    above = parent or {}
    merged: dict[str, Any] = {**above, **own}
    for key in ONE_LEVEL:
        if key in above and key in own:
            merged[key] = {**above[key], **own[key]}
    check_accepts(own, merged, places.at("accepts"))
    merged["not_covered"] = join_not_covered(own, above, places.at("not_covered"))
    changes = list(above.get("changes", ()))
    changes += [{"subject": key, **entry} for key, entry in own.get("changes", {}).items()]
    if "requirements" in merged:
        merged["requirements"] = _requirements(own, above, changes, places.at("requirements"))
    merged["changes"] = changes
    kept = [key for key in ORDER if key in merged and (merged[key] or key not in LISTS)]
    return {key: merged[key] for key in kept}


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
    """Check a requirement that the parent lacks: with a quantity, without change or withdraw."""
    names = above.get("requirements", {})
    why = f"the parent has no {quoted(name)}; {did_you_mean(name, names)}"
    for key in ("withdraw", "change"):
        if key in entry:
            here.at(key).problem(why)
            return False
    if names and "quantity" not in entry:
        here.problem(f"{why} (a new requirement needs quantity)")
        return False
    return True


def _check_withdrawal(entry: Data, fields: Data, here: Location) -> None:
    if "change" not in entry:
        here.at("change").problem(f"missing; a withdrawal needs it, e.g. {EXAMPLE}")
    for key in fields:
        here.at(key).problem("a withdrawn requirement takes only change; leave the key out")


def _one_level(known: Data, fields: Data) -> dict[str, Any]:
    """Merge fields into fields; limits, bands and by_patch replace one another.

    Other limits are no longer those of the parent's document: without a stated basis, theirs is
    the house.
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


# ---------------------------------------------------------------- the rule


def check_complete(resolved: Data, places: SourceLocations) -> None:
    """Validate a house rule's data again, merged with its parent's.

    Raises RuleError with every problem.
    """
    node = node_from_data(resolved)
    start, hint = "#/$defs/resolved", _hint(node, {})
    read_nodes(node, FILE, "rule", RuleError, start=start, hint=hint, places=places)


def build_rule(data: Mapping[str, Any], files: Sequence[RuleFile], places: SourceLocations) -> Rule:
    """Build the rule from valid resolved data. Raises RuleError with every problem."""
    encoding = read_encoding(data)
    target = read_target(data["target"], encoding, places.at("target"))
    names = data.get("patches", {})
    sets = read_sets(names, target, places.at("patches"))
    known = Definitions(target, names, sets)
    accepts = read_accepts(data, encoding, places) if target else ()
    here = places.at("requirements")
    requirements = [
        read_requirement(name, entry, known, here.at(name))
        for name, entry in data["requirements"].items()
    ]
    if all(entry.get("level") == Level.SHOULD for entry in data["requirements"].values()):
        here.problem(
            "no requirement is a shall, so every display would comply; expected at least one"
        )
    check_adapted([each for each in requirements if each], here)
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
        requirements=tuple(requirement for requirement in requirements if requirement),
        resolved=resolved,
        digest=digest(resolved),
        files=tuple(files),
        changes=tuple(_change(entry) for entry in data.get("changes", ())),
        extends=data.get("extends"),
        accepts=accepts,
        not_covered=tuple(NotCovered(**entry) for entry in data.get("not_covered", ())),
    )


def _decision(data: Mapping[str, Any]) -> Decision:
    return Decision(data.get("acceptance", "simple"), float(data.get("confidence", 0.95)))


def _change(data: Mapping[str, Any]) -> Change:
    when = as_date(data["date"])
    assert when is not None  # the schema's format
    return Change(
        data["subject"], data["reason"], data["agreed_by"], when, data.get("withdrawn", False)
    )
