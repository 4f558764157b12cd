"""What a house rule asks otherwise than the rule that it extends, and what that changes here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from compliance.grading.decide import inside
from compliance.model import Change, Finding, Limits, Requirement, Rule, Value, Verdict
from compliance.report.numbers import format_requirement_limits, format_value
from compliance.report.report import HouseChange
from compliance.report.rules_diff import KeyChange, describe_row
from compliance.report.words.en import house as words
from compliance.report.words.en.rules import (
    changed_requirement,
    changed_words,
    requirement_unit,
)
from compliance.rules.compare import Row, difference
from compliance.rules.compare_parts import Kind, limit_key

LIMITS = {"limits", "bands", "by_patch"}
WORDS = {"title", "basis", "clause", "level"}
"""Keys that do not change whether a value is inside limits."""


def house_sentence(rule: Rule, parent: Rule | None) -> str:
    """Say beside the verdict how a house rule changes what it extends; empty for other rules."""
    if rule.extends is None:
        return ""
    if parent is None:
        return words.unknown_parent(rule)
    rows = difference(parent, rule).rows
    changed = [(row.kind, _subject(row)) for row in rows if row.old or row.new]
    others = [row.subject for row in rows if _is_other(row)]
    return words.summary(rule, changed, others)


def _is_other(row: Row) -> bool:
    """Return whether a row is of more than a requirement, and not provably stricter."""
    return not row.subject.startswith("requirements.") and not row.kind.harmless


def house_changes(
    rule: Rule, parent: Rule | None, findings: Iterable[Finding]
) -> tuple[HouseChange, ...]:
    """List what is not provably as strict as in the parent, or is stated as changed.

    `parent` is None where the rule that was extended is not shipped: then only what the house
    rule states itself is known.
    """
    if rule.extends is None:
        return ()
    if parent is None:
        return tuple(_stated(change, rule) for change in rule.changes)
    known = {finding.id: finding for finding in findings}
    found = difference(parent, rule)
    rows = [row for row in found.rows if row.stated is not None or not row.kind.harmless]
    told = {row.subject for row in rows}
    more = (change for change in rule.changes if change.subject not in told)
    return (
        *(_compared(row, rule, known) for row in rows),
        *(_stated(change, rule) for change in more),
    )


def _stated(change: Change, rule: Rule) -> HouseChange:
    requirement = changed_requirement(change, rule)
    here = words.WITHDRAWN if change.withdrawn else ""
    if requirement is not None and not change.withdrawn:
        here = _limits(requirement)
    return HouseChange(changed_words(change, rule), words.NOT_KNOWN, here, "", *_why(change))


def _compared(row: Row, rule: Rule, findings: Mapping[str, Finding]) -> HouseChange:
    was, here = _sides(row)
    met = ""
    if row.old is not None:
        finding = findings.get(row.old.id)
        met = words.met(_met(row, finding), format_value(finding) if finding else "")
    return HouseChange(_subject(row), was, here, met, *_why(row.stated))


def _subject(row: Row) -> str:
    requirement = row.new or row.old
    return requirement.title if requirement else words.subject(row.subject)


def _sides(row: Row) -> tuple[str, str]:
    """Return what the parent asks and what the rule asks."""
    if row.new is None and row.old is not None:
        return _limits(row.old), words.WITHDRAWN
    changes = [each for each in describe_row(row) if each.kind is not Kind.REWORDED]
    if not changes and row.old is not None and row.new is not None:
        return _limits(row.old), _limits(row.new)
    return _side(changes, "was"), _side(changes, "now")


def _side(changes: Iterable[KeyChange], side: str) -> str:
    parts = (
        getattr(each, side) if each.key in LIMITS else f"{each.key}: {getattr(each, side)}"
        for each in changes
    )
    return "; ".join(parts)


def _limits(requirement: Requirement) -> str:
    return "; ".join(format_requirement_limits(requirement, requirement_unit(requirement)))


def _why(change: Change | None) -> tuple[str, str]:
    return words.why(change) if change else (words.NO_REASON, "")


# ---------------------------------------------------------------- would the parent's be met


def _met(row: Row, finding: Finding | None) -> bool | None:
    """Return whether what was measured meets the parent's limits; None if it cannot be told."""
    old, new = row.old, row.new
    if old is None or new is None or finding is None or finding.value is None:
        return None
    if not {detail.key for detail in row.details} <= LIMITS | WORDS:
        return None
    if finding.verdict is Verdict.NOT_ASSESSED:
        return None
    points = [point for point in finding.points if point.verdict is not None]
    if finding.statistic != "each" or not points:
        return None if old.limits is None else _inside(finding.value, old.limits)
    met = [
        None if limits is None else _inside(point.value, limits)
        for point in points
        for limits in [_limits_of(point.name, point.limits, old, new)]
    ]
    if False in met:
        return False
    return None if None in met else True


def _limits_of(name: str, here: Limits | None, old: Requirement, new: Requirement) -> Limits | None:
    """Return the parent's limits of a patch; None if they cannot be told."""
    if old.limits is not None:
        return old.limits
    if limit_key(old) != limit_key(new):
        return None
    if old.by_patch:
        return old.by_patch.get(name)
    if [band.upto for band in old.bands] != [band.upto for band in new.bands]:
        return None
    pairs = zip(old.bands, new.bands, strict=True)
    same = {was.limits for was, now in pairs if now.limits == here}
    return same.pop() if len(same) == 1 else None


def _inside(value: Value | None, limits: Limits) -> bool | None:
    """Return whether a value is inside limits; None if it is not of their kind."""
    if value is None or isinstance(value, tuple) != (limits.box is not None):
        return None
    return inside(value, limits)
