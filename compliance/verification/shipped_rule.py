"""The rule of a sheet (7): the shipped one of its id and revision, or the client's own copy.

A rule file can be edited by anybody who assesses. So the attached rule is held, by its digest,
against what this program ships (archived revisions and renamed rules too), and a rule that nobody
ships against the copies that the client gives. Departures of a house rule are worked out again
from its parent: each that is not provably tighter needs its record.
"""

from __future__ import annotations

from collections.abc import Iterable

from compliance.errors import RuleError
from compliance.model import Facts, Rule, Statement
from compliance.model.results import Check, KnownRules, Status, Step
from compliance.rules.compare import difference
from compliance.rules.departures import unrecorded_departures
from compliance.rules.library import known_revisions
from compliance.rules.load import PIN
from compliance.rules.parents import shipped_by_pin
from compliance.verification.steps import first_details

MOST_SUBJECTS = 12
"""Differing keys that are listed; the rest is counted."""


def check_rule(rule: Rule, known: KnownRules) -> Step:
    """Check that an attached rule is the one that is known by its id and revision (7)."""
    if (copy := shipped_rule(rule.id, rule.revision)) is not None:
        if copy.digest == rule.digest:
            return Step(Check.RULE, Status.OK, _as_shipped(copy))
        return _altered(Statement("rule-altered", _beside(rule, copy)), rule, copy)
    if shipped := shipped_revisions(rule.id):
        return _of_other_revision(rule, shipped[-1], known)
    if rule.extends is not None and (departed := _departed(rule, rule.extends, known)):
        return departed
    return _of_house(rule, known)


def _as_shipped(rule: Rule) -> Statement:
    """Say that a rule is as shipped, and of an archived one what is shipped today."""
    if rule.archived is None:
        return Statement("rule-shipped", _facts(rule))
    today = rule.archived.replaced_by or (rule.archived.newest,)
    return Statement("rule-archived", {**_facts(rule), "today": ", ".join(today)})


def shipped_rule(name: str, revision: int) -> Rule | None:
    """Return the rule of an id and revision as it is shipped, or archived; None if none is."""
    return shipped_by_pin(f"{name}@{revision}")


def shipped_revisions(name: str) -> list[int]:
    """Return the revisions of a shipped rule, ascending; empty if no rule of that id is."""
    try:
        return known_revisions(name)
    except RuleError:
        return []


def _of_other_revision(rule: Rule, newest: int, known: KnownRules) -> Step:
    """Judge a shipped rule's id with a revision that is not shipped."""
    if rule.digest in known.digests:
        return Step(Check.RULE, Status.OK, Statement("rule-given", _facts(rule)))
    facts: Facts = {**_facts(rule), "newest": newest}
    if rule.revision > newest:
        return Step(Check.RULE, Status.UNKNOWN, Statement("rule-newer", facts))
    return Step(Check.RULE, Status.FAIL, Statement("rule-never-shipped", facts))


def _of_house(rule: Rule, known: KnownRules) -> Step:
    facts = _facts(rule)
    if rule.digest in known.digests:
        return Step(Check.RULE, Status.OK, Statement("rule-given", facts))
    copy = known.find(rule.id, rule.revision)
    if copy is not None:
        return _altered(Statement("rule-unlike-given", _beside(rule, copy)), rule, copy)
    return Step(Check.RULE, Status.UNKNOWN, Statement("rule-unshipped", facts))


def _departed(rule: Rule, pin: str, known: KnownRules) -> Step | None:
    """Return what is wrong with a house rule's departures; None if each is agreed to."""
    facts: Facts = {**_facts(rule), "parent": pin}
    parent = _parent(pin, known)
    if parent is None:
        return Step(Check.RULE, Status.UNKNOWN, Statement("rule-parent-unknown", facts))
    unrecorded = unrecorded_departures(rule, parent)
    if not unrecorded:
        return None
    result = Statement("departures-unrecorded", facts)
    return Step(Check.RULE, Status.FAIL, result, _subjects(unrecorded))


def _parent(pin: str, known: KnownRules) -> Rule | None:
    """Return the rule `id@revision` as it is shipped, else the client's copy."""
    found = PIN.fullmatch(pin)
    if found is None:
        return None
    name, revision = found[1], int(found[2])
    return shipped_rule(name, revision) or known.find(name, revision)


def _altered(result: Statement, rule: Rule, copy: Rule) -> Step:
    """Tell in which keys a rule differs from the copy that it should be."""
    rows = difference(copy, rule).rows
    return Step(Check.RULE, Status.FAIL, result, _subjects([row.subject for row in rows]))


def _beside(rule: Rule, copy: Rule) -> Facts:
    return {**_facts(rule), "expected": copy.digest}


def _subjects(subjects: Iterable[str]) -> tuple[Statement, ...]:
    keys = (Statement("rule-key", {"key": subject}) for subject in subjects)
    return first_details(keys, MOST_SUBJECTS)


def _facts(rule: Rule) -> Facts:
    return {"id": rule.id, "revision": rule.revision, "found": rule.digest}
