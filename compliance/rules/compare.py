"""Compare two rules, or two requirements: each difference and its direction.

Provably tighter: a limit inside the other's for every patch, a shall instead of a should,
guarded instead of simple acceptance, more confidence, a shorter validity, more patches if more
can only be harder. Different words are a rewording. A difference that is provable neither way is
a change.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from compliance.model import Accepted, Change, Level, Over, PatchSet, Requirement, Rule, Target
from compliance.quantities.catalogue import QUANTITIES
from compliance.rules.compare_parts import (
    RGB,
    Extent,
    Kind,
    combine,
    hue_set,
    limit_key,
    limits_kind,
    over_extent,
    set_extent,
)

Sets = Mapping[str, PatchSet]

OF_TARGET = ("primaries_name", "white_name", "container_name")
"""Fields of a target that are only names."""

OPAQUE = ("quantity", "reference", "scale", "above_black", "ignore_luminance", "diagram", "field",
          "declaration")  # fmt: skip
"""Fields of a requirement whose difference is never provably harmless."""

IN_FILE = {"ignore_luminance": "ignore"}
"""Fields whose key in the file has another name."""

WORDS = ("title", "basis", "clause")


@dataclass(frozen=True, slots=True)
class Detail:
    """One key in which two things differ."""

    key: str
    """As in the file, dotted: `limits`, `patches.grey`."""
    kind: Kind
    old: Any = None
    """The value as the model holds it; None if not stated."""
    new: Any = None


# ---------------------------------------------------------------- requirements


def requirement_details(
    new: Requirement, old: Requirement, new_sets: Sets, old_sets: Sets
) -> tuple[Detail, ...]:
    """Every key in which two requirements of one id differ, the sets they name included."""
    return tuple(_requirement_details(new, old, new_sets, old_sets))


def _requirement_details(
    new: Requirement, old: Requirement, new_sets: Sets, old_sets: Sets
) -> Iterator[Detail]:
    for name in OPAQUE:
        key = IN_FILE.get(name, name)
        yield from _differing(key, Kind.CHANGED, getattr(old, name), getattr(new, name))
    yield from _patches(new, old, new_sets, old_sets)
    yield from _statistic(new, old)
    kind = Kind.CHANGED
    if new.floor is not None and old.floor is not None and new.statistic == "each":
        kind = _either(new.floor < old.floor)
    yield from _differing("floor", kind, old.floor, new.floor)
    one_kind = new.displays is not None and old.displays is not None
    kind = Kind.CHANGED if one_kind else _either(new.displays is None)
    yield from _differing("displays", kind, old.displays, new.displays)
    kind = _either(new.level is Level.SHALL)
    yield from _differing("level", kind, old.level.value, new.level.value)
    kind = limits_kind(new, old)
    if kind is not Kind.SAME:
        yield Detail(limit_key(new), kind, old, new)
    for name in WORDS:
        yield from _differing(name, Kind.REWORDED, getattr(old, name), getattr(new, name))


def _differing(key: str, kind: Kind, old: Any, new: Any) -> Iterator[Detail]:
    """Yield the key if old and new differ."""
    if new != old:
        yield Detail(key, kind, old, new)


def _either(tighter: bool) -> Kind:
    return Kind.TIGHTENED if tighter else Kind.LOOSENED


def _statistic(new: Requirement, old: Requirement) -> Iterator[Detail]:
    mine, theirs = (new.statistic, new.percentile), (old.statistic, old.percentile)
    if mine == theirs:
        return
    kind = Kind.CHANGED
    averaged = {"mean", "percentile"}
    if "each" in (new.statistic, old.statistic) and averaged & {new.statistic, old.statistic}:
        if _averages(new) and _averages(old):
            kind = _either(new.statistic == "each")
    elif new.percentile is not None and old.percentile is not None and new.percentile < 100:
        upper = all(_is_upper(requirement) for requirement in (new, old))
        lower = all(_is_lower(requirement) for requirement in (new, old))
        if upper or lower:
            kind = _either((new.percentile > old.percentile) == upper)
    yield Detail("statistic", kind, _statistic_words(old), _statistic_words(new))


def _statistic_words(requirement: Requirement) -> str:
    if requirement.percentile is None:
        return requirement.statistic
    return f"percentile {requirement.percentile:g}"


def _signed(requirement: Requirement) -> bool:
    return QUANTITIES[requirement.quantity].signed


def _is_upper(requirement: Requirement) -> bool:
    """Return whether the limits bound the size of the value from above only."""
    limits = requirement.limits
    if limits is None or limits.maximum is None:
        return False
    if _signed(requirement):
        return limits.minimum == -limits.maximum
    return limits.minimum is None


def _is_lower(requirement: Requirement) -> bool:
    """Return whether the limits bound a never negative value from below only."""
    limits = requirement.limits
    known = limits is not None and limits.minimum is not None and limits.maximum is None
    return known and not _signed(requirement)


def _averages(requirement: Requirement) -> bool:
    """Return whether values inside the limits imply that the mean of their sizes is inside too."""
    return requirement.limits is not None and (not _signed(requirement) or _is_upper(requirement))


# ---------------------------------------------------------------- which patches


def _patches(
    new: Requirement, old: Requirement, new_sets: Sets, old_sets: Sets
) -> Iterator[Detail]:
    """Yield the differing sets that both name, then a difference in the patches taken of them."""
    if QUANTITIES[new.quantity].hues and QUANTITIES[old.quantity].hues:
        yield from _hues(new, old, new_sets, old_sets)
        return
    mine, theirs = new.over or Over(()), old.over or Over(())
    for name in mine.patches:
        if name not in theirs.patches or name not in new_sets or name not in old_sets:
            continue
        extent = set_extent(new_sets[name], old_sets[name])
        kind = _patches_kind(extent, new, old)
        if kind is Kind.SAME and new_sets[name] != old_sets[name]:
            kind = Kind.CHANGED if _goes_by_name(new) or _goes_by_name(old) else Kind.REWORDED
        if kind is not Kind.SAME:
            yield Detail(f"patches.{name}", kind, old_sets[name], new_sets[name])
    if mine == theirs:
        return
    extent = over_extent(mine, theirs, new_sets, old_sets)
    kind = _patches_kind(extent, new, old)
    yield Detail("over", Kind.REWORDED if kind is Kind.SAME else kind, old.over, new.over)


def _hues(new: Requirement, old: Requirement, new_sets: Sets, old_sets: Sets) -> Iterator[Detail]:
    mine, theirs = hue_set(new.over, new_sets), hue_set(old.over, old_sets)
    if new.over == old.over and mine == theirs:
        return
    plain = [replace(hues, name="", hues=RGB) if hues else None for hues in (mine, theirs)]
    aimed = [replace(each.over, patches=()) if each.over else Over(()) for each in (new, old)]
    kind = Kind.REWORDED if plain[0] == plain[1] and aimed[0] == aimed[1] else Kind.CHANGED
    if new.over != old.over:
        yield Detail("over", kind, old.over, new.over)
    elif mine and (kind is Kind.CHANGED or (theirs and theirs.name == mine.name)):
        yield Detail(f"patches.{mine.name}", kind, theirs, mine)


def _goes_by_name(requirement: Requirement) -> bool:
    over = requirement.over
    narrowed = over is not None and (over.only is not None or over.exclude)
    return bool(requirement.by_patch or narrowed)


def _patches_kind(extent: Extent, new: Requirement, old: Requirement) -> Kind:
    """Return how more or fewer patches change a requirement."""
    if extent is Extent.SAME:
        return Kind.SAME
    if extent is Extent.OTHER or not (_more_is_harder(new) and _more_is_harder(old)):
        return Kind.CHANGED
    return _either(extent is Extent.MORE)


def _more_is_harder(requirement: Requirement) -> bool:
    """Return whether a display that meets it with more patches meets it with some of them."""
    quantity, limits = QUANTITIES[requirement.quantity], requirement.limits
    if quantity.values == "point" and requirement.statistic == "each":
        return True
    if limits is None:
        return False
    at_most = limits.maximum is not None and (limits.minimum is None or limits.minimum <= 0)
    if requirement.statistic in ("spread", "pairwise"):
        return at_most
    extreme = quantity.extreme.kind if quantity.extreme else None
    if extreme == "range":
        return at_most
    if limits.maximum is not None or limits.minimum is None:
        return False
    if extreme == "step":
        return limits.minimum >= 0
    return extreme == "bend" and limits.minimum == 0


# ---------------------------------------------------------------- the rest of a rule


def rule_details(new: Rule, old: Rule) -> tuple[Detail, ...]:
    """Every key in which two rules differ, apart from requirements and sets."""
    return tuple(_rule_details(new, old))


def _rule_details(new: Rule, old: Rule) -> Iterator[Detail]:
    yield from _target(new.target, old.target)
    yield from _differing("signal", Kind.CHANGED, old.encoding.name, new.encoding.name)
    yield from _differing("window", Kind.CHANGED, old.window, new.window)
    before, after = old.decision, new.decision
    kind = _either(after.acceptance == "guarded")
    yield from _differing("decision.acceptance", kind, before.acceptance, after.acceptance)
    kind = _either(after.confidence > before.confidence)
    yield from _differing("decision.confidence", kind, before.confidence, after.confidence)
    kind = _either((new.valid_days or math.inf) < (old.valid_days or math.inf))
    yield from _differing("valid_for", kind, old.valid_days, new.valid_days)


def _target(new: Target, old: Target) -> Iterator[Detail]:
    for entry in fields(Target):
        before, after = getattr(old, entry.name), getattr(new, entry.name)
        if entry.name not in OF_TARGET and before != after:
            names = f"{entry.name}_name"
            if names in OF_TARGET:
                before = getattr(old, names) or before
                after = getattr(new, names) or after
            yield Detail(f"target.{entry.name}", Kind.CHANGED, before, after)


PARTS = ("target", "signal", "window", "decision", "valid_for")
"""Parts of a rule besides its requirements, in the order of a file."""


@dataclass(frozen=True, slots=True)
class Row:
    """One requirement, or one other part of the rule, that differs."""

    subject: str
    """Dotted key in the rule: `requirements.white-level`, `target`."""
    kind: Kind
    details: tuple[Detail, ...] = ()
    old: Requirement | None = None
    new: Requirement | None = None
    """The requirement, if the rule has it."""
    stated: Change | None = None
    """The new rule's reason for departing from its parent here."""


@dataclass(frozen=True, slots=True)
class Difference:
    """All differences of two rules; a side is None if it has no such rule."""

    old: Rule | None
    new: Rule | None
    rows: tuple[Row, ...]

    @property
    def kind(self) -> Kind:
        """The kind of the difference for the rule as a whole."""
        if self.old is None or self.new is None:
            return Kind.ADDED if self.old is None else Kind.WITHDRAWN
        return combine(_weighed(row.kind) for row in self.rows)

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
    """Return an added or withdrawn requirement as a tightening or loosening of the whole."""
    return {Kind.ADDED: Kind.TIGHTENED, Kind.WITHDRAWN: Kind.LOOSENED}.get(kind, kind)


def difference(old: Rule, new: Rule) -> Difference:
    """Compare each part of two rules, in the order of a file; no rows if none differs."""
    rows = [*_head(old, new), *_requirements(old, new)]
    if not rows and old.digest != new.digest:
        rows.append(_reworded("rule", "form"))
    reasons = {change.subject: change for change in new.changes}
    return Difference(
        old, new, tuple(replace(row, stated=reasons.get(row.subject)) for row in rows)
    )


def _reworded(subject: str, key: str, old: Any = None, new: Any = None) -> Row:
    """A difference without any effect."""
    return Row(subject, Kind.REWORDED, (Detail(key, Kind.REWORDED, old, new),))


# ---------------------------------------------------------------- outside the requirements


def _head(old: Rule, new: Rule) -> Iterator[Row]:
    if old.id == new.id and old.extends != new.extends:
        yield _reworded("extends", "extends", old.extends, new.extends)
    if old.title != new.title:
        yield _reworded("title", "title", old.title, new.title)
    details = rule_details(new, old)
    for part in PARTS:
        mine = tuple(detail for detail in details if detail.key.split(".")[0] == part)
        if mine:
            yield Row(part, combine(detail.kind for detail in mine), mine)
        elif old.resolved.get(part) != new.resolved.get(part):
            yield _reworded(part, "form")
    yield from _entries("not_covered", old, new, (old.not_covered, new.not_covered))
    yield from _entries("accepts", old, new, (_beside(old), _beside(new)))
    yield from _sets(old, new)
    if old.id == new.id and old.changes != new.changes:
        yield _reworded("changes", "changes", len(old.changes), len(new.changes))


@dataclass(frozen=True, slots=True)
class Beside:
    """A display that a rule accepts, beside the rule's own target."""

    accepted: Accepted
    target: Target


def _beside(rule: Rule) -> tuple[Beside, ...]:
    return tuple(Beside(accepted, rule.target) for accepted in rule.accepts)


def _entries(
    key: str, old: Rule, new: Rule, read: tuple[Sequence[Any], Sequence[Any]]
) -> Iterator[Row]:
    """Yield a row with the entries that only one rule's list has, as `read` of each.

    Entries are compared as written: another target is not another accepted display.
    """
    before, after = (rule.resolved.get(key, []) for rule in (old, new))
    details = [
        Detail("removed", Kind.REWORDED, old=was)
        for entry, was in zip(before, read[0], strict=True)
        if entry not in after
    ]
    details += [
        Detail("added", Kind.REWORDED, new=now)
        for entry, now in zip(after, read[1], strict=True)
        if entry not in before
    ]
    if details:
        yield Row(key, Kind.REWORDED, tuple(details))
    elif before != after:
        yield _reworded(key, "order")


def _sets(old: Rule, new: Rule) -> Iterator[Row]:
    """Yield the sets that no common requirement depends on; others are rows of requirements.

    A set alone requires nothing; only requirements do.
    """
    before = _by_id(old)
    named = {
        detail.key
        for requirement in new.requirements
        if requirement.id in before
        for detail in requirement_details(requirement, before[requirement.id], new.sets, old.sets)
    }
    for name in dict.fromkeys((*old.sets, *new.sets)):
        mine, theirs = new.sets.get(name), old.sets.get(name)
        key = f"patches.{name}"
        if mine != theirs and key not in named:
            yield _reworded(key, key, theirs, mine)
    if list(old.sets) != list(new.sets) and set(old.sets) == set(new.sets):
        yield _reworded("patches", "order")


# ---------------------------------------------------------------- requirements


def _by_id(rule: Rule) -> dict[str, Requirement]:
    return {requirement.id: requirement for requirement in rule.requirements}


def _requirements(old: Rule, new: Rule) -> Iterator[Row]:
    texts_old, texts_new = _texts(old), _texts(new)
    before, after = _by_id(old), _by_id(new)
    for name in _in_order(list(before), list(after)):
        subject = f"requirements.{name}"
        earlier, later = before.get(name), after.get(name)
        if earlier is None or later is None:
            kind = Kind.ADDED if earlier is None else Kind.WITHDRAWN
            yield Row(subject, kind, (), earlier, later)
            continue
        details = requirement_details(later, earlier, new.sets, old.sets)
        if not details and texts_old[name] != texts_new[name]:
            details = (Detail("form", Kind.REWORDED),)
        if details:
            kind = combine(detail.kind for detail in details)
            yield Row(subject, kind, details, earlier, later)
    kept = [name for name in after if name in before]
    if kept != [name for name in before if name in after]:
        yield _reworded("requirements", "order")


def _texts(rule: Rule) -> Mapping[str, Any]:
    return {entry["id"]: entry for entry in rule.resolved.get("requirements", ())}


def _in_order(old: list[str], new: list[str]) -> list[str]:
    """The new order, with removed names after the name that preceded them."""
    order = list(new)
    for place, name in enumerate(old):
        if name not in new:
            above = next((other for other in reversed(old[:place]) if other in order), None)
            order.insert(order.index(above) + 1 if above else 0, name)
    return order
