"""What a rule means to let pass, and what its documents ask that it does not test."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from helpers.sample_text import RULE, complaint, edited, rule_folder

from compliance.errors import RuleError
from compliance.model import NotCovered, Rule
from compliance.plain_data import canonical_bytes
from compliance.report.rules_diff import describe_row
from compliance.report.words.en.rules import accepted_words
from compliance.rules.compare import difference
from compliance.rules.library import load_rule, rule_from_resolved, shipped_rules

COLOURS = "{clause: 'EBU Tech 3320 v4.1, 1.5.6', what: 15 test colours, why: codes not at hand}"
MOTION = "{clause: Client 4.2, what: moving pictures, why: no meter for them}"
POWER = "{target: {transfer: {curve: power, exponent: 2.2}}, reason: graded to either}"
ALLOWED = "changes: {target: {reason: a, agreed_by: b, date: 2026-11-02}}\n"


def parent(**lists: str) -> str:
    """A rule with lists of entries under top-level keys; its target stands in line 5."""
    return RULE + "".join(f"{key}: [{entries}]\n" for key, entries in lists.items())


def loaded(folder: Path, text: str, house: str | None = None) -> Rule:
    more = {} if house is None else {"house": f"rule: house\nextends: sdr@1\ntitle: Ours\n{house}"}
    rule_folder(folder, sdr=text, **more)
    return load_rule(folder / ("sdr.yaml" if house is None else "house.yaml"))


def refused(folder: Path, text: str, house: str | None = None) -> str:
    with pytest.raises(RuleError) as failure:
        loaded(folder, text, house)
    return complaint(folder, failure)


def again(rule: Rule) -> Rule:
    """The rule rebuilt from its resolved data, as from the evidence."""
    return rule_from_resolved(json.loads(canonical_bytes(rule.resolved)), rule.files)


# ---------------------------------------------------------------- not covered


def test_clauses_are_read_in_their_order_with_the_digest(tmp_path: Path) -> None:
    rule = loaded(tmp_path, parent(not_covered=f"{COLOURS}, {MOTION}"))
    assert rule.not_covered == (
        NotCovered("EBU Tech 3320 v4.1, 1.5.6", "15 test colours", "codes not at hand"),
        NotCovered("Client 4.2", "moving pictures", "no meter for them"),
    )
    assert again(rule) == rule
    assert again(rule).digest == rule.digest
    turned = loaded(tmp_path, parent(not_covered=f"{MOTION}, {COLOURS}"))
    assert turned.digest != rule.digest


def test_a_rule_without_the_keys_has_neither(tmp_path: Path) -> None:
    rule = loaded(tmp_path, RULE)
    assert (rule.not_covered, rule.accepts) == ((), ())
    empty = loaded(tmp_path, RULE + "not_covered: []\naccepts: []\n")
    assert empty.digest == rule.digest


def test_a_house_rule_adds_to_its_parents_clauses(tmp_path: Path) -> None:
    text = parent(not_covered=COLOURS)
    assert len(loaded(tmp_path, text, "revision: 1\n").not_covered) == 1
    rule = loaded(tmp_path, text, f"revision: 1\nnot_covered: [{MOTION}]\n")
    assert [entry.clause for entry in rule.not_covered] == [
        "EBU Tech 3320 v4.1, 1.5.6",
        "Client 4.2",
    ]
    assert again(rule) == rule
    assert len(loaded(tmp_path, text, "revision: 1\nnot_covered: []\n").not_covered) == 1


def test_a_house_rule_may_name_a_clause_again_for_something_else(tmp_path: Path) -> None:
    other = COLOURS.replace("15 test", "all other")
    rule = loaded(tmp_path, parent(not_covered=COLOURS), f"revision: 1\nnot_covered: [{other}]\n")
    assert [entry.what for entry in rule.not_covered] == ["15 test colours", "all other colours"]


@pytest.mark.parametrize(
    ("entries", "house", "message"),
    [
        (COLOURS, COLOURS, "house.yaml:5: not_covered[0]: 'EBU Tech 3320 v4.1, 1.5.6' with the "
         "same what is already in sdr@1, which it is added to; leave the entry out"),
        (f"{COLOURS}, {COLOURS}", None, "sdr.yaml:{line}: not_covered[1]: 'EBU Tech 3320 v4.1, "
         "1.5.6' with the same what is already above; leave the entry out"),
        ("{clause: a, what: b}", None, "sdr.yaml:{line}: not_covered[0].why: missing; expected a "
         "text, e.g. why: code values not at hand"),
        ("{clause: a, why: b}", None, "sdr.yaml:{line}: not_covered[0].what: missing; expected a "
         "text, e.g. what: 15 test colours"),
        ("{clause: a, what: b, why: c, by: d}", None, "sdr.yaml:{line}: not_covered[0].by: "
         "unknown key 'by'; expected one of clause, what, why"),
        ("everything", None, "sdr.yaml:{line}: not_covered[0]: found 'everything'; expected a "
         "mapping of clause, what and why, e.g. {clause: 'EBU Tech 3320 v4.1, 1.5.6', what: 15 "
         "test colours, why: code values not at hand}"),
    ],
)  # fmt: skip
def test_messages_about_clauses(
    tmp_path: Path, entries: str, house: str | None, message: str
) -> None:
    text = parent(not_covered=entries)
    own = None if house is None else f"revision: 1\nnot_covered: [{house}]\n"
    line = str(len(text.splitlines()))
    assert refused(tmp_path, text, own) == message.replace("{line}", line)


@pytest.mark.parametrize("name", shipped_rules())
def test_every_shipped_rule_says_what_it_does_not_cover(name: str) -> None:
    rule = load_rule(name)
    assert rule.not_covered
    assert again(rule) == rule


# ---------------------------------------------------------------- accepted displays


def test_an_accepted_display_differs_from_the_target_in_its_keys(tmp_path: Path) -> None:
    rule = loaded(tmp_path, parent(accepts=POWER))
    (accepted,) = rule.accepts
    assert accepted.reason == "graded to either"
    assert (accepted.target.curve, accepted.target.exponent) == ("power", 2.2)
    assert accepted.target.black == "add"
    assert accepted.target.primaries == rule.target.primaries
    assert accepted.target.luminance_white == rule.target.luminance_white
    assert again(rule) == rule
    assert again(rule).digest == rule.digest != loaded(tmp_path, RULE).digest


def test_a_house_rule_inherits_accepted_displays_on_its_own_target(tmp_path: Path) -> None:
    body = f"revision: 1\n{ALLOWED}target: {{luminance: {{white: 120}}}}\n"
    (accepted,) = loaded(tmp_path, parent(accepts=POWER), body).accepts
    assert (accepted.target.exponent, accepted.target.luminance_white) == (2.2, 120)


def test_a_house_rule_replaces_the_accepted_displays(tmp_path: Path) -> None:
    other = "{target: {luminance: {white: 90}}, reason: old lamps}"
    rule = loaded(tmp_path, parent(accepts=POWER), f"revision: 1\naccepts: [{other}]\n")
    assert [entry.reason for entry in rule.accepts] == ["old lamps"]
    assert loaded(tmp_path, parent(accepts=POWER), "revision: 1\naccepts: []\n").accepts == ()


@pytest.mark.parametrize(
    ("entries", "message"),
    [
        ("{target: {transfer: {curve: power}}, reason: a}",
         "accepts[0].target.transfer.exponent: missing; the power curve needs one, e.g. "
         "exponent: 2.2"),
        ("{target: {luminance: {white: 90, peak: 200}}, reason: a}",
         "accepts[0].target.luminance.peak: belongs to pq; for bt1886 white is the highest level; "
         "leave the key out"),
        (f"{POWER}, {{target: {{white: d65}}, reason: a}}",
         "accepts[1].target.white: is as in the rule's target; expected only keys that differ"),
        ("{target: {}, reason: a}", "accepts[0].target: an empty mapping; expected a "
         "mapping of primaries, white, transfer and luminance, e.g. target: {transfer: {curve: "
         "power, exponent: 2.2}}"),
        ("{target: {white: d50}}", "accepts[0].reason: missing; expected a text, e.g. reason: web "
         "masters are graded to either curve"),
        ("{target: {white: d60}, reason: a}", "accepts[0].target.white: unknown white "
         "point 'd60'; did you mean 'd65'?"),
    ],
)  # fmt: skip
def test_messages_about_accepted_displays(tmp_path: Path, entries: str, message: str) -> None:
    text = parent(accepts=entries)
    assert refused(tmp_path, text) == f"sdr.yaml:{len(text.splitlines())}: {message}"


def test_an_accepted_curve_that_the_code_values_cannot_carry(tmp_path: Path) -> None:
    text = edited(parent(accepts=POWER), "transfer: {curve: bt1886}", "transfer: {curve: dcdm}")
    message = refused(tmp_path, text.replace("rgb-10-narrow", "xyz-12-full"))
    assert (
        "accepts[0].target.transfer.curve: xyz-12-full carries dcdm or pq, not power; expected "
        "one of the two"
    ) in message


def test_a_target_that_an_inherited_accepted_display_does_not_fit(tmp_path: Path) -> None:
    narrow = "{red: [0.4, 0.33], green: [0.3, 0.4], blue: [0.25, 0.25]}"
    blue = "{target: {white: [0.2, 0.2]}, reason: a}"
    wide = edited(parent(accepts=blue), "primaries: bt709", "primaries: bt2020")
    message = refused(tmp_path, wide, f"revision: 1\n{ALLOWED}target: {{primaries: {narrow}}}\n")
    assert message == (
        "house.yaml:6: target: does not go with the parent's accepts[0].target.primaries: do not "
        "enclose the white [0.2, 0.2]; check both; or state accepts here, [] for none"
    )


# ---------------------------------------------------------------- in words, and compared


def words(accepted: str, folder: Path) -> str:
    rule = loaded(folder, parent(accepts=accepted))
    return accepted_words(rule.accepts[0], rule.target).replace("\u00a0", " ")


def test_an_accepted_display_is_told_by_what_differs(tmp_path: Path) -> None:
    assert words(POWER, tmp_path) == (
        "Curve power, exponent 2.2, added to the black: graded to either"
    )
    lamps = "{target: {white: [0.31, 0.32], luminance: {white: 90}, black_level: 0.1}, reason: a}"
    assert words(lamps, tmp_path) == (
        "White 0.31 0.32; luminance 90 cd/m², scaled to the measured white; black 0.1 cd/m²: a"
    )
    wide = "{target: {container: bt2020}, reason: a}"
    assert words(wide, tmp_path) == "Signal's primaries bt2020: a"
    same = "{target: {transfer: {curve: bt1886, black: lift}}, reason: a}"
    assert words(same, tmp_path) == "As the target: a"


def rows(folder: Path, old: str, new: str) -> dict[str, tuple[str, list[tuple[str, str, str]]]]:
    """Kind and keys of each row of the difference of two texts of a rule."""
    (before, after) = (loaded(folder / side, text) for side, text in (("a", old), ("b", new)))
    found = difference(before, after)
    assert found.harmless
    return {
        row.subject: (row.kind.value, [(key.key, key.was, key.now) for key in describe_row(row)])
        for row in found.rows
    }


def test_added_and_removed_clauses_are_a_rewording(tmp_path: Path) -> None:
    old, new = parent(not_covered=COLOURS), parent(not_covered=MOTION)
    gone = "EBU Tech 3320 v4.1, 1.5.6: 15 test colours. Why not: codes not at hand"
    added = "Client 4.2: moving pictures. Why not: no meter for them"
    assert rows(tmp_path, old, new) == {
        "not_covered": ("reworded", [("removed", gone, ""), ("added", "", added)])
    }


def test_another_order_of_clauses_is_told(tmp_path: Path) -> None:
    old, new = (f"{COLOURS}, {MOTION}", f"{MOTION}, {COLOURS}")
    found = rows(tmp_path, parent(not_covered=old), parent(not_covered=new))
    assert found == {"not_covered": ("reworded", [("order", "", "in another order")])}


def test_added_and_removed_accepted_displays_are_a_rewording(tmp_path: Path) -> None:
    other = "{target: {white: d50}, reason: proofs}"
    old, new = parent(accepts=POWER), parent(accepts=f"{other}, {POWER}")
    added = ("added", "", "White d50: proofs")
    assert rows(tmp_path, old, new) == {"accepts": ("reworded", [added])}
    assert rows(tmp_path, new, old) == {"accepts": ("reworded", [("removed", added[2], "")])}


def test_another_target_is_no_other_accepted_display(tmp_path: Path) -> None:
    text = parent(accepts=POWER)
    before, after = (
        loaded(tmp_path / "a", text),
        loaded(tmp_path / "b", edited(text, "luminance: {white: 100}", "luminance: {white: 120}")),
    )
    assert before.accepts != after.accepts
    assert [row.subject for row in difference(before, after).rows] == ["target"]
