"""A difference between two rules in words: what it was, what it is."""

from __future__ import annotations

from typing import Any, NamedTuple

from compliance.model import Over, PatchSet, Requirement
from compliance.rules.compare import Detail
from compliance.rules.diff import Row
from compliance.rules.kinds import Kind
from compliance.wording import format_plain, over_words
from compliance.wording.rules import asked_words, limits_words, set_words

__all__ = ["Told", "told"]

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


class Told(NamedTuple):
    """One key of a row."""

    key: str
    kind: Kind
    was: str
    now: str


def told(row: Row) -> tuple[Told, ...]:
    """The keys in which a row differs; of one that is new or gone all that it asks."""
    if row.kind in (Kind.ADDED, Kind.WITHDRAWN):
        was = _whole(row.old) if row.old else ""
        now = _whole(row.new) if row.new else ""
        return (Told("requirement", row.kind, was, now),)
    return tuple(_detail(detail) for detail in row.details)


def _whole(requirement: Requirement) -> str:
    return f"{requirement.level.value}: {asked_words(requirement)}"


def _detail(detail: Detail) -> Told:
    if detail.key in ("form", "order", "changes"):
        said = {
            "form": "written differently, the same in effect",
            "order": "in another order",
            "changes": "other reasons are stated",
        }[detail.key]
        return Told(detail.key, detail.kind, "", said)
    if _is_list(detail.old) and _is_list(detail.new):
        was, now = _lists(detail.old, detail.new)
    else:
        unit = UNITS.get(detail.key, "")
        was, now = (_value(value) + (unit if value else "") for value in (detail.old, detail.new))
    return Told(detail.key, detail.kind, was, now)


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
