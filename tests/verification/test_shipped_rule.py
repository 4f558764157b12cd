"""The rule of a sheet: the shipped one, the client's own copy, or one that nobody knows."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from helpers import near_limit
from helpers.evidence_of_a_slot import evidence, mended, sealed, with_rule
from helpers.shipped import RULES, shipped_rule
from helpers.signing import identity

from compliance.model import Rule
from compliance.model.results import KnownRules, Status, Step, known_rules
from compliance.report.verification import sheet_outcome, step_details, step_text
from compliance.rules.departures import unrecorded_departures
from compliance.rules.library import load_rule, rule_from_resolved
from compliance.verification import verify_sheet
from compliance.verification.shipped_rule import check_rule

ME = [identity().pem]
NONE = KnownRules()
RECORD = "change: {reason: smaller room, agreed_by: Cleo Client, date: 2026-11-02}"


def found(rule: Rule, *given: Rule | str) -> tuple[str, str]:
    step = check_rule(rule, known_rules(given))
    return str(step.status), step.result.kind


def edited(rule: Rule, change: Callable[[dict[str, Any]], object]) -> Rule:
    """The rule as somebody with a text editor leaves it."""
    resolved = json.loads(json.dumps(rule.resolved))
    change(resolved)
    return rule_from_resolved(resolved)


@pytest.fixture
def house(tmp_path: Path) -> Callable[..., Rule]:
    """Writes and loads a house rule."""

    def load(text: str, name: str = "house") -> Rule:
        file = tmp_path / f"{name}.yaml"
        head = f"rule: {name}\ntitle: A house's own\nrevision: 1\n"
        file.write_text(head + text, encoding="utf-8")
        return load_rule(file)

    return load


LOOSER = f"""\
extends: sdr-broadcast@2
requirements:
  black-level: {{limits: {{max: 0.5}}, {RECORD}}}
"""


def test_a_rule_as_it_is_shipped() -> None:
    assert found(load_rule("sdr-broadcast")) == ("ok", "rule-shipped")
    for name, today in (
        ("sdr-broadcast@1", "sdr-broadcast@2"),
        ("hdr-hlg-grade-1@1", "hdr-hlg-grade-1a, hdr-hlg-grade-1b"),
    ):
        step = check_rule(load_rule(name), NONE)
        name, _, revision = name.partition("@")
        assert (step.status, step_text(step)) == (
            Status.OK,
            f"{name}, revision {revision}, as it was shipped; today's is {today}",
        )


@pytest.mark.parametrize("name", RULES[:3])
def test_an_edited_rule_under_a_shipped_name(name: str) -> None:
    def widen(resolved: dict[str, Any]) -> None:
        resolved["decision"] = {"confidence": 0.6}

    rule = edited(shipped_rule(name), widen)
    assert found(rule) == ("fail", "rule-altered")
    assert found(rule, rule, rule.digest) == ("fail", "rule-altered")
    step = check_rule(rule, NONE)
    assert step_text(step) == (
        f"it is not {name}, revision {rule.revision}, as it is shipped: SHA-256 "
        f"{shipped_rule(name).digest} expected, {rule.digest} attached"
    )
    assert step_details(step) == ["differs: decision"]


def test_revisions_that_are_not_shipped(monkeypatch: pytest.MonkeyPatch) -> None:
    later = edited(shipped_rule("sdr-broadcast"), lambda rule: rule.update(revision=9))
    assert found(later) == ("unknown", "rule-newer")
    assert found(later, later.digest) == ("ok", "rule-given")
    module = "compliance.verification.shipped_rule"
    monkeypatch.setattr(f"{module}.shipped_rule", lambda name, revision: None)
    monkeypatch.setattr(f"{module}.shipped_revisions", lambda name: [3, 10])
    assert found(later) == ("fail", "rule-never-shipped")


def test_a_rule_of_the_house_is_known_by_the_clients_copy(house: Callable[..., Rule]) -> None:
    rule = near_limit.rule()
    assert found(rule) == ("unknown", "rule-unshipped")
    assert found(rule, rule.digest) == ("ok", "rule-given")
    assert found(rule, rule) == ("ok", "rule-given")
    other = near_limit.rule(106.0)
    assert found(other, rule) == ("fail", "rule-unlike-given")
    assert step_details(check_rule(other, known_rules([rule]))) == [
        "differs: requirements.white-level"
    ]
    assert found(house(LOOSER)) == ("unknown", "rule-unshipped")


def test_every_departure_needs_its_record(house: Callable[..., Rule]) -> None:
    rule = house(LOOSER)
    assert found(rule, rule) == ("ok", "rule-given")
    bare = edited(rule, lambda resolved: resolved.pop("changes"))
    for given in ((), (bare.digest,)):
        assert found(bare, *given) == ("fail", "departures-unrecorded")
    assert step_details(check_rule(bare, NONE)) == ["differs: requirements.black-level"]

    def further(resolved: dict[str, Any]) -> None:
        resolved["decision"] = {"confidence": 0.6}
        resolved["requirements"] = [
            each for each in resolved["requirements"] if each["id"] != "white-level"
        ]

    assert unrecorded_departures(edited(rule, further), shipped_rule("sdr-broadcast")) == (
        "decision",
        "requirements.white-level",
    )


def test_tighter_needs_no_record(house: Callable[..., Rule]) -> None:
    text = "extends: sdr-broadcast@2\ndecision: {acceptance: guarded}\n"
    rule = house(text)
    assert found(rule, rule) == ("ok", "rule-given")


def test_a_parent_of_the_house_too(house: Callable[..., Rule]) -> None:
    parent = house(LOOSER)
    child = house("extends: house@1\nvalid_for: {days: 5}\n", "room")
    assert found(child, child) == ("unknown", "rule-parent-unknown")
    assert found(child, child, parent) == ("ok", "rule-given")
    bare = edited(child, lambda resolved: resolved.pop("changes"))
    assert found(bare, bare, parent) == ("fail", "departures-unrecorded")
    looser = edited(
        child,
        lambda resolved: next(
            each for each in resolved["requirements"] if each["id"] == "black-level"
        ).update(limits={"max": 9}),
    )
    assert found(looser, looser, parent) == ("fail", "departures-unrecorded")


def test_a_parent_of_a_revision_that_is_not_here(house: Callable[..., Rule]) -> None:
    rule = edited(house(LOOSER), lambda resolved: resolved.update(extends="sdr-broadcast@7"))
    assert found(rule, rule) == ("unknown", "rule-parent-unknown")


# ---------------------------------------------------------------- of a sheet


def rule_step(data: bytes, *given: Rule | str) -> tuple[int, Step, list[str]]:
    sheet = verify_sheet(data, trust=ME, rules=given)
    return sheet.exit_code, sheet.steps[6], sheet_outcome(sheet)


def test_a_text_editor_in_the_shipped_rules_does_not_help() -> None:
    code, step, lines = rule_step(sealed(mended(with_rule())))
    assert (code, step.status) == (1, Status.FAIL)
    assert "differs: requirements.black-level" in step_details(step)
    assert lines[0] == "Not valid: do not rely on this sheet."


def test_a_sheet_by_a_rule_that_nobody_ships_says_so_first() -> None:
    code, step, lines = rule_step(near_limit.sheet())
    assert (code, step.status) == (3, Status.UNKNOWN)
    assert lines[0].startswith("Its rule was not proven: nobody ships tiny, revision 1: SHA-256")
    code, step, lines = rule_step(near_limit.sheet(), near_limit.rule().digest)
    assert (code, step.status) == (0, Status.OK)
    assert lines[0].startswith("Valid: ")


def test_a_rule_that_cannot_be_compared_is_a_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_: object) -> Rule:
        raise ZeroDivisionError

    monkeypatch.setattr("compliance.verification.shipped_rule.shipped_by_pin", broken)
    code, step, _ = rule_step(sealed(evidence()))
    assert (code, step.status, step.result.kind) == (1, Status.FAIL, "not-computable")
