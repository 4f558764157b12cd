"""Rules that have another id now: the old one is archived, and points to what replaced it."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from helpers import commands
from helpers.desk import write_desk
from helpers.sample_text import write

from compliance.documents import assessment_document
from compliance.errors import RuleError
from compliance.evidence.recompute import assess_again
from compliance.model import Archived
from compliance.rules import library
from compliance.rules.library import (
    ARCHIVE,
    RENAMED,
    known_revisions,
    load_rule,
    read_renamed,
    shipped_folder,
    shipped_rules,
)
from compliance.rules.lint import check_file
from compliance.signing.attached_files import read_attachments
from compliance.verification.compare import compare

SHIPPED = shipped_folder()
HOUSE = "rule: ours\ntitle: Ours\nrevision: 1\nextends: {}\n"
NOW = "2026-11-21T08:00:00Z"
DIFF = "compliance rules diff web-old@1 web-srgb"
Run = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def renamed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the shipped rules, which once had web-srgb as web-old, at revisions 1 and 2."""
    specs = tmp_path / "package" / "specs"
    shutil.copytree(SHIPPED, specs)
    before = (specs / ARCHIVE / "web-srgb@1" / "web-srgb.yaml").read_text(encoding="utf-8")
    for revision in (1, 2):
        text = before.replace("rule: web-srgb", "rule: web-old", 1)
        text = text.replace("revision: 1", f"revision: {revision}", 1)
        write(specs / ARCHIVE / f"web-old@{revision}", {"web-old.yaml": text})
    write(specs / ARCHIVE, {RENAMED: "web-old: web-srgb\nweb-split: [web-srgb, web-p3]\n"})
    monkeypatch.setattr(library, "PACKAGE", tmp_path / "package")
    return specs


@pytest.fixture
def compliance(tmp_path: Path) -> Run:
    return lambda *args: commands.call(*args, cwd=tmp_path)


def refused(named: str | Path, search: tuple[Path, ...] = ()) -> str:
    with pytest.raises(RuleError) as failure:
        load_rule(named, search=search)
    return str(failure.value)


def test_the_shipped_table_leads_from_archived_ids_to_shipped_ones() -> None:
    table = read_renamed(SHIPPED / ARCHIVE)
    archived = {folder.name.split("@")[0] for folder in (SHIPPED / ARCHIVE).glob("*@*")}
    assert set(table) == archived - set(shipped_rules())
    assert {new for by in table.values() for new in by} <= set(shipped_rules())


def test_an_old_id_is_refused_and_led_on(renamed: Path, tmp_path: Path) -> None:
    instead = (
        "no such rule on the search path; it was replaced by web-srgb; name web-srgb, or "
        "web-old@1 or web-old@2 for its archived limits"
    )
    assert refused("web-old") == f"web-old: {instead}"
    assert refused("web-split") == (
        "web-split: no such rule on the search path; it was replaced by web-srgb and web-p3; "
        "name web-srgb or web-p3"
    )
    write(tmp_path, {"ours.yaml": HOUSE.format("web-old@3")})
    assert refused(tmp_path / "ours.yaml").endswith(f"ours.yaml:4: extends: 'web-old': {instead}")


def test_a_job_with_the_old_id_is_led_on(renamed: Path, tmp_path: Path, compliance: Run) -> None:
    job = write_desk(tmp_path, "good", deliverable="web-old")
    done = compliance("assess", job, "--out", "sheets", "--now", NOW)
    assert done.returncode == 2
    assert "it was replaced by web-srgb; name web-srgb, or web-old@1" in " ".join(
        done.stderr.split()
    )


def test_an_old_id_at_a_revision_is_archived(renamed: Path, tmp_path: Path) -> None:
    rule = load_rule("web-old@1")
    assert (rule.id, rule.revision) == ("web-old", 1)
    assert rule.archived == Archived("web-old@1", "web-old@2", ("web-srgb",))
    assert load_rule("web-old@2").archived == Archived("web-old@2", "web-old@2", ("web-srgb",))
    assert [file.path for file in rule.files] == ["archive/web-old@1/web-old.yaml"]
    assert known_revisions("web-old") == [1, 2]


def test_a_house_rule_may_keep_the_old_rule(renamed: Path, tmp_path: Path) -> None:
    write(tmp_path, {"ours.yaml": HOUSE.format("web-old@1")})
    rule = load_rule(tmp_path / "ours.yaml")
    assert rule.archived == Archived("web-old@1", "web-old@2", ("web-srgb",))
    checked = check_file(tmp_path / "ours.yaml")
    assert checked.problems == ()
    (remark,) = map(str, checked.remarks)
    assert remark.endswith(
        "ours.yaml:4: extends: the limits are those of web-old@1, an archived rule, replaced by "
        f"web-srgb; see what changed with: {DIFF}"
    )


def test_a_house_rule_with_the_old_id_is_found(renamed: Path, tmp_path: Path) -> None:
    write(tmp_path, {"web-old.yaml": HOUSE.format("web-srgb@1").replace("ours", "web-old")})
    assert load_rule("web-old", search=[tmp_path]).extends == "web-srgb@1"


def test_without_a_table_an_unknown_id_is_only_unknown(renamed: Path) -> None:
    (renamed / ARCHIVE / RENAMED).unlink()
    assert "replaced" not in refused("web-old")
    assert "replaced" not in refused("web-old@1")


def test_show_tells_it_and_diff_compares_it(renamed: Path, compliance: Run) -> None:
    text = " ".join(compliance("rules", "show", "web-old@1").stdout.split())
    assert f"Archived web-old@1; replaced by web-srgb: {DIFF}" in text
    done = compliance(*DIFF.split()[1:])
    assert done.returncode == 0
    assert done.stdout.startswith("web-old, revision 1 → web-srgb, revision ")


def test_an_assessment_remarks_on_it(renamed: Path, tmp_path: Path, compliance: Run) -> None:
    job = write_desk(tmp_path, "good", deliverable="web-old@1")
    done = compliance("assess", job, "--out", "sheets", "--now", NOW)
    told = json.loads((tmp_path / "sheets" / "KX-7-1-web-old.json").read_text())
    (remark,) = [remark for remark in told["remarks"] if remark["kind"].startswith("rule-")]
    assert remark["kind"] == "rule-replaced"
    assert remark["facts"] == {"used": "web-old@1", "by": ["web-srgb"]}
    assert (
        "The limits are those of web-old@1, an archived rule that was replaced by web-srgb. See "
        f"what changed with: {DIFF}"
    ) in " ".join(done.stdout.split())
    assert told["rule"]["archived"]["replaced_by"] == ["web-srgb"]
    sheet = (tmp_path / "sheets" / "KX-7-1-web-old.pdf").read_bytes()
    again = assess_again(read_attachments(sheet, largest=lambda _: 1 << 20))
    assert compare(told, assessment_document(again)) == ()
