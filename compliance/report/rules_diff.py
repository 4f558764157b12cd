"""What a change of a rule does, in words and as plain data: keys, rows, headings, counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any, NamedTuple

from compliance.model import Change, Over, PatchSet, Requirement, Rule
from compliance.report.numbers import format_plain
from compliance.report.words.en.rules import asked_words, limits_words, over_words, set_words
from compliance.rules.compare import Detail, Difference, Row
from compliance.rules.compare_parts import Kind

ORDER = (Kind.LOOSENED, Kind.WITHDRAWN, Kind.CHANGED, Kind.ADDED, Kind.TIGHTENED, Kind.REWORDED)
"""What a reviewer looks at first."""

RAISE = "The text differs and the revision does not: raise the revision."
NOT_STATED = "not stated"
UNITS = {
    "valid_for": " days",
    "window": "\u00a0% of area",
    "floor": "\u00a0cd/m²",
    "target.black_level": "\u00a0cd/m²",
    "target.luminance_white": "\u00a0cd/m²",
    "target.luminance_peak": "\u00a0cd/m²",
}
"""Of keys that hold a number."""


class KeyChange(NamedTuple):
    """One key of a row."""

    key: str
    kind: Kind
    was: str
    now: str


def describe_row(row: Row) -> tuple[KeyChange, ...]:
    """The keys in which a row differs; of one that is new or gone all that it asks."""
    if row.kind in (Kind.ADDED, Kind.WITHDRAWN):
        was = _whole(row.old) if row.old else ""
        now = _whole(row.new) if row.new else ""
        return (KeyChange("requirement", row.kind, was, now),)
    return tuple(_detail(detail) for detail in row.details)


def _whole(requirement: Requirement) -> str:
    return f"{requirement.level.value}: {asked_words(requirement)}"


def _detail(detail: Detail) -> KeyChange:
    if detail.key in ("form", "order", "changes"):
        said = {
            "form": "written differently, the same in effect",
            "order": "in another order",
            "changes": "other reasons are stated",
        }[detail.key]
        return KeyChange(detail.key, detail.kind, "", said)
    if _is_list(detail.old) and _is_list(detail.new):
        was, now = _lists(detail.old, detail.new)
    else:
        unit = UNITS.get(detail.key, "")
        was, now = (_value(value) + (unit if value else "") for value in (detail.old, detail.new))
    return KeyChange(detail.key, detail.kind, was, now)


def _value(value: Any) -> str:
    if value is None:
        return NOT_STATED
    if isinstance(value, Requirement):
        return limits_words(value)
    if isinstance(value, Over):
        return over_words(value)
    if isinstance(value, PatchSet):
        return set_words(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return format_plain(value)
    if isinstance(value, tuple):
        return ", ".join(_value(part) for part in value)
    return str(value)


def _is_list(value: Any) -> bool:
    return isinstance(value, PatchSet) and value.kind == "list"


def _lists(old: PatchSet, new: PatchSet) -> tuple[str, str]:
    """Two lists with the names that are only in one, or have other codes there."""
    mine, theirs = dict(new.patches), dict(old.patches)
    gone = [name for name, codes in old.patches if mine.get(name) != codes]
    come = [name for name, codes in new.patches if theirs.get(name) != codes]
    was, now = set_words(old), set_words(new)
    was += f", {', '.join(gone)} among them" if gone else ""
    now += f", {', '.join(come)} among them" if come else ""
    return was, now


def worst_kind(found: Iterable[Difference]) -> str:
    """The kind that a reviewer looks at first."""
    kinds = {row.kind for one in found for row in one.rows} | {one.kind for one in found}
    return next((kind.value for kind in ORDER if kind in kinds), Kind.SAME.value)


def rows_in_order(one: Difference) -> list[Row]:
    """The rows of a difference, those first that a reviewer looks at first."""
    return sorted(one.rows, key=lambda row: ORDER.index(row.kind))


def heading(one: Difference) -> str:
    """`id, revision 1 → 2`."""
    old, new = one.old, one.new
    rule = new or old
    assert rule is not None
    if old is None or new is None:
        said = "a new rule" if old is None else "withdrawn"
        return f"{rule.id}, revision {rule.revision}: {said}"
    if old.id != new.id:
        return f"{old.id}, revision {old.revision} → {new.id}, revision {new.revision}"
    if old.revision == new.revision:
        return f"{new.id}, revision {new.revision}"
    return f"{new.id}, revision {old.revision} → {new.revision}"


def row_title(row: Row) -> str:
    """What a row is about."""
    one = row.new or row.old
    name = row.subject.removeprefix("requirements.")
    return name if one is None else f"{one.title} ({name})"


def stated_reason(change: Change | None) -> str:
    """Why, who agreed and when, as the rule states it; empty where it does not."""
    if change is None:
        return ""
    return f"{change.reason}; agreed by {change.agreed_by}, {change.date.isoformat()}"


def summary(one: Difference) -> str:
    """How many rows there are of each kind."""
    count = Counter(row.kind for row in one.rows)
    return ", ".join(f"{count[kind]} {kind.value}" for kind in ORDER if kind in count)


def change_text(key: KeyChange, row: Row) -> str:
    """One key of a row: what it was and what it is."""
    name = "" if key.key in ("requirement", row.subject) else f"{key.key}: "
    return f"{name}{key.was} → {key.now}" if key.was and key.now else f"{name}{key.was or key.now}"


def difference_data(one: Difference) -> dict[str, Any]:
    """A difference as plain data."""
    return {
        "old": _rule(one.old),
        "new": _rule(one.new),
        "kind": one.kind.value,
        "same_revision": one.same_revision,
        "rows": [
            {
                "subject": row.subject,
                "kind": row.kind.value,
                "details": [key._asdict() | {"kind": key.kind.value} for key in describe_row(row)],
                "stated": stated_reason(row.stated) or None,
            }
            for row in one.rows
        ],
    }


def _rule(rule: Rule | None) -> dict[str, Any] | None:
    if rule is None:
        return None
    return {"id": rule.id, "revision": rule.revision, "digest": rule.digest}
