"""Where a rule came from: told in the evidence, on the sheet, and again by a verification."""

from __future__ import annotations

import json
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import pytest
from helpers.simulated import csv, ideal

from compliance.assessment import assess
from compliance.documents import assessment_document
from compliance.evidence.recompute import assess_again, attachments
from compliance.model import Assessment, Measurement
from compliance.readings.load import readings_from_bytes
from compliance.report.build import build_report
from compliance.report.words import remark_text
from compliance.report.words.en.provenance import provenance
from compliance.rules import git_history
from compliance.rules.library import load_rule
from compliance.verification.compare import Topic, compare

NOW = datetime(2026, 11, 20, 16, tzinfo=UTC)
HOUSE = """\
rule: ours
title: Our broadcast master
revision: 1
extends: sdr-broadcast@2
patches:
  more: {list: patches/more.yaml}
requirements:
  more: {quantity: luminance, over: more, limits: {max: 120}}
"""
LIST = "encoding: rgb-10-narrow\npatches: {grey-502: [502, 502, 502]}\n"


def git(folder: Path, *words: str) -> str:
    said = ("-c", "user.name=A", "-c", "user.email=a@example.org", "-c", "commit.gpgsign=false")
    return subprocess.run(
        ["git", "-C", str(folder), *said, *words], capture_output=True, text=True, check=True
    ).stdout.strip()


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A house rule and its list in a folder of a place without version control."""
    monkeypatch.setenv("GIT_CEILING_DIRECTORIES", str(tmp_path.parent))
    place = tmp_path / "place"
    (place / "rules" / "patches").mkdir(parents=True)
    (place / "rules" / "ours.yaml").write_text(HOUSE, encoding="utf-8")
    (place / "rules" / "patches" / "more.yaml").write_text(LIST, encoding="utf-8")
    return place


@pytest.fixture
def committed(folder: Path) -> Path:
    try:
        git(folder, "init", "--quiet")
    except OSError:
        pytest.skip("git is not installed")
    git(folder, "add", "--all")
    git(folder, "commit", "--quiet", "--message=Rules")
    return folder


def assessed(folder: Path) -> Assessment:
    rule = load_rule(folder / "rules" / "ours.yaml")
    data = csv(ideal(rule, black=0.01), rule.encoding)
    return assess(
        Measurement(rule, readings_from_bytes(data, "readings.csv", rule.encoding)), now=NOW
    )


def about_the_rule(assessment: Assessment) -> dict[str, str]:
    return {
        one.kind: remark_text(one)
        for one in assessment.state.remarks
        if one.kind.startswith("rule")
    }


def said(assessment: Assessment) -> list[str]:
    """What the sheet says of each file."""
    facts = [fact for group in provenance(assessment) for fact in group.facts]
    return [fact.value for fact in facts if fact.label == "File"]


def of_house(assessment: Assessment) -> list[dict[str, object]]:
    files: list[dict[str, object]] = assessment_document(assessment)["rule"]["files"]
    assert [file["shipped"] for file in files] == [False, False, True, True]
    return [file for file in files if not file["shipped"]]


def test_committed_files_are_named_from_the_top_with_their_commit(committed: Path) -> None:
    commit = git(committed, "rev-parse", "HEAD")
    assessment = assessed(committed)
    assert [(file["path"], file["commit"], file["dirty"]) for file in of_house(assessment)] == [
        ("rules/ours.yaml", commit, False),
        ("rules/patches/more.yaml", commit, False),
    ]
    assert "rule-unversioned" not in about_the_rule(assessment)
    assert not any("ours.yaml" in text for text in about_the_rule(assessment).values())
    assert said(assessment)[0] == f"rules/ours.yaml, commit {commit[:12]}"


def test_changes_that_were_not_committed_are_told(committed: Path) -> None:
    with (committed / "rules" / "ours.yaml").open("a", encoding="utf-8") as stream:
        stream.write("# later\n")
    assessment = assessed(committed)
    assert [file["dirty"] for file in of_house(assessment)] == [True, False]
    text = about_the_rule(assessment)["rule-changed"]
    assert "rules/ours.yaml" in text
    assert "not committed" in text
    assert text in build_report(assessment).remarks
    assert "with uncommitted changes" in said(assessment)[0]


def test_files_under_no_version_control_are_told(folder: Path) -> None:
    assessment = assessed(folder)
    assert [(file["commit"], file["dirty"]) for file in of_house(assessment)] == [(None, None)] * 2
    text = about_the_rule(assessment)["rule-unversioned"]
    assert text.startswith("Of the rule's files, ")
    assert "ours.yaml" in text
    assert "more.yaml" in text
    assert "sdr-broadcast" not in text
    assert text in build_report(assessment).remarks
    assert "under no version control" in said(assessment)[0]


def test_without_git_it_works_and_says_so(committed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(committed))
    assessment = assessed(committed)
    assert "ours.yaml" in about_the_rule(assessment)["rule-unversioned"]


def test_shipped_rules_are_never_called_unversioned(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(folder))  # as in an installed package: no repository to ask
    monkeypatch.setattr(git_history, "_head", lambda _: None)
    rule = load_rule("sdr-broadcast")
    data = csv(ideal(rule, black=0.01), rule.encoding)
    assessment = assess(
        Measurement(rule, readings_from_bytes(data, "r.csv", rule.encoding)), now=NOW
    )
    assert about_the_rule(assessment) == {}
    assert said(assessment) == [
        "sdr-broadcast.yaml, came with the software",
        "patches/skin-and-memory-bt709.yaml, came with the software",
    ]


def test_remarks_on_the_rule_come_out_again_from_the_evidence(folder: Path) -> None:
    assessment = assessed(folder)
    files = attachments(assessment)
    stated = json.loads(files["assessment.json"])
    assert "rule-unversioned" in [one["kind"] for one in stated["remarks"]]
    assert compare(stated, assessment_document(assess_again(files))) == ()


def test_a_remark_taken_out_is_found(folder: Path) -> None:
    files = attachments(assessed(folder))
    stated = json.loads(files["assessment.json"])
    stated["remarks"] = [one for one in stated["remarks"] if one["kind"] != "rule-unversioned"]
    again = assessment_document(
        assess_again({**files, "assessment.json": json.dumps(stated).encode()})
    )
    assert [one.topic for one in compare(stated, again)] == [Topic.WORDS]
