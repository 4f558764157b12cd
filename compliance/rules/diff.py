"""What a change of a rule does: one row for each requirement and for each other part of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from compliance.model import Change, Requirement, Rule
from compliance.rules.compare import Detail, requirement_details, rule_details
from compliance.rules.kinds import Kind, together

__all__ = ["Difference", "Row", "difference"]

PARTS = ("target", "signal", "window", "decision", "valid_for")
"""Of a rule, outside its requirements, in the order of a file."""


@dataclass(frozen=True, slots=True)
class Row:
    """One requirement, or one other part of the rule, that differs."""

    subject: str
    """Dotted key in the rule: `requirements.white-level`, `target`."""
    kind: Kind
    details: tuple[Detail, ...] = ()
    old: Requirement | None = None
    new: Requirement | None = None
    """Of a requirement, where it is there."""
    stated: Change | None = None
    """The new rule's reason for departing from its parent here."""


@dataclass(frozen=True, slots=True)
class Difference:
    """Everything in which two rules differ; a side is None where there is no such rule."""

    old: Rule | None
    new: Rule | None
    rows: tuple[Row, ...]

    @property
    def kind(self) -> Kind:
        """Of the rule as a whole."""
        if self.old is None or self.new is None:
            return Kind.ADDED if self.old is None else Kind.WITHDRAWN
        return together(_weighed(row.kind) for row in self.rows)

    @property
    def harmless(self) -> bool:
        """Nothing is accepted that was not before."""
        return self.kind.harmless and all(row.kind.harmless for row in self.rows)

    @property
    def same_revision(self) -> bool:
        """The texts differ and the revision does not."""
        if self.old is None or self.new is None or self.old.id != self.new.id:
            return False
        return bool(self.rows) and self.old.revision == self.new.revision


def _weighed(kind: Kind) -> Kind:
    """A requirement more or less, as a tightening or loosening of the whole."""
    return {Kind.ADDED: Kind.TIGHTENED, Kind.WITHDRAWN: Kind.LOOSENED}.get(kind, kind)


def difference(old: Rule, new: Rule) -> Difference:
    """Each part in which `new` differs from `old`, in the order of a file; empty if in none."""
    rows = [*_head(old, new), *_requirements(old, new)]
    if not rows and old.digest != new.digest:
        rows.append(Row("rule", Kind.REWORDED, (Detail("form", Kind.REWORDED),)))
    return Difference(old, new, tuple(_with_reason(row, new) for row in rows))


def _with_reason(row: Row, new: Rule) -> Row:
    subject = row.subject
    reason = next((one for one in reversed(new.changes) if one.subject == subject), None)
    if reason is None:
        return row
    return Row(subject, row.kind, row.details, row.old, row.new, reason)


# ---------------------------------------------------------------- outside the requirements


def _head(old: Rule, new: Rule) -> Iterator[Row]:
    if old.id == new.id and old.extends != new.extends:
        detail = Detail("extends", Kind.REWORDED, old.extends, new.extends)
        yield Row("extends", Kind.REWORDED, (detail,))
    if old.title != new.title:
        yield Row("title", Kind.REWORDED, (Detail("title", Kind.REWORDED, old.title, new.title),))
    details = rule_details(new, old)
    for part in PARTS:
        mine = tuple(one for one in details if one.key.split(".")[0] == part)
        if mine:
            yield Row(part, together(one.kind for one in mine), mine)
        elif old.resolved.get(part) != new.resolved.get(part):
            yield Row(part, Kind.REWORDED, (Detail("form", Kind.REWORDED),))
    yield from _sets(old, new)
    if old.id == new.id and old.changes != new.changes:
        detail = Detail("changes", Kind.REWORDED, len(old.changes), len(new.changes))
        yield Row("changes", Kind.REWORDED, (detail,))


def _sets(old: Rule, new: Rule) -> Iterator[Row]:
    """Sets that no requirement of both rules leans on; the others stand with those that do.

    By itself a set asks for nothing: what asks is a requirement.
    """
    told = {
        detail.key
        for one, before in _pairs(old, new)
        for detail in requirement_details(one, before, new.sets, old.sets)
    }
    for name in dict.fromkeys((*old.sets, *new.sets)):
        before, after = old.sets.get(name), new.sets.get(name)
        key = f"patches.{name}"
        if before == after or key in told:
            continue
        yield Row(key, Kind.REWORDED, (Detail(key, Kind.REWORDED, before, after),))
    if list(old.sets) != list(new.sets) and set(old.sets) == set(new.sets):
        yield Row("patches", Kind.REWORDED, (Detail("order", Kind.REWORDED),))


# ---------------------------------------------------------------- requirements


def _pairs(old: Rule, new: Rule) -> Iterator[tuple[Requirement, Requirement]]:
    """New and old of one id."""
    before = {one.id: one for one in old.requirements}
    return ((one, before[one.id]) for one in new.requirements if one.id in before)


def _requirements(old: Rule, new: Rule) -> Iterator[Row]:
    texts_old, texts_new = _texts(old), _texts(new)
    before = {one.id: one for one in old.requirements}
    after = {one.id: one for one in new.requirements}
    for name in _in_order(list(before), list(after)):
        subject = f"requirements.{name}"
        known, found = before.get(name), after.get(name)
        if known is None or found is None:
            yield Row(subject, Kind.ADDED if known is None else Kind.WITHDRAWN, (), known, found)
            continue
        details = requirement_details(found, known, new.sets, old.sets)
        if not details and texts_old[name] != texts_new[name]:
            details = (Detail("form", Kind.REWORDED),)
        if details:
            yield Row(subject, together(one.kind for one in details), details, known, found)
    kept = [name for name in after if name in before]
    if kept != [name for name in before if name in after]:
        yield Row("requirements", Kind.REWORDED, (Detail("order", Kind.REWORDED),))


def _texts(rule: Rule) -> Mapping[str, Any]:
    return {entry["id"]: entry for entry in rule.resolved.get("requirements", ())}


def _in_order(old: list[str], new: list[str]) -> list[str]:
    """The new order, with what is gone after what stood before it."""
    found = list(new)
    for place, name in enumerate(old):
        if name not in new:
            above = next((one for one in reversed(old[:place]) if one in found), None)
            found.insert(found.index(above) + 1 if above else 0, name)
    return found
