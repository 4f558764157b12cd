"""The demo's repository of house rules: its pull request's steps, really run in a repository."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml
from helpers.sample_text import edited

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "demo" / "house-rules"
WORKFLOW = DEMO / ".github" / "workflows" / "rules.yaml"
RULE = "rules/vellumfish-broadcast.yaml"

CONTEXT = {
    "${{ github.base_ref }}": "main",
    "${{ contains(github.event.pull_request.labels.*.name, 'loosening-agreed') }}": "",
}
"""What the runner puts into the workflow's expressions: the second by the test."""


class Repository:
    """A clone whose `origin/main` holds the demo's rules as they are."""

    def __init__(self, place: Path) -> None:
        self.place = place / "clone"
        self._program = place / "bin"
        self._program.mkdir(parents=True)
        command = self._program / "compliance"
        command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m compliance.cli "$@"\n')
        command.chmod(0o755)
        first = place / "first"
        shutil.copytree(DEMO, first)
        self.git("init", "--quiet", "--initial-branch=main", at=first)
        self.git("add", "--all", at=first)
        self.git("commit", "--quiet", "--message=First rules", at=first)
        self.git("clone", "--quiet", str(first), str(self.place), at=place)
        self.git("switch", "--quiet", "--create", "change", at=self.place)

    def git(self, *words: str, at: Path | None = None) -> str:
        said = ("-c", "user.name=A", "-c", "user.email=a@example.org", "-c", "commit.gpgsign=false")
        return subprocess.run(
            ["git", *said, *words], cwd=at or self.place, capture_output=True, text=True, check=True
        ).stdout

    def change(self, old: str, new: str) -> None:
        """A commit of a change to the rule."""
        file = self.place / RULE
        file.write_text(edited(file.read_text(encoding="utf-8"), old, new), encoding="utf-8")
        self.git("commit", "--quiet", "--all", "--message=Change")

    def step(self, name: str, **labels: str) -> subprocess.CompletedProcess[str]:
        """One step of the workflow, as a runner's shell runs it."""
        found = steps()[name]
        stated = {key: filled(value, labels) for key, value in found.get("env", {}).items()}
        return subprocess.run(
            ["sh", "-e", "-c", found["run"]],
            cwd=self.place,
            env=self._settings(stated),
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
            timeout=600,
        )

    def _settings(self, stated: Mapping[str, str]) -> dict[str, str]:
        paths = [str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]
        return {
            **os.environ,
            **stated,
            "PATH": f"{self._program}{os.pathsep}{os.environ['PATH']}",
            "PYTHONPATH": os.pathsep.join(paths),
            "GITHUB_STEP_SUMMARY": str(self.summary),
        }

    @property
    def summary(self) -> Path:
        return self.place.parent / "summary.md"


def steps() -> dict[str, Any]:
    """The steps of the workflow that have a name."""
    (job,) = yaml.safe_load(WORKFLOW.read_text(encoding="utf-8"))["jobs"].values()
    return {step["name"]: step for step in job["steps"] if "name" in step}


def filled(text: str, labels: Mapping[str, str]) -> str:
    for expression, value in CONTEXT.items():
        text = text.replace(expression, value or labels.get("agreed", "false"))
    assert "${{" not in text
    return text


@pytest.fixture
def repository(tmp_path: Path) -> Repository:
    if shutil.which("git") is None:
        pytest.skip("git is not installed")
    return Repository(tmp_path)


def test_the_steps_are_those_run_here() -> None:
    assert list(steps()) == ["Install", "Check", "Compare"]
    assert "pull_request" in WORKFLOW.read_text(encoding="utf-8")


def test_an_untouched_branch_passes(repository: Repository) -> None:
    done = repository.step("Check")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    done = repository.step("Compare")
    assert (done.returncode, done.stderr) == (0, "")
    assert repository.summary.read_text(encoding="utf-8") == "No rule differs.\n"


def test_a_tightening_passes_and_is_told(repository: Repository) -> None:
    repository.change("{max: 0.05}", "{max: 0.04}")
    assert repository.step("Check").returncode == 0
    assert repository.step("Compare").returncode == 0
    told = repository.summary.read_text(encoding="utf-8")
    assert "| **tightened** | Black luminance (black-level) |" in told
    assert "The text was changed, but not the revision" in told


def test_a_loosening_fails_until_somebody_agrees(repository: Repository) -> None:
    repository.change("{max: 0.05}", "{max: 0.08}")
    repository.change("revision: 1\n", "revision: 2\n")
    assert repository.step("Check").returncode == 0
    done = repository.step("Compare")
    assert (done.returncode, done.stderr) == (1, "")
    assert repository.summary.read_text(encoding="utf-8").splitlines()[4:] == [
        "|  | subject | old | new | stated reason |",
        "|---|---|---|---|---|",
        "| **loosened** | Black luminance (black-level) | limits: at most 0.05 cd/m² | limits: at "
        "most 0.08 cd/m² |  |",
    ]
    assert repository.step("Compare", agreed="true").returncode == 0


def test_a_withdrawn_rule_fails(repository: Repository) -> None:
    (repository.place / "rules" / "second.yaml").write_text(
        "rule: second\ntitle: Second\nrevision: 1\nextends: sdr-broadcast@2\n", encoding="utf-8"
    )
    repository.git("add", "--all")
    repository.git("commit", "--quiet", "--message=Second")
    assert repository.step("Compare").returncode == 0
    assert "second, revision 1: a new rule" in repository.summary.read_text(encoding="utf-8")
    repository.git("push", "--quiet", "origin", "HEAD:refs/heads/other")
    repository.git("update-ref", "refs/remotes/origin/main", "HEAD")
    repository.git("rm", "--quiet", "rules/second.yaml")
    repository.git("commit", "--quiet", "--message=Gone")
    assert repository.step("Compare").returncode == 1
    assert "second, revision 1: withdrawn" in repository.summary.read_text(encoding="utf-8")


def test_a_mistake_stands_at_its_line(repository: Repository) -> None:
    repository.change("{max: 0.05}", "{mx: 0.05}")
    done = repository.step("Check")
    assert done.returncode == 1
    assert done.stdout == (
        f"::error file={RULE},line=14,title=requirements.black-level.limits.mx::unknown key "
        "'mx'; did you mean 'max'?\n"
    )
    assert repository.step("Compare").returncode == 2


def test_a_wider_limit_without_its_reason_is_refused(repository: Repository) -> None:
    repository.change("{max: 0.05}", "{max: 0.2}")
    done = repository.step("Check")
    assert done.returncode == 1
    assert "not provably tighter than in sdr-broadcast@2" in done.stdout


def test_a_first_set_of_rules_has_nothing_to_compare_with(repository: Repository) -> None:
    repository.git("switch", "--quiet", "--orphan", "empty")
    repository.git("commit", "--quiet", "--allow-empty", "--message=Empty")
    repository.git("update-ref", "refs/remotes/origin/main", "HEAD")
    repository.git("switch", "--quiet", "change")
    assert repository.step("Compare").returncode == 0
    assert "no rules in origin/main yet" in repository.summary.read_text(encoding="utf-8")


def test_the_hook_for_commits_is_a_command_that_runs(repository: Repository) -> None:
    (hook,) = yaml.safe_load((ROOT / ".pre-commit-hooks.yaml").read_text(encoding="utf-8"))
    assert (hook["language"], hook["pass_filenames"]) == ("python", False)
    done = run_hook(repository, hook["entry"])
    assert (done.returncode, done.stdout) == (0, "2 files checked, no problems\n")
    repository.change("{max: 0.05}", "{max: dark}")
    done = run_hook(repository, hook["entry"])
    assert done.returncode == 1
    assert f"{RULE}:14: requirements.black-level.limits.max: 'dark' is not a number" in done.stdout


def run_hook(repository: Repository, entry: str) -> subprocess.CompletedProcess[str]:
    """As git runs it: with the repository of the commit in the environment."""
    settings = repository._settings(
        {"GIT_DIR": str(repository.place / ".git"), "GIT_INDEX_FILE": "x"}
    )
    return subprocess.run(
        ["sh", "-c", entry],
        cwd=repository.place,
        env=settings,
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )


def test_the_schema_that_the_rule_names_is_there() -> None:
    first = (DEMO / RULE).read_text(encoding="utf-8").splitlines()[0]
    named = first.partition("$schema=")[2]
    assert (DEMO / RULE).parent.joinpath(named).resolve() == ROOT / "compliance/schemas/rule.json"


@pytest.mark.parametrize(("name", "file"), [("rule", RULE), ("repository", ".compliance.yaml")])
def test_files_are_valid_by_the_schema_that_editors_use(name: str, file: str) -> None:
    schema = json.loads((ROOT / "compliance" / "schemas" / f"{name}.json").read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    data = yaml.safe_load((DEMO / file).read_text(encoding="utf-8"))
    for entry in data.get("requirements", {}).values():
        if "change" in entry:  # an editor leaves dates as they are written
            entry["change"]["date"] = entry["change"]["date"].isoformat()
    jsonschema.validate(data, schema)
