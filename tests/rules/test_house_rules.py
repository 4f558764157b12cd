"""House rules: what merges how, what needs a change, what the sheet is told."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest
from helpers.sample_text import HOUSE, RULE, complaint, edited, rule_folder, write

from compliance.errors import RuleError
from compliance.model import Band, Change, Decision, Level, Limits, Requirement, Rule
from compliance.plain_data import canonical_bytes
from compliance.rules.library import load_rule, rule_from_resolved

HEAD = "rule: house\nextends: sdr@1\ntitle: Ours\nrevision: 1\n"
CHANGE = "change: {reason: a, agreed_by: b, date: 2026-11-02}"
CHANGES = "changes: {%s: {reason: a, agreed_by: b, date: 2026-11-02}}\n"


def house(folder: Path, body: str) -> Rule:
    rule_folder(folder, house=HEAD + body)
    return load_rule(folder / "house.yaml")


def refused(folder: Path, body: str) -> str:
    rule_folder(folder, house=HEAD + body)
    with pytest.raises(RuleError) as failure:
        load_rule(folder / "house.yaml")
    return complaint(folder, failure)


def found(rule: Rule, name: str) -> Requirement:
    return next(one for one in rule.requirements if one.id == name)


def test_a_house_rule_is_its_parent_with_its_own_head(tmp_path: Path) -> None:
    rule = house(tmp_path, "")
    parent = load_rule(tmp_path / "sdr.yaml")
    assert (rule.id, rule.title, rule.revision, rule.extends) == ("house", "Ours", 1, "sdr@1")
    assert rule.requirements == parent.requirements
    assert (rule.target, rule.sets, rule.window) == (parent.target, parent.sets, parent.window)
    assert rule.digest != parent.digest
    assert [Path(file.path).name for file in rule.files] == ["house.yaml", "sdr.yaml", "steps.yaml"]


def test_changes_are_listed(tmp_path: Path) -> None:
    rule_folder(tmp_path, house=HOUSE)
    rule = load_rule(tmp_path / "house.yaml")
    assert rule.changes == (
        Change("requirements.white-level", "brighter room", "the client", date(2026, 11, 2)),
    )
    assert found(rule, "white-level").limits == Limits(maximum=120.0)


def test_a_withdrawn_requirement_is_gone_and_listed(tmp_path: Path) -> None:
    rule = house(tmp_path, f"requirements:\n  contrast: {{withdraw: true, {CHANGE}}}\n")
    assert "contrast" not in [one.id for one in rule.requirements]
    assert rule.changes == (
        Change("requirements.contrast", "a", "b", date(2026, 11, 2), withdrawn=True),
    )


def test_fields_merge_one_level_deep(tmp_path: Path) -> None:
    rule = house(tmp_path, "requirements:\n  grey-balance: {title: Greys}\n")
    before = found(load_rule(tmp_path / "sdr.yaml"), "grey-balance")
    after = found(rule, "grey-balance")
    assert (after.title, after.over, after.reference) == ("Greys", before.over, before.reference)


def test_over_replaces_whole(tmp_path: Path) -> None:
    body = f"requirements:\n  grey-balance: {{over: {{patches: grey}}, {CHANGE}}}\n"
    over = found(house(tmp_path, body), "grey-balance").over
    assert over is not None
    assert over.target is None


@pytest.mark.parametrize(
    ("written", "limits", "bands"),
    [
        ("limits: {within: 4}", Limits(-4.0, 4.0), ()),
        ("bands: [{within: 4}]", None, (Band(None, Limits(-4.0, 4.0)),)),
    ],
)
def test_limits_and_bands_replace_one_another(
    tmp_path: Path, written: str, limits: Limits | None, bands: tuple[Band, ...]
) -> None:
    after = found(house(tmp_path, f"requirements:\n  tracking: {{{written}}}\n"), "tracking")
    assert (after.limits, after.bands) == (limits, bands)


def test_limits_replace_those_by_patch(tmp_path: Path) -> None:
    body = f"requirements:\n  primary-level: {{limits: {{max: 90}}, {CHANGE}}}\n"
    after = found(house(tmp_path, body), "primary-level")
    assert (after.limits, after.by_patch) == (Limits(maximum=90.0), {})


def test_limits_of_the_house_no_longer_claim_the_parents_document(tmp_path: Path) -> None:
    tighter = found(
        house(tmp_path, "requirements:\n  black-level: {limits: {max: 0.04}}\n"), "black-level"
    )
    assert (tighter.basis, tighter.clause) == ("house", None)
    body = "requirements:\n  black-level: {limits: {max: 0.04}, basis: memory, clause: 7.1}\n"
    stated = found(house(tmp_path, body), "black-level")
    assert (stated.basis, stated.clause) == ("memory", "7.1")
    same = found(
        house(tmp_path, "requirements:\n  black-level: {limits: {max: 0.05}}\n"), "black-level"
    )
    assert (same.basis, same.clause) == ("digest", "EBU Tech 3320 v4.1")


def test_defaults_go_to_new_requirements_only(tmp_path: Path) -> None:
    body = (
        "defaults: {level: should, basis: house}\nrequirements:\n"
        "  white-low: {quantity: luminance, over: white, limits: {min: 80}}\n"
        "  black-level: {limits: {max: 0.04}}\n"
    )
    rule = house(tmp_path, body)
    assert found(rule, "white-low").level is Level.SHOULD
    assert found(rule, "black-level").level is Level.SHALL


def test_sets_replace_by_name_and_new_ones_need_no_reason(tmp_path: Path) -> None:
    rule = house(tmp_path, "patches: {more: {repeats: 5, of: black}}\n")
    assert list(rule.sets) == ["grey", "primaries", "steps", "edges", "sizes", "again", "more"]
    body = "patches: {grey: {ramp: neutral, steps: 11}}\n" + CHANGES % "patches"
    rule = house(tmp_path, body)
    assert rule.sets["grey"].steps == 11
    assert rule.sets["edges"].positions
    assert [change.subject for change in rule.changes] == ["patches"]


def test_target_signal_and_decision_merge_one_level(tmp_path: Path) -> None:
    rule = house(tmp_path, "target: {luminance: {white: 120}}\n" + CHANGES % "target")
    assert (rule.target.luminance_white, rule.target.curve) == (120.0, "bt1886")
    rule = house(tmp_path, "decision: {acceptance: guarded}\n")
    assert rule.decision == Decision("guarded", 0.95)
    rule = house(tmp_path, "signal: {encoding: rgb-8-full}\n" + CHANGES % "signal")
    assert rule.encoding.name == "rgb-8-full"


@pytest.mark.parametrize(
    "body",
    [
        "valid_for: {days: 20}\n",
        "decision: {acceptance: guarded, confidence: 0.99}\n",
        "decision: {confidence: 0.95}\n",
        "target: {primaries: {red: [0.64, 0.33], green: [0.3, 0.6], blue: [0.15, 0.06]}}\n",
        "patches: {grey: {ramp: neutral, steps: 21}}\n",
        "window: 100\n",
        "requirements:\n  contrast: {level: shall}\n",
        "requirements:\n  contrast: {limits: {min: 1200}}\n",
        "requirements:\n  black-level: {limits: {max: 0.05, exclusive: true}}\n",
        "requirements:\n  white-chromaticity: {limits: {box: [0.002, 0.001]}}\n",
        "requirements:\n  tracking:\n"
        "    bands: [{upto: 5, within: 9}, {upto: 60, within: 5}, {within: 4}]\n",
        "requirements:\n  tracking: {limits: {within: 5}}\n",
        "requirements:\n  grey-balance: {unit: 1, title: Greys}\n",
        "requirements:\n  primary-level: {by_patch: {red: {nominal: 21.2, within_percent: 4}, "
        "green: {nominal: 71.5, within_percent: 5}, blue: {min: 7, max: 7.4}}}\n",
    ],
)
def test_what_is_provably_tighter_needs_no_reason(tmp_path: Path, body: str) -> None:
    assert house(tmp_path, body).changes == ()


@pytest.mark.parametrize(
    ("body", "where"),
    [
        ("valid_for: {days: 31}\n", "valid_for"),
        ("decision: {confidence: 0.9}\n", "decision"),
        ("decision: {acceptance: guarded, confidence: 0.9}\n", "decision"),
        ("window: 50\n", "window"),
        ("target: {scale: absolute}\n", "target"),
        ("target: {black_level: 0}\n", "target"),
        ("target: {container: bt2020}\n", "target"),
    ],
)
def test_other_keys_that_are_not_need_one(tmp_path: Path, body: str, where: str) -> None:
    said = refused(tmp_path, body)
    assert said.split(": ")[1] == where
    assert "not provably tighter than in sdr@1" in said


@pytest.mark.parametrize(
    ("entry", "where"),
    [
        ("black-level: {level: should}", "black-level.level"),
        ("black-level: {limits: {max: 0.051}}", "black-level.limits"),
        ("black-level: {limits: {min: 0.01}}", "black-level.limits"),
        ("black-level: {over: white}", "black-level.over"),
        ("black-level: {basis: published}", "black-level.basis"),
        ("black-level: {statistic: mean}", "black-level.statistic"),
        ("black-level: {displays: projector}", "black-level.displays"),
        ("grey-balance: {reference: target}", "grey-balance.reference"),
        ("tracking: {floor: 5}", "tracking.floor"),
        ("tracking: {above_black: true}", "tracking.above_black"),
        ("tracking: {limits: {within: 6}}", "tracking.limits"),
        ("tracking: {bands: [{upto: 11, within: 10}, {within: 5}]}", "tracking.bands"),
        ("white-chromaticity: {limits: {box: [0.001, 0.0021]}}", "white-chromaticity.limits"),
        ("surround: {field: ambient}", "surround.field"),
        ("dimming: {declaration: other}", "dimming.declaration"),
        ("contrast: {quantity: checkerboard-contrast}", "contrast.quantity"),
    ],
)
def test_requirements_that_are_not_need_one(tmp_path: Path, entry: str, where: str) -> None:
    said = refused(tmp_path, f"requirements:\n  {entry}\n")
    assert said.split(": ")[1] == f"requirements.{where}"
    assert "not provably tighter than in sdr@1" in said


def test_an_exclusive_limit_made_inclusive_is_looser(tmp_path: Path) -> None:
    strict = edited(RULE, "{max: 0.05}", "{max: 0.05, exclusive: true}")
    rule_folder(
        tmp_path, sdr=strict, house=HEAD + "requirements:\n  black-level: {limits: {max: 0.05}}\n"
    )
    with pytest.raises(RuleError):
        load_rule(tmp_path / "house.yaml")


def test_the_parents_changes_stay_listed_down_the_line(tmp_path: Path) -> None:
    below = HEAD.replace("house", "room").replace("sdr@1", "house@3")
    below += f"requirements:\n  white-level: {{limits: {{max: 130}}, {CHANGE}}}\n"
    rule_folder(tmp_path, house=HOUSE, room=below)
    rule = load_rule(tmp_path / "room.yaml")
    assert rule.extends == "house@3"
    assert [(change.subject, change.reason) for change in rule.changes] == [
        ("requirements.white-level", "brighter room"),
        ("requirements.white-level", "a"),
    ]
    again = rule_from_resolved(json.loads(canonical_bytes(rule.resolved)), rule.files)
    assert again == rule


def test_a_circle_of_parents_is_refused(tmp_path: Path) -> None:
    one = HEAD.replace("sdr@1", "other@1")
    other = HEAD.replace("rule: house", "rule: other").replace("sdr@1", "house@1")
    rule_folder(tmp_path, house=one, other=other)
    with pytest.raises(RuleError) as failure:
        load_rule(tmp_path / "house.yaml")
    assert complaint(tmp_path, failure) == (
        "other.yaml:2: extends: circular parents: house → other → house"
    )


def test_a_line_of_parents_has_an_end(tmp_path: Path) -> None:
    texts = {
        f"level-{n}": f"rule: level-{n}\nextends: level-{n + 1}@1\ntitle: T\nrevision: 1\n"
        for n in range(20)
    }
    write(tmp_path, {f"{stem}.yaml": text for stem, text in texts.items()})
    with pytest.raises(RuleError, match="too many parents: level-0 → level-1 → "):
        load_rule(tmp_path / "level-0.yaml")


def test_a_rule_extends_a_shipped_one(tmp_path: Path) -> None:
    text = "rule: ours\nextends: sdr-broadcast@2\ntitle: Ours\nrevision: 1\n"
    write(tmp_path, {"ours.yaml": text})
    rule = load_rule(tmp_path / "ours.yaml")
    assert rule.files[1].path == "sdr-broadcast.yaml"
    assert rule.requirements == load_rule("sdr-broadcast").requirements
