"""The effect of a change of a rule, in words and as plain data: keys, rows, headings, counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any, NamedTuple

from compliance.model import Change, NotCovered, Over, PatchSet, Requirement, Rule
from compliance.report.numbers import format_plain
from compliance.report.words.en.rules import (
    accepted_words,
    asked_words,
    clause_words,
    limits_words,
    over_words,
    set_words,
    why_words,
)
from compliance.rules.compare import Detail, Difference, Row
from compliance.rules.compare_parts import Kind

ORDER = (Kind.LOOSENED, Kind.WITHDRAWN, Kind.CHANGED, Kind.ADDED, Kind.TIGHTENED, Kind.REWORDED)
"""The order in which a reviewer looks at them."""

RAISE = "The text was changed, but not the revision: raise the revision."
NOT_STATED = "not stated"
UNITS = {
    "valid_for": " days",
    "window": "\u00a0% of area",
    "floor": "\u00a0cd/m²",
    "target.black_level": "\u00a0cd/m²",
    "target.luminance_white": "\u00a0cd/m²",
    "target.luminance_peak": "\u00a0cd/m²",
}
"""Units of keys whose value is a number."""


class KeyChange(NamedTuple):
    """One key of a row, before and after."""

    key: str
    kind: Kind
    was: str
    now: str


def describe_row(row: Row) -> tuple[KeyChange, ...]:
    """Describe the keys in which a row differs; of a new or withdrawn one all that it asks."""
    if row.kind in (Kind.ADDED, Kind.WITHDRAWN):
        was = _whole(row.old) if row.old else ""
        now = _whole(row.new) if row.new else ""
        return (KeyChange("requirement", row.kind, was, now),)
    return tuple(_detail(detail) for detail in row.details)


def _whole(requirement: Requirement) -> str:
    return f"{requirement.level.value}: {asked_words(requirement)}"


def _detail(detail: Detail) -> KeyChange:
    if detail.key in ("form", "order", "changes"):
        text = {
            "form": "written differently, with the same effect",
            "order": "in another order",
            "changes": "other reasons stated",
        }[detail.key]
        return KeyChange(detail.key, detail.kind, "", text)
    if detail.key in ("added", "removed"):
        was, now = (_entry(value) if value else "" for value in (detail.old, detail.new))
    elif _is_list(detail.old) and _is_list(detail.new):
        was, now = _lists(detail.old, detail.new)
    else:
        unit = UNITS.get(detail.key, "")
        was, now = (_value(value) + (unit if value else "") for value in (detail.old, detail.new))
    return KeyChange(detail.key, detail.kind, was, now)


def _entry(value: Any) -> str:
    """Describe an entry of a list: a clause that is not covered, or an accepted display."""
    if isinstance(value, NotCovered):
        return f"{clause_words(value)}. {why_words(value)}"
    return accepted_words(value.accepted, value.target)


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
    """Describe two lists with the names that are only in one, or have other codes there."""
    after, before = dict(new.patches), dict(old.patches)
    gone = [name for name, codes in old.patches if after.get(name) != codes]
    added = [name for name, codes in new.patches if before.get(name) != codes]
    was, now = set_words(old), set_words(new)
    was += f", including {', '.join(gone)}" if gone else ""
    now += f", including {', '.join(added)}" if added else ""
    return was, now


def worst_kind(differences: Iterable[Difference]) -> str:
    """Return the kind that a reviewer looks at first."""
    every = list(differences)
    kinds = {row.kind for each in every for row in each.rows} | {each.kind for each in every}
    return next((kind.value for kind in ORDER if kind in kinds), Kind.SAME.value)


def rows_in_order(difference: Difference) -> list[Row]:
    """Sort the rows of a difference in a reviewer's order."""
    return sorted(difference.rows, key=lambda row: ORDER.index(row.kind))


def heading(difference: Difference) -> str:
    """Name a rule and its change: `id, revision 1 → 2`."""
    old, new = difference.old, difference.new
    rule = new or old
    assert rule is not None
    if old is None or new is None:
        state = "a new rule" if old is None else "withdrawn"
        return f"{rule.id}, revision {rule.revision}: {state}"
    if old.id != new.id:
        return f"{old.id}, revision {old.revision} → {new.id}, revision {new.revision}"
    if old.revision == new.revision:
        return f"{new.id}, revision {new.revision}"
    return f"{new.id}, revision {old.revision} → {new.revision}"


def row_title(row: Row) -> str:
    """Name the subject of a row."""
    requirement = row.new or row.old
    name = row.subject.removeprefix("requirements.")
    return name if requirement is None else f"{requirement.title} ({name})"


def stated_reason(change: Change | None) -> str:
    """Return why, who agreed and when, as the rule states it; empty if it does not."""
    if change is None:
        return ""
    return f"{change.reason}; agreed by {change.agreed_by}, {change.date.isoformat()}"


def summary(difference: Difference) -> str:
    """Count the rows of each kind."""
    count = Counter(row.kind for row in difference.rows)
    return ", ".join(f"{count[kind]} {kind.value}" for kind in ORDER if kind in count)


def change_text(key: KeyChange, row: Row) -> str:
    """Describe one key of a row: before and after."""
    name = "" if key.key in ("requirement", row.subject) else f"{key.key}: "
    return f"{name}{key.was} → {key.now}" if key.was and key.now else f"{name}{key.was or key.now}"


def difference_data(difference: Difference) -> dict[str, Any]:
    """Return a difference as plain data."""
    return {
        "old": _rule(difference.old),
        "new": _rule(difference.new),
        "kind": difference.kind.value,
        "same_revision": difference.same_revision,
        "rows": [
            {
                "subject": row.subject,
                "kind": row.kind.value,
                "details": [key._asdict() | {"kind": key.kind.value} for key in describe_row(row)],
                "stated": stated_reason(row.stated) or None,
            }
            for row in difference.rows
        ],
    }


def _rule(rule: Rule | None) -> dict[str, Any] | None:
    if rule is None:
        return None
    return {"id": rule.id, "revision": rule.revision, "digest": rule.digest}
