"""A resolved rule as plain data to the rule that is assessed against."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from compliance.canonical import digest
from compliance.documents import as_date
from compliance.model import Change, Decision, Level, Rule, RuleFile
from compliance.rules.places import Places
from compliance.rules.requirements import read_requirement
from compliance.rules.resolved import to_resolved
from compliance.rules.sets import read_sets
from compliance.rules.target import read_encoding, read_target

__all__ = ["build_rule"]


def build_rule(data: Mapping[str, Any], files: Sequence[RuleFile], places: Places) -> Rule:
    """The rule of resolved data that its schema accepts; RuleError with every problem."""
    for key, example in (("target", "{primaries: bt709, …}"), ("requirements", "{…}")):
        if key not in data:
            places.problem((key,), f"missing; a rule needs it, e.g. {key}: {example}")
    places.raise_if_any()
    encoding = read_encoding(data)
    target = read_target(data["target"], encoding, places)
    names = data.get("patches", {})
    sets = read_sets(names, target, places)
    requirements = [
        read_requirement(name, entry, names, sets, target, places)
        for name, entry in data["requirements"].items()
    ]
    if all(entry.get("level") == Level.SHOULD for entry in data["requirements"].values()):
        places.problem(
            ("requirements",),
            "no requirement is a shall, so every display would comply; expected at least one",
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
