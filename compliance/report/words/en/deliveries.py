"""What the page of a delivery says of all its sheets."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from compliance.report.numbers import format_plain
from compliance.report.words.en.grammar import counted

LIMITS = ("level", "limits", "bands", "by_patch")
"""Keys of a requirement, as in a rule file, that say how strict it is."""


def outcomes(words: Sequence[str]) -> str:
    """How many sheets there are, and how many of each verdict."""
    parts = [f"{count} {word}" for word, count in Counter(words).items()]
    return f"{counted(len(words), 'sheet')}: {'; '.join(parts)}."


def judged(slot: str | None, title: str) -> str:
    """What a sheet judged, and for which deliverable."""
    return f"Display slot {slot} for: {title}" if slot else f"For: {title}"


def next_end(times: Sequence[str]) -> str:
    """The first end of validity of the sheets that allow something; `times` ascending."""
    if not times:
        return ""
    others = f"; the last by {times[-1]}" if times[-1] != times[0] else ""
    return f"Measure again by {times[0]}{others}."


def house_rules(changes: Mapping[str, int]) -> str:
    """How many changes the house rules state, by rule."""
    if not any(changes.values()):
        return "No house rule changes what it extends."
    parts = (f"{counted(count, 'change')} by {rule}" for rule, count in changes.items() if count)
    return f"House rules: {', '.join(parts)}; listed below."


def deviations(count: int, sheets: int) -> str:
    """How many values outside their limits are accepted."""
    if not count:
        return "No deviation is accepted."
    values = counted(count, "value outside its limits is", "values outside their limits are")
    return f"{values} accepted, in {counted(sheets, 'sheet')}."


def asked(value: Any) -> str:
    """A value of a rule file in one line; of a requirement what says how strict it is."""
    if isinstance(value, Mapping):
        keys = LIMITS if "id" in value or "limits" in value else tuple(value)
        return "; ".join(_pair(key, value[key]) for key in keys if key in value)
    if isinstance(value, Sequence) and not isinstance(value, str):
        return ", ".join(asked(each) for each in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return format_plain(value) if isinstance(value, int | float) else str(value)


def _pair(key: str, value: Any) -> str:
    if key == "limits" and isinstance(value, Mapping):
        return ", ".join(_pairs(value.items()))
    return f"{key.replace('_', ' ')} {asked(value)}"


def _pairs(items: Iterable[tuple[str, Any]]) -> Iterable[str]:
    return (f"{key} {asked(value)}" for key, value in items)
