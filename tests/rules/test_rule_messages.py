"""What is said about a wrong rule file: a change of the text, and the exact message."""

from __future__ import annotations

from pathlib import Path

import pytest
from helpers.rule_mistakes import EXTENDED, LISTS, SENSE, STRUCTURE
from helpers.sample_text import HOUSE, RULE, STEPS, complaint, edited, rule_folder, write

from compliance.errors import RuleError
from compliance.rules.library import load_rule


@pytest.mark.parametrize(("old", "new", "message"), STRUCTURE + SENSE)
def test_a_wrong_rule_is_told_exactly(tmp_path: Path, old: str, new: str, message: str) -> None:
    rule_folder(tmp_path, sdr=edited(RULE, old, new))
    with pytest.raises(RuleError) as failure:
        load_rule(tmp_path / "sdr.yaml")
    assert complaint(tmp_path, failure) == message


@pytest.mark.parametrize(("old", "new", "message"), LISTS)
def test_a_wrong_list_is_told_in_its_own_file(
    tmp_path: Path, old: str, new: str, message: str
) -> None:
    rule_folder(tmp_path)
    write(tmp_path, {"patches/steps.yaml": edited(STEPS, old, new)})
    with pytest.raises(RuleError) as failure:
        load_rule(tmp_path / "sdr.yaml")
    assert complaint(tmp_path, failure) == message


@pytest.mark.parametrize(("old", "new", "message"), EXTENDED)
def test_a_wrong_house_rule_is_told_exactly(
    tmp_path: Path, old: str, new: str, message: str
) -> None:
    rule_folder(tmp_path, house=edited(HOUSE, old, new))
    with pytest.raises(RuleError) as failure:
        load_rule(tmp_path / "house.yaml")
    assert complaint(tmp_path, failure) == message


def test_the_rule_itself_is_in_order(tmp_path: Path) -> None:
    rule_folder(tmp_path, house=HOUSE)
    assert load_rule(tmp_path / "sdr.yaml").id == "sdr"
    assert load_rule(tmp_path / "house.yaml").id == "house"


def test_all_problems_of_a_file_are_told_at_once_in_order(tmp_path: Path) -> None:
    text = edited(RULE, "max: 110", "max: a lot")
    text = edited(text, "white: d65", "white: d64")
    rule_folder(tmp_path, sdr=edited(text, "over: primaries", "ovr: primaries"))
    with pytest.raises(RuleError) as failure:
        load_rule(tmp_path / "sdr.yaml")
    assert [(p.line, p.field) for p in failure.value.problems] == [
        (7, "target.white"),
        (26, "requirements.white-level.limits.max"),
        (39, "requirements.primary-level.ovr"),
    ]


def test_problems_of_sense_are_told_at_once_too(tmp_path: Path) -> None:
    text = edited(RULE, "max: 110", "min: 120, max: 110")
    text = edited(text, "over: black", "over: blck")
    rule_folder(tmp_path, sdr=edited(text, "curve: bt1886", "curve: power"))
    with pytest.raises(RuleError) as failure:
        load_rule(tmp_path / "sdr.yaml")
    assert [problem.line for problem in failure.value.problems] == [8, 22, 26]


def test_a_fault_in_the_parent_is_told_in_the_parent(tmp_path: Path) -> None:
    rule_folder(tmp_path, sdr=edited(RULE, "max: 110", "max: a lot"), house=HOUSE)
    with pytest.raises(RuleError) as failure:
        load_rule(tmp_path / "house.yaml")
    assert complaint(tmp_path, failure).startswith("sdr.yaml:26: ")


def test_what_the_child_breaks_in_the_parent_is_told_where_it_stands(tmp_path: Path) -> None:
    house = edited(HOUSE, "revision: 3", "revision: 3\npatches: {primaries: {hues: [red, green]}}")
    rule_folder(tmp_path, house=house)
    with pytest.raises(RuleError) as failure:
        load_rule(tmp_path / "house.yaml")
    assert complaint(tmp_path, failure) == (
        "sdr.yaml:43: requirements.primary-level.by_patch.blue: 'blue' is not a patch of "
        "primaries; expected one of red, green"
    )
