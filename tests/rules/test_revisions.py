"""Rule files as they stood at a revision: nothing of the repository runs, nothing leaks out."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest
from helpers.sample_text import HOUSE, RULE, STEPS, edited, rule_folder, write

from compliance.errors import RuleError
from compliance.rules.git_history import Revision, checked_out, commits_of, is_revision, text_at
from compliance.rules.library import load_rule


def git(folder: Path, *words: str, told: bytes = b"") -> str:
    said = ("-c", "user.name=A", "-c", "user.email=a@example.org", "-c", "commit.gpgsign=false")
    done = subprocess.run(
        ["git", "-C", str(folder), *said, *words], input=told, capture_output=True, check=True
    )
    return done.stdout.decode().strip()


@pytest.fixture
def repository(tmp_path: Path) -> Path:
    """A repository with the rules in `rules/`, tagged `first`; then a wider limit."""
    try:
        subprocess.run(["git", "--version"], capture_output=True, check=True)
    except OSError:
        pytest.skip("git is not installed")
    place = tmp_path / "place"
    rule_folder(place / "rules", house=HOUSE)
    git(place, "init", "--quiet", "--initial-branch=main")
    git(place, "add", "--all")
    git(place, "commit", "--quiet", "--message=first")
    git(place, "tag", "first")
    write(place, {"rules/sdr.yaml": edited(RULE, "max: 110", "max: 111")})
    return place


def at(name: str, path: str, folder: Path) -> str:
    """Title and limits of the rule at a revision."""
    with checked_out(Revision(name, path), folder) as copy:
        rule = load_rule(copy.place)
    found = {one.id: one for one in rule.requirements}
    return f"{rule.id} {found['white-level'].limits}"


@pytest.mark.parametrize(
    ("named", "expected"),
    [
        ("main:rules/sdr.yaml", Revision("main", "rules/sdr.yaml")),
        ("HEAD~2:./sdr.yaml", Revision("HEAD~2", "./sdr.yaml")),
        ("v1.0^:rules", Revision("v1.0^", "rules")),
        ("origin/main:", Revision("origin/main", "")),
        ("sdr-broadcast", None),
        ("sdr@1", None),
        ("--output=x:rules", None),
        ("-h:rules", None),
        ("a b:rules", None),
        (":rules", None),
        ("rules/sdr.yaml", None),
    ],
)
def test_what_is_a_revision(named: str, expected: Revision | None) -> None:
    assert is_revision(named) == expected


def test_a_file_with_a_colon_is_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    write(tmp_path, {"a:b.yaml": RULE})
    assert is_revision("a:b.yaml") is None


def test_files_stand_as_they_were_committed(repository: Path) -> None:
    assert "111" in str(load_rule(repository / "rules" / "sdr.yaml").requirements[1].limits)
    assert "maximum=110.0" in at("first", "rules/sdr.yaml", repository)
    assert "maximum=110.0" in at("main", "./sdr.yaml", repository / "rules")
    assert "maximum=110.0" in at("HEAD", "../rules/sdr.yaml", repository / "rules")


def test_parents_and_lists_are_those_of_the_revision(repository: Path) -> None:
    write(repository, {"rules/patches/steps.yaml": edited(STEPS, "step-2", "step-3")})
    write(repository, {"rules/sdr.yaml": "broken"})
    assert at("first", "rules/house.yaml", repository).startswith("house")


def test_a_folder_is_a_folder(repository: Path) -> None:
    with checked_out(Revision("first", "rules"), repository) as copy:
        assert sorted(file.name for file in copy.place.glob("*.yaml")) == ["house.yaml", "sdr.yaml"]
        assert copy.counterpart(repository / "rules") == copy.place
        assert copy.counterpart(repository / "elsewhere") is None
        assert copy.counterpart(Path("/etc")) == Path("/etc")
        root = copy.root
    assert not root.exists()


@pytest.mark.parametrize(
    ("name", "path", "message"),
    [
        ("nothing", "rules", "nothing:rules: unknown git revision 'nothing'"),
        ("first", "rules/gone.yaml", "first:rules/gone.yaml: no such rule file or folder in first"),
        ("first", "../x", "first:../x: is outside the repository; expected a path from its top, "
         "or from ./"),
        ("first", "/etc", "first:/etc: is outside the repository; expected a path from its top, "
         "or from ./"),
    ],
)  # fmt: skip
def test_what_is_not_there(repository: Path, name: str, path: str, message: str) -> None:
    with pytest.raises(RuleError) as failure:
        at(name, path, repository)
    assert str(failure.value) == message


def test_outside_a_repository(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GIT_CEILING_DIRECTORIES", str(tmp_path.parent))
    with pytest.raises(RuleError, match="this folder is not in a readable repository"):
        at("main", "rules/sdr.yaml", tmp_path)
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(RuleError, match="this folder is not in a readable repository"):
        at("main", "rules/sdr.yaml", tmp_path)


def test_faults_name_the_file_at_its_revision(repository: Path) -> None:
    write(repository, {"rules/sdr.yaml": edited(RULE, "max: 110", "max: a lot")})
    git(repository, "commit", "--quiet", "--all", "--message=worse")
    with pytest.raises(RuleError) as failure:
        at("HEAD", "rules/house.yaml", repository)
    assert str(failure.value).startswith(
        "HEAD:rules/sdr.yaml:26: requirements.white-level.limits.max: 'a lot' is not a number"
    )


def test_nothing_of_the_repository_runs(repository: Path) -> None:
    trap = repository / "trap.sh"
    trap.write_text(f"#!/bin/sh\ntouch {repository}/sprung\ncat\n", encoding="utf-8")
    trap.chmod(0o755)
    for key in ("core.fsmonitor", "core.pager", "core.sshCommand", "filter.f.clean",
                "filter.f.smudge", "filter.f.process", "diff.external", "diff.d.textconv",
                "tar.yaml.command", "gpg.program"):  # fmt: skip
        git(repository, "config", key, str(trap))
    write(repository, {".gitattributes": "*.yaml filter=f diff=d export-subst ident\n"})
    hooks = repository / ".git" / "hooks"
    hooks.mkdir(exist_ok=True)
    for name in ("post-index-change", "reference-transaction", "post-checkout"):
        (hooks / name).write_bytes(trap.read_bytes())
        (hooks / name).chmod(0o755)
    assert at("first", "rules/house.yaml", repository).startswith("house")
    assert not (repository / "sprung").exists()


def test_a_surrounding_git_call_does_not_point_elsewhere(
    repository: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("GIT_DIR", "/nowhere")
    monkeypatch.setenv("GIT_INDEX_FILE", "/nowhere/index")
    monkeypatch.setenv("GIT_WORK_TREE", "/nowhere")
    assert at("first", "rules/sdr.yaml", repository).startswith("sdr")
    assert load_rule(repository / "rules" / "house.yaml").files[0].dirty is False


def test_links_and_odd_names_are_left_out(repository: Path) -> None:
    os.symlink("/etc/hostname", repository / "rules" / "link.yaml")
    git(repository, "add", "--all")
    blob = git(repository, "hash-object", "-w", "--stdin", told=b"rule: evil\n")
    inner = git(repository, "mktree", told=f"100644 blob {blob}\tevil.yaml\n".encode())
    above = git(repository, "mktree", told=f"040000 tree {inner}\t..\n".encode())
    tree = git(repository, "write-tree")
    listed = git(repository, "ls-tree", tree)
    crafted = git(repository, "mktree", told=f"{listed}\n040000 tree {above}\todd\n".encode())
    commit = git(repository, "commit-tree", crafted, "-m", "odd")
    with checked_out(Revision(commit, ""), repository) as copy:
        names = {str(file.relative_to(copy.root)) for file in copy.root.rglob("*.yaml")}
        assert names == {"rules/house.yaml", "rules/sdr.yaml", "rules/patches/steps.yaml"}
        assert not (copy.root.parent / "evil.yaml").exists()


def test_files_that_are_too_large_are_not_there(repository: Path) -> None:
    write(repository, {"rules/large.yaml": "#" * (1 << 20) + "\n"})
    git(repository, "add", "--all")
    git(repository, "commit", "--quiet", "--message=large")
    with pytest.raises(RuleError, match="no such rule file or folder"):
        at("HEAD", "rules/large.yaml", repository)


def test_a_files_history(repository: Path) -> None:
    git(repository, "commit", "--quiet", "--all", "--message=second")
    file = repository / "rules" / "sdr.yaml"
    second, first = commits_of(file)
    assert b"max: 111" in (text_at(second, file) or b"")
    assert b"max: 110" in (text_at(first, file) or b"")
    assert text_at("nonsense", file) is None
    assert commits_of(repository.parent / "sdr.yaml") == []
