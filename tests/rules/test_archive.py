"""Archived revisions of shipped rules: found by `ID@REVISION`, told wherever one is in use."""

from __future__ import annotations

import csv
import json
import re
import shutil
import subprocess
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from helpers import commands
from helpers.desk import write_desk
from helpers.sample_text import write

from compliance.assessment import assess
from compliance.documents import assessment_document
from compliance.errors import RuleError
from compliance.evidence.recompute import assess_again, attachments
from compliance.model import Archived, Measurement
from compliance.readings.load import load_readings
from compliance.rules import library
from compliance.rules.library import (
    ARCHIVE,
    known_revisions,
    load_rule,
    load_unchecked_id,
    shipped_folder,
    shipped_rules,
)
from compliance.rules.lint import check_file

TABLE = Path(__file__).parents[1] / "tables" / "archived-rules.csv"
SHIPPED = shipped_folder()
NEWEST = 7
HOUSE = "rule: ours\ntitle: Ours\nrevision: 1\nextends: web-srgb@{}\n"
SAYS = (
    f"web-srgb@1, an archived revision; the newest is web-srgb@{NEWEST}",
    f"compliance rules diff web-srgb@1 web-srgb@{NEWEST}",
)
Run = Callable[..., subprocess.CompletedProcess[str]]


def archived_rules() -> list[tuple[str, str, str]]:
    lines = [line for line in TABLE.read_text(encoding="utf-8").splitlines() if line[0] != "#"]
    return [(row["rule"], row["revision"], row["digest"]) for row in csv.DictReader(lines)]


@pytest.fixture
def raised(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the shipped rules, in which web-srgb has a newer revision with another limit."""
    specs = tmp_path / "package" / "specs"
    shutil.copytree(SHIPPED, specs)
    file = specs / "web-srgb.yaml"
    text = file.read_text(encoding="utf-8")
    text = re.sub(r"(?m)^revision: .*$", f"revision: {NEWEST}", text, count=1)
    text = re.sub(r"(?m)^valid_for: .*$", "valid_for: {days: 5}", text, count=1)
    file.write_text(text, encoding="utf-8")
    monkeypatch.setattr(library, "PACKAGE", tmp_path / "package")
    return specs


@pytest.fixture
def compliance(tmp_path: Path) -> Run:
    return lambda *args: commands.call(*args, cwd=tmp_path)


# ---------------------------------------------------------------- the archive itself


@pytest.mark.parametrize(("name", "revision", "digest"), archived_rules())
def test_an_archived_rule_keeps_its_digest(name: str, revision: str, digest: str) -> None:
    rule = load_unchecked_id(SHIPPED / ARCHIVE / f"{name}@{revision}" / f"{name}.yaml")
    assert (rule.id, str(rule.revision), rule.digest) == (name, revision, digest)


def test_the_table_names_the_whole_archive() -> None:
    found = sorted(folder.name for folder in (SHIPPED / ARCHIVE).iterdir() if folder.is_dir())
    assert found == sorted(f"{name}@{revision}" for name, revision, _ in archived_rules())


@pytest.mark.parametrize("name", shipped_rules())
def test_every_earlier_revision_is_archived(name: str) -> None:
    newest = load_rule(name).revision
    assert known_revisions(name) == list(range(1, newest + 1))


@pytest.mark.parametrize("name", shipped_rules())
def test_an_archived_revision_is_not_changed_in_place(name: str) -> None:
    """A rule whose revision is archived wants a new one for each change of its limits."""
    rule = load_rule(name)
    pinned = {(one, revision): digest for one, revision, digest in archived_rules()}
    assert pinned.get((name, str(rule.revision)), rule.digest) == rule.digest


def test_the_archive_is_not_listed(compliance: Run) -> None:
    rules = json.loads(compliance("rules", "list", "--format", "json").stdout)["rules"]
    assert [rule["id"] for rule in rules] == shipped_rules()


# ---------------------------------------------------------------- an id at a revision


def test_the_newest_revision_is_no_archived_one(raised: Path) -> None:
    for named in ("web-srgb", f"web-srgb@{NEWEST}"):
        rule = load_rule(named)
        assert (rule.revision, rule.valid_days, rule.archived) == (NEWEST, 5, None)


def test_an_archived_revision_has_its_own_limits_and_lists(raised: Path) -> None:
    for file in (raised / "patches").iterdir():
        with file.open("a", encoding="utf-8") as text:
            text.write("  one-more: [101, 102, 103]\n")
    pinned = {name: digest for name, revision, digest in archived_rules() if revision == "1"}
    grade, newest = load_rule("sdr-broadcast-grade-1@1"), load_rule("sdr-broadcast-grade-1")
    assert grade.digest == pinned["sdr-broadcast-grade-1"]
    assert grade.sets["dark"].patches != newest.sets["dark"].patches
    rule = load_rule("web-srgb@1")
    assert (rule.revision, rule.archived) == (1, Archived("web-srgb@1", f"web-srgb@{NEWEST}"))
    assert rule.digest == pinned["web-srgb"]
    assert rule.files[0].path == "archive/web-srgb@1/web-srgb.yaml"
    assert all(file.shipped for file in rule.files)


def test_an_unknown_revision_names_the_known_ones(raised: Path, tmp_path: Path) -> None:
    expected = f"no such revision; expected one of the known ones: web-srgb@1 and web-srgb@{NEWEST}"
    with pytest.raises(RuleError) as failure:
        load_rule("web-srgb@3")
    assert str(failure.value) == f"web-srgb@3: {expected}"
    write(tmp_path, {"ours.yaml": HOUSE.format(3)})
    with pytest.raises(RuleError) as failure:
        load_rule(tmp_path / "ours.yaml")
    assert str(failure.value).endswith(f"ours.yaml:4: extends: 'web-srgb@3': {expected}")


def test_a_house_rule_has_no_archive(tmp_path: Path) -> None:
    write(tmp_path, {"ours.yaml": HOUSE.format(1)})
    copy = tmp_path / ARCHIVE / "ours@4"
    write(copy, {"ours.yaml": HOUSE.format(1).replace("revision: 1", "revision: 4")})
    with pytest.raises(RuleError, match=r"ours@4: the search path has ours@1; see what changed"):
        load_rule("ours@4", search=[tmp_path])


# ---------------------------------------------------------------- in use


def test_a_house_rule_extends_an_archived_revision(raised: Path, tmp_path: Path) -> None:
    write(tmp_path, {"ours.yaml": HOUSE.format(1)})
    write(tmp_path, {"below.yaml": HOUSE.format(1).replace("rule: ours", "rule: below")})
    below = (tmp_path / "below.yaml").read_text().replace("web-srgb@1", "ours@1")
    write(tmp_path, {"below.yaml": below})
    for stem in ("ours", "below"):
        rule = load_rule(tmp_path / f"{stem}.yaml")
        assert rule.archived == Archived("web-srgb@1", f"web-srgb@{NEWEST}")
        assert rule.valid_days == load_rule("web-srgb@1").valid_days
        checked = check_file(tmp_path / f"{stem}.yaml")
        assert checked.problems == ()
        (remark,) = map(str, checked.remarks)
        assert f"{stem}.yaml:4: extends: the limits are those of" in remark
        assert all(part in remark for part in SAYS)
    write(tmp_path, {"ours.yaml": HOUSE.format(NEWEST)})
    assert check_file(tmp_path / "ours.yaml") == ((), ())


def test_rules_check_tells_it_and_ends_well(raised: Path, tmp_path: Path, compliance: Run) -> None:
    write(tmp_path, {"ours.yaml": HOUSE.format(1)})
    done = compliance("rules", "check", "ours.yaml")
    assert done.returncode == 0
    assert SAYS[1] in done.stdout
    assert done.stdout.endswith("1 file checked, no problems, 1 remark\n")
    data = json.loads(compliance("rules", "check", "ours.yaml", "--format", "json").stdout)
    assert (data["complaints"], data["remarks"][0]["line"]) == ([], 4)
    noted = compliance("rules", "check", "ours.yaml", "--format", "github").stdout
    assert noted.startswith("::notice file=ours.yaml,line=4,title=extends::")


def test_show_tells_it(raised: Path, compliance: Run) -> None:
    text = compliance("rules", "show", "web-srgb@1").stdout
    assert text.startswith("web-srgb, revision 1\n")
    assert "Archived" in text
    assert "Archived" not in compliance("rules", "show", "web-srgb").stdout


def test_diff_compares_it(raised: Path, compliance: Run) -> None:
    done = compliance("rules", "diff", "web-srgb@1", "web-srgb")
    assert done.returncode == 0
    assert done.stdout.startswith(f"web-srgb, revision 1 → {NEWEST}\n")
    assert "days → 5 days" in done.stdout


@pytest.mark.parametrize("deliverable", ["web-srgb@1", "ours.yaml"])
def test_an_assessment_remarks_on_it(
    raised: Path, tmp_path: Path, compliance: Run, deliverable: str
) -> None:
    write(tmp_path, {"ours.yaml": HOUSE.format(1)})
    job = write_desk(tmp_path, "good", deliverable=deliverable)
    done = compliance("assess", job, "--out", "sheets", "--now", "2026-11-21T08:00:00Z")
    stem = "ours" if "ours" in deliverable else "web-srgb"
    told = json.loads((tmp_path / "sheets" / f"KX-7-1-{stem}.json").read_text())
    (remark,) = [remark for remark in told["remarks"] if remark["kind"] == "rule-archived"]
    newest = f"web-srgb@{NEWEST}"
    assert remark["facts"] == {"used": "web-srgb@1", "newest": newest}
    assert SAYS[1] in " ".join(done.stdout.split())
    assert told["rule"]["archived"] == {"used": "web-srgb@1", "newest": newest, "replaced_by": []}


def test_the_newest_revision_earns_no_remark(raised: Path, tmp_path: Path, compliance: Run) -> None:
    job = write_desk(tmp_path, "good", deliverable="web-srgb")
    compliance("assess", job, "--out", "sheets", "--now", "2026-11-21T08:00:00Z")
    told = json.loads((tmp_path / "sheets" / "KX-7-1-web-srgb.json").read_text())
    assert "rule-archived" not in [remark["kind"] for remark in told["remarks"]]
    assert told["rule"]["archived"] is None


def test_computed_again_the_remark_stays_as_it_was(raised: Path, tmp_path: Path) -> None:
    """It names the newest revision of then, though the rule has another one now."""
    write_desk(tmp_path, "good")
    rule = load_rule("web-srgb@1")
    measurement = Measurement(
        rule=rule, readings=load_readings(tmp_path / "good.csv", "rgb-8-full")
    )
    assessed = assess(measurement, now=datetime(2026, 11, 21, 8, tzinfo=UTC))
    shutil.rmtree(raised)
    shutil.copytree(SHIPPED, raised)
    again = assess_again(attachments(assessed))
    assert again.rule == rule
    assert assessment_document(again) == assessment_document(assessed)
