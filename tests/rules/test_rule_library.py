"""Finding rules by id and by path, and what is known of their files."""

from __future__ import annotations

import hashlib
import json
import subprocess
from pathlib import Path
from typing import Any

import pytest
from helpers.sample_text import HOUSE, RULE, STEPS, complaint, edited, rule_folder, write

from compliance.errors import RuleError
from compliance.plain_data import canonical_bytes
from compliance.rules import git_history
from compliance.rules.library import load_rule, rule_from_resolved, shipped_folder, shipped_rules


def test_the_shipped_rules_are_found_by_id() -> None:
    assert shipped_rules() == sorted(path.stem for path in shipped_folder().glob("*.yaml"))
    assert {"sdr-broadcast", "web-srgb", "cinema-review-room", "hdr-pq-1000"} <= set(
        shipped_rules()
    )
    for name in shipped_rules():
        assert load_rule(name).id == name


@pytest.mark.parametrize("name", shipped_rules())
def test_shipped_rules_come_back_from_plain_data(name: str) -> None:
    rule = load_rule(name)
    again = rule_from_resolved(json.loads(canonical_bytes(rule.resolved)), rule.files)
    assert again == rule
    assert [one.id for one in again.requirements] == [one.id for one in rule.requirements]
    assert list(again.sets) == list(rule.sets)
    assert hashlib.sha256(canonical_bytes(rule.resolved)).hexdigest() == rule.digest


@pytest.mark.parametrize("name", shipped_rules())
def test_shipped_rules_do_not_extend_each_other(name: str) -> None:
    assert load_rule(name).extends is None


def test_a_shipped_rule_is_the_same_by_id_and_by_path() -> None:
    by_path = load_rule(shipped_folder() / "sdr-broadcast.yaml")
    assert by_path.digest == load_rule("sdr-broadcast").digest


def test_the_files_of_a_shipped_rule_are_named_from_the_shipped_folder() -> None:
    paths = [file.path for file in load_rule("cinema-review-room").files]
    assert paths[0] == "cinema-review-room.yaml"
    assert all(path.startswith("patches/") for path in paths[1:])
    assert len(paths) > 1


def test_a_file_that_is_asked_for_as_an_id(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rule_folder(tmp_path)
    monkeypatch.chdir(tmp_path)
    for name in ("sdr", "./sdr"):
        with pytest.raises(RuleError) as failure:
            load_rule(name)
        message = f"{name}: no such rule on the search path; did you mean sdr.yaml?"
        assert str(failure.value) == message
    assert load_rule("sdr.yaml").id == "sdr"


def test_an_id_is_looked_for_in_the_folders_given(tmp_path: Path) -> None:
    rule_folder(tmp_path / "ours")
    rule = load_rule("sdr", search=[tmp_path / "ours"])
    assert rule.files[0].path == str(tmp_path / "ours" / "sdr.yaml")
    assert rule.files[0].sha256 == hashlib.sha256(RULE.encode()).hexdigest()
    assert rule.files[1].path == (tmp_path / "ours" / "patches" / "steps.yaml").as_posix()
    assert rule.files[1].sha256 == hashlib.sha256(STEPS.encode()).hexdigest()


def test_parents_are_looked_for_beside_the_file(tmp_path: Path) -> None:
    rule_folder(tmp_path, house=HOUSE)
    assert load_rule(tmp_path / "house.yaml").extends == "sdr@1"
    assert load_rule("house", search=[tmp_path]).extends == "sdr@1"


def test_an_id_that_windows_keeps_for_a_device(tmp_path: Path) -> None:
    folder = rule_folder(tmp_path, nul=edited(RULE, "rule: sdr\n", "rule: nul\n"))
    with pytest.raises(RuleError) as failure:
        load_rule(folder / "nul.yaml")
    assert complaint(folder, failure) == (
        "nul.yaml:1: rule: 'nul' is a name that Windows keeps for a device; choose another"
    )


def test_an_unknown_id_gets_the_nearest(tmp_path: Path) -> None:
    with pytest.raises(RuleError) as failure:
        load_rule("sdr-brodcast")
    assert str(failure.value) == (
        "sdr-brodcast: no such rule on the search path; did you mean 'sdr-broadcast'?"
    )


@pytest.mark.parametrize("name", ["", ".", "..", "a\0b", "x" * 5000, "../specs/sdr-broadcast"])
def test_an_odd_id_is_an_error_like_any_other(name: str) -> None:
    with pytest.raises(RuleError):
        load_rule(name)


def test_one_id_twice_on_the_search_path_is_an_error(tmp_path: Path) -> None:
    rule_folder(tmp_path / "a")
    rule_folder(tmp_path / "b")
    with pytest.raises(RuleError) as failure:
        load_rule("sdr", search=[tmp_path / "a", tmp_path / "b"])
    assert complaint(tmp_path, failure) == (
        "sdr: is on the search path twice: a/sdr.yaml and b/sdr.yaml; expected one file per id"
    )


def test_one_id_twice_is_an_error_for_a_parent_too(tmp_path: Path) -> None:
    rule_folder(tmp_path / "a")
    rule_folder(tmp_path / "b", house=HOUSE)
    with pytest.raises(RuleError) as failure:
        load_rule(tmp_path / "b" / "house.yaml", search=[tmp_path / "a"])
    assert complaint(tmp_path, failure).startswith(
        "b/house.yaml:2: extends: 'sdr': is on the search path twice: b/sdr.yaml and "
    )


def test_a_folder_named_twice_is_searched_once(tmp_path: Path) -> None:
    rule_folder(tmp_path)
    (tmp_path / "link").symlink_to(tmp_path)
    assert load_rule("sdr", search=[tmp_path, tmp_path, tmp_path / "link"]).id == "sdr"


def test_the_id_of_a_shipped_rule_cannot_be_taken(tmp_path: Path) -> None:
    text = edited(RULE, "rule: sdr", "rule: sdr-broadcast")
    rule_folder(tmp_path, **{"sdr-broadcast": text})
    with pytest.raises(RuleError) as failure:
        load_rule(tmp_path / "sdr-broadcast.yaml")
    assert complaint(tmp_path, failure) == (
        "sdr-broadcast.yaml: rule: the id 'sdr-broadcast' already belongs to "
        "specs/sdr-broadcast.yaml; give this rule another id and file name (and extends: "
        "sdr-broadcast@… if it departs from that one)"
    )


def test_an_exact_copy_of_a_shipped_rule_is_no_other_rule(tmp_path: Path) -> None:
    names = ("sdr-broadcast.yaml", "patches/skin-and-memory-bt709.yaml")
    write(tmp_path, {name: (shipped_folder() / name).read_text("utf-8") for name in names})
    assert load_rule(tmp_path / "sdr-broadcast.yaml").digest == load_rule("sdr-broadcast").digest


def test_files_that_are_not_there(tmp_path: Path) -> None:
    for path, said in (
        (tmp_path / "none.yaml", "none.yaml: no such rule file"),
        (
            tmp_path / "web-srgb.yaml",
            "web-srgb.yaml: no such rule file; did you mean the id 'web-srgb'?",
        ),
        (tmp_path / "no" / "folder.yaml", "no/folder.yaml: no such rule file"),
    ):
        with pytest.raises(RuleError) as failure:
            load_rule(path)
        assert complaint(tmp_path, failure) == said
    with pytest.raises(RuleError) as failure:
        load_rule("sdr", search=[tmp_path / "none"])
    assert complaint(tmp_path, failure) == "none: no such folder of rule files"


def test_a_list_may_not_leave_the_folder_by_a_link(tmp_path: Path) -> None:
    rule_folder(tmp_path / "rules")
    write(tmp_path, {"outside.yaml": STEPS})
    (tmp_path / "rules" / "patches" / "steps.yaml").unlink()
    (tmp_path / "rules" / "patches" / "steps.yaml").symlink_to(tmp_path / "outside.yaml")
    with pytest.raises(RuleError, match="is outside the rule's folder"):
        load_rule(tmp_path / "rules" / "sdr.yaml")


def test_order_of_keys_is_no_part_of_the_digest_but_of_requirements_it_is(tmp_path: Path) -> None:
    first = load_rule(rule_folder(tmp_path / "a") / "sdr.yaml")
    text = edited(RULE, "{max: 0.05}}", "{max: 5.0e-2}}   # the same")
    text = edited(text, "quantity: luminance, over: black", "over: black, quantity: luminance")
    assert load_rule(rule_folder(tmp_path / "b", sdr=text) / "sdr.yaml").digest == first.digest
    lines = RULE.splitlines()
    lines.append(lines.pop(next(n for n, line in enumerate(lines) if "black-level" in line)))
    moved = "\n".join(lines)
    assert load_rule(rule_folder(tmp_path / "c", sdr=moved) / "sdr.yaml").digest != first.digest


# ---------------------------------------------------------------- back from the evidence


def resolved(folder: Path) -> dict[str, object]:
    rule_folder(folder, house=HOUSE)
    data: dict[str, object] = json.loads(canonical_bytes(load_rule(folder / "house.yaml").resolved))
    return data


def test_a_rule_comes_back_from_its_resolved_form(tmp_path: Path) -> None:
    data = resolved(tmp_path)
    rule = load_rule(tmp_path / "house.yaml")
    assert rule_from_resolved(data, rule.files) == rule
    assert rule_from_resolved(data).digest == rule.digest


@pytest.mark.parametrize(
    ("key", "value", "message"),
    [
        ("revision", "3", "rule.json: revision: '3' is not a whole number (quotes make it a "
         "text); expected a whole number from 1, e.g. revision: 1"),
        ("title", 3, "rule.json: has values in another form than those read from a file"),
        ("title", None, "rule.json: title: is empty; expected a text, e.g. title: SDR "
         "broadcast master, HD"),
        ("defaults", {}, "rule.json: defaults: unknown key 'defaults'; expected one of rule, "
         "extends, title, revision, valid_for, not_covered, target, accepts, signal, window, "
         "decision, patches, "
         "requirements, changes"),
        ("requirements", {}, "rule.json: requirements: expected a list of mappings, each with "
         "'id'"),
        ("requirements", [{"quantity": "luminance"}], "rule.json: requirements: an entry has no "
         "'id'"),
        ("requirements", [{"id": "a"}, {"id": "a"}], "rule.json: requirements: duplicate id 'a'"),
        ("patches", [{"set": "a", "list": {"encoding": "rgb-8-full", "patches": [{"name": "b"}]}}],
         "rule.json: patches.a.list.patches: expected name and codes in each entry"),
        ("patches", [{"set": "a", "list": "../../secret.yaml"}], "rule.json: patches.a.list: "
         "'../../secret.yaml' is a path; a resolved rule contains the list itself"),
        ("window", float("nan"), "rule.json: window: 'nan' is not a number; expected % of area, "
         "e.g. window: 100"),
    ],
)  # fmt: skip
def test_a_spoilt_resolved_form_is_refused(
    tmp_path: Path, key: str, value: object, message: str
) -> None:
    data = resolved(tmp_path)
    data[key] = value
    with pytest.raises(RuleError) as failure:
        rule_from_resolved(data)
    assert str(failure.value).splitlines()[0] == message


@pytest.mark.parametrize("data", [None, [], "rule", 3, {}, {"rule": []}])
def test_what_is_no_resolved_rule_at_all_is_refused(data: object) -> None:
    with pytest.raises(RuleError):
        rule_from_resolved(data)  # type: ignore[arg-type]


# ---------------------------------------------------------------- version control


def git(folder: Path, *words: str) -> str:
    identity = ("-c", "user.name=A", "-c", "user.email=a@example.org", "-c", "commit.gpgsign=false")
    done = subprocess.run(
        ["git", "-C", str(folder), *identity, *words], capture_output=True, text=True, check=True
    )
    return done.stdout.strip()


@pytest.fixture
def versioned(tmp_path: Path) -> Path:
    try:
        subprocess.run(["git", "--version"], capture_output=True, check=True)
    except OSError:
        pytest.skip("git is not installed")
    rule_folder(tmp_path)
    git(tmp_path, "init", "--quiet")
    git(tmp_path, "add", "sdr.yaml", "patches/steps.yaml")
    git(tmp_path, "commit", "--quiet", "--message", "first")
    return tmp_path


def test_files_know_their_commit_and_whether_they_were_changed_since(versioned: Path) -> None:
    commit = git(versioned, "rev-parse", "HEAD")
    rule = load_rule(versioned / "sdr.yaml")
    assert [(file.commit, file.dirty) for file in rule.files] == [(commit, False)] * 2
    write(versioned, {"sdr.yaml": RULE + "# later\n"})
    rule = load_rule(versioned / "sdr.yaml")
    assert [(file.commit, file.dirty) for file in rule.files] == [(commit, True), (commit, False)]


def test_the_commit_is_the_last_that_touched_the_file(versioned: Path) -> None:
    first = git(versioned, "rev-parse", "HEAD")
    write(versioned, {"patches/steps.yaml": STEPS + "# later\n"})
    git(versioned, "commit", "--quiet", "--all", "--message", "second")
    second = git(versioned, "rev-parse", "HEAD")
    assert [file.commit for file in load_rule(versioned / "sdr.yaml").files] == [first, second]


def test_git_is_asked_again_only_where_the_answer_may_differ(
    versioned: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    ask = git_history.ask

    def counted(folder: Path, *question: str, **more: Any) -> bytes | None:
        asked.append(question[0])
        return ask(folder, *question, **more)

    monkeypatch.setattr(git_history, "ask", counted)

    def queries() -> int:
        asked.clear()
        load_rule(versioned / "sdr.yaml")
        return len(asked)

    each = queries() // 2
    assert each >= 2
    assert queries() == 0
    write(versioned, {"sdr.yaml": RULE + "# later\n"})
    assert queries() == each
    git(versioned, "commit", "--quiet", "--all", "--message", "second")
    assert queries() == 2 * each
    git(versioned, "pack-refs", "--all")
    assert [queries(), queries()] == [2 * each] * 2  # where the branch is not a file of its own


def test_an_unversioned_file_has_no_commit(versioned: Path) -> None:
    write(versioned, {"new.yaml": edited(RULE, "rule: sdr", "rule: new")})
    assert (load_rule(versioned / "new.yaml").files[0].commit) is None
    assert (load_rule(versioned / "new.yaml").files[0].dirty) is None


def test_nothing_configured_in_a_repository_is_executed(versioned: Path) -> None:
    trap = versioned / "trap.sh"
    trap.write_text(f"#!/bin/sh\ntouch {versioned}/sprung\ncat\n", encoding="utf-8")
    trap.chmod(0o755)
    for key in (
        "core.fsmonitor",
        "core.pager",
        "core.sshCommand",
        "filter.f.clean",
        "filter.f.smudge",
        "filter.f.process",
        "diff.external",
        "diff.d.textconv",
        "gpg.program",
        "uploadpack.packObjectsHook",
    ):
        git(versioned, "config", key, str(trap))
    git(versioned, "config", "log.showSignature", "true")
    write(versioned, {".gitattributes": "*.yaml filter=f diff=d\n"})
    hooks = versioned / ".git" / "hooks"
    hooks.mkdir(exist_ok=True)
    for name in ("post-index-change", "reference-transaction", "post-checkout", "pre-auto-gc"):
        (hooks / name).write_bytes(trap.read_bytes())
        (hooks / name).chmod(0o755)
    write(versioned, {"sdr.yaml": RULE + "# later\n"})
    assert load_rule(versioned / "sdr.yaml").files[0].dirty is True
    assert not (versioned / "sprung").exists()


def test_without_git_nothing_is_known(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rule_folder(tmp_path)
    monkeypatch.setenv("PATH", str(tmp_path))
    assert load_rule(tmp_path / "sdr.yaml").files[0].commit is None
