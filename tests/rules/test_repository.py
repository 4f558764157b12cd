"""`.compliance.yaml`: found by walking up, closed, and what it makes rules and jobs find."""

from __future__ import annotations

from pathlib import Path

import pytest
from helpers.sample_text import RULE, STEPS, complaint, edited, write
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from compliance.errors import RuleError
from compliance.rules import git_history
from compliance.rules.library import (
    MOST_LEVELS,
    NAME,
    known_rules,
    load_rule,
    read_repository,
    repository_file,
    repository_folders,
)

CHILD = "rule: child\nextends: sdr@1\ntitle: T\nrevision: 1\n"


@pytest.fixture(autouse=True)
def without_git(monkeypatch: pytest.MonkeyPatch) -> None:
    """git is not asked, for speed."""
    monkeypatch.setattr(git_history, "_ask", lambda *_: None)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A repository with two folders of rules, the child's parent in the other."""
    write(
        tmp_path,
        {
            NAME: "specs: [base, ours]\n",
            "base/sdr.yaml": RULE,
            "base/patches/steps.yaml": STEPS,
            "ours/child.yaml": CHILD,
            "jobs/film/readme.txt": "",
        },
    )
    return tmp_path


def test_it_is_found_from_anywhere_below(folder: Path) -> None:
    for start in ("", "jobs", "jobs/film", "ours"):
        assert repository_file(folder / start) == folder / NAME
    assert repository_folders(folder / "jobs" / "film") == (folder / "base", folder / "ours")


def test_it_is_named_as_one_stands(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder / "jobs" / "film")
    assert repository_file(Path()) == Path("../..") / NAME
    monkeypatch.chdir(folder)
    assert repository_folders(Path("jobs")) == (Path("base"), Path("ours"))


def test_the_walk_ends_at_a_repositorys_root(folder: Path) -> None:
    (folder / "jobs" / ".git").mkdir()
    assert repository_file(folder / "jobs" / "film") is None
    assert repository_folders(folder / "jobs") == ()
    (folder / "ours" / ".git").write_text("gitdir: elsewhere\n", encoding="utf-8")
    assert repository_file(folder / "ours") is None


def test_the_walk_ends_after_so_many_folders(folder: Path) -> None:
    deep = folder.joinpath(*["a"] * MOST_LEVELS)
    deep.mkdir(parents=True)
    assert repository_file(deep) is None
    assert repository_file(deep.parent) == folder / NAME


def test_a_rule_finds_its_parent_through_it(folder: Path) -> None:
    assert load_rule(folder / "ours" / "child.yaml").extends == "sdr@1"
    (folder / NAME).unlink()
    with pytest.raises(RuleError, match="'sdr': no such rule on the search path"):
        load_rule(folder / "ours" / "child.yaml")


def test_one_id_twice_names_both_files(folder: Path) -> None:
    write(folder, {"ours/sdr.yaml": edited(RULE, "max: 110", "max: 111")})
    write(folder, {"ours/patches/steps.yaml": STEPS})
    with pytest.raises(RuleError) as failure:
        load_rule(folder / "ours" / "child.yaml")
    told = complaint(folder, failure)
    assert told.startswith("ours/child.yaml:2: extends: 'sdr': is on the search path twice: ")
    assert "ours/sdr.yaml" in told
    assert "base/sdr.yaml" in told


def test_a_shipped_id_cannot_be_taken(folder: Path) -> None:
    write(folder, {"ours/web-srgb.yaml": "rule: web-srgb\ntitle: T\nrevision: 1\nextends: sdr@1\n"})
    with pytest.raises(RuleError, match=r"already belongs to specs/web-srgb\.yaml"):
        load_rule(folder / "ours" / "web-srgb.yaml")


def test_rules_are_listed_house_first(folder: Path) -> None:
    found = known_rules(repository_folders(folder))
    assert found[:2] == [("sdr", False), ("child", False)]
    assert ("web-srgb", True) in found


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("specs: rules\n", ":1: specs: found 'rules'; expected a list of folders, "
         "e.g. specs: [rules]"),
        ("specs: []\n", ":1: specs: a list with no entries; expected a list of folders, "
         "e.g. specs: [rules]"),
        ("specs: [rules]\n", ":1: specs[0]: 'rules': no such folder of rule files"),
        ("specs:\n  - base\n  - ../other\n", ":3: specs[1]: '../other' is outside the repository; "
         "expected a folder in it"),
        ("specs: [/etc]\n", ":1: specs[0]: '/etc' is outside the repository; expected a folder in "
                            "it"),
        ("specs: [base, base]\n", ":1: specs[1]: 'base' is listed twice"),
        ("spec: [base]\n", ":1: spec: unknown key 'spec'; did you mean 'specs'?"),
        ("specs: [base]\nlimits: {}\n", ":2: limits: unknown key 'limits'; expected specs"),
        ("", ": is empty"),
        ("specs: [base", ":1: invalid YAML: a comma or a closing bracket ] is missing"),
    ],
)  # fmt: skip
def test_what_is_wrong_in_it(folder: Path, text: str, message: str) -> None:
    write(folder, {NAME: text})
    with pytest.raises(RuleError) as failure:
        load_rule(folder / "ours" / "child.yaml")
    assert complaint(folder, failure).splitlines()[0] == NAME + message


def test_a_link_may_not_lead_out(folder: Path) -> None:
    (folder / "away").symlink_to("/etc", target_is_directory=True)
    write(folder, {NAME: "specs: [away]\n"})
    with pytest.raises(RuleError, match="'away' is outside the repository"):
        repository_folders(folder)


@settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(text=st.one_of(st.text(max_size=30), st.builds("specs: {}".format, st.text(max_size=20))))
def test_any_text_is_told_or_taken(folder: Path, text: str) -> None:
    (folder / NAME).write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        read_repository(folder / NAME)
    except RuleError as error:
        assert all("\n" not in str(problem) for problem in error.problems)
