"""`compliance rules` and `compliance schema` as processes: what they print and how they end."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import jsonschema
import pytest

from compliance.cli.rules import show
from compliance.cli.schema import NAMES
from compliance.rules.library import load_rule, shipped_rules

HOUSE = """\
rule: ours
title: Our | broadcast *master* @all
revision: 1
extends: sdr-broadcast@2
valid_for: {days: 20}
requirements:
  black-level: {limits: {max: 0.04}}
  white-level:
    limits: {nominal: 100, within: 8}
    change: {reason: older panel, agreed_by: Ada, date: 2026-11-02}
  surround:
    withdraw: true
    change: {reason: an office, agreed_by: Ada, date: 2026-11-02}
"""


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """A folder that says where its rules are, with one house rule; one stands in it."""
    (tmp_path / ".git").mkdir()
    (tmp_path / ".compliance.yaml").write_text("specs: [rules]\n")
    (tmp_path / "rules").mkdir()
    (tmp_path / "rules" / "ours.yaml").write_text(HOUSE)
    return tmp_path


def changed(house: Path, old: str, new: str) -> None:
    file = house / "rules" / "ours.yaml"
    text = file.read_text()
    assert text.count(old) == 1
    file.write_text(text.replace(old, new))


# ---------------------------------------------------------------- list


def test_list_has_house_rules_first_then_the_shipped(compliance, house):
    done = compliance("rules", "list", "--format", "json")
    assert (done.returncode, done.stderr) == (0, "")
    rules = json.loads(done.stdout)["rules"]
    assert [rule["id"] for rule in rules] == ["ours", *shipped_rules()]
    assert (rules[0]["extends"], rules[0]["shipped"]) == ("sdr-broadcast@2", False)
    assert all(rule["shipped"] for rule in rules[1:])
    assert sum(rules[0]["basis"].values()) == rules[0]["shall"] + rules[0]["should"]


def test_list_fits_a_terminal(compliance, house):
    done = compliance("rules", "list")
    assert done.returncode == 0
    assert all(len(line) <= 80 for line in done.stdout.splitlines())
    assert done.stdout.splitlines()[0].split() == ["rule", "revision", "title", "limits", "by",
                                                   "basis"]  # fmt: skip
    assert "digest" in done.stdout


def test_list_as_markdown_has_one_row_per_rule(compliance, house):
    lines = compliance("rules", "list", "--format", "markdown").stdout.splitlines()
    assert len(lines) == 2 + 1 + len(shipped_rules())
    assert "Our \\| broadcast \\*master\\* &#64;all (extends sdr-broadcast&#64;2)" in lines[2]


def test_list_goes_on_after_a_rule_that_cannot_be_read(compliance, house):
    changed(house, "max: 0.04", "max: dark")
    done = compliance("rules", "list", "--format", "json")
    assert done.returncode == 2
    assert [rule["id"] for rule in json.loads(done.stdout)["rules"]] == shipped_rules()
    assert done.stderr.startswith("rules/ours.yaml:7: requirements.black-level.limits.max: 'dark'")


def test_specs_takes_further_folders(compliance, tmp_path):
    (tmp_path / "more").mkdir()
    (tmp_path / "more" / "ours.yaml").write_text(HOUSE)
    assert '"ours"' in compliance("rules", "list", "--specs", "more", "--format", "json").stdout
    assert compliance("rules", "show", "ours").returncode == 2
    assert compliance("rules", "show", "ours", "--specs", "more").returncode == 0
    done = compliance("rules", "list", "--specs", "nowhere")
    assert (done.returncode, done.stderr) == (2, "nowhere: no such folder of rule files\n")


# ---------------------------------------------------------------- show


def test_show_says_each_limit_and_where_it_stands(compliance, house):
    done = compliance("rules", "show", "ours")
    assert (done.returncode, done.stderr) == (0, "")
    text = done.stdout.replace("\u00a0", " ")
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "Luminance of black: at most 0.04 cd/m²\n    house (rules/ours.yaml:7)\n" in text
    assert "digest, EBU Tech 3320 v4.1, 1.5.4 (specs/sdr-broadcast.yaml:" in text
    assert "± 10 % up to 10 cd/m²; ± 5 %" in text
    assert "withdrawn: an office; agreed by Ada, 2026-11-02" in text
    assert "21 neutral steps from 0 to 100 % of the signal" in text
    assert "sdr-broadcast@2" in text


SCOPE = """\
not_covered:
  - {clause: "Client's notes, 4.2", what: the picture from the side, why: the meter stays in front}
accepts:
  - {target: {transfer: {curve: power, exponent: 2.2}}, reason: their screens have it}
"""


def test_show_says_what_is_not_covered_and_what_may_pass(compliance, house):
    (house / "rules" / "ours.yaml").write_text(HOUSE + "accepts: []\n")
    assert "Also passes by intent" not in compliance("rules", "show", "ours").stdout
    (house / "rules" / "ours.yaml").write_text(HOUSE + SCOPE)
    text = compliance("rules", "show", "ours").stdout
    assert all(len(line) <= 80 for line in text.splitlines())
    assert (
        "\nAlso passes by intent\n"
        "  Curve power, exponent 2.2, added to the black: their screens have it\n"
    ) in text
    assert "\nNot covered: what documents ask and this rule does not test\n  EBU" in text
    assert (
        "\n  Client's notes, 4.2: the picture from the side\n"
        "    Why not: the meter stays in front\n"
    ) in text
    marked = compliance("rules", "show", "ours", "--format", "markdown").stdout
    assert "- Curve power, exponent 2.2, added to the black: their screens have it\n" in marked
    assert (
        "| Client's notes, 4.2 | the picture from the side | the meter stays in front |" in marked
    )


def test_show_as_yaml_and_json_has_both(compliance, house):
    (house / "rules" / "ours.yaml").write_text(HOUSE + SCOPE)
    data = json.loads(compliance("rules", "show", "ours", "--format", "json").stdout)["resolved"]
    assert data["not_covered"][-1]["clause"] == "Client's notes, 4.2"
    assert data["accepts"][0]["target"] == {"transfer": {"curve": "power", "exponent": 2.2}}
    written = compliance("rules", "show", "ours", "--format", "yaml").stdout
    (house / "rules" / "ours.yaml").write_text(written)
    again = json.loads(compliance("rules", "show", "ours", "--format", "json").stdout)["resolved"]
    assert (again["not_covered"], again["accepts"]) == (data["not_covered"], data["accepts"])


def test_diff_names_added_entries(compliance, house):
    (house / "rules" / "ours.yaml").write_text(HOUSE + SCOPE)
    done = " ".join(compliance("rules", "diff", "sdr-broadcast", "ours").stdout.split())
    assert (
        "reworded not_covered added: Client's notes, 4.2: the picture from the side. Why not: the "
        "meter stays in front"
    ) in done
    assert (
        "reworded accepts removed: Curve power, exponent 2.4, added to the black: BT.1886" in done
    )
    assert " added: Curve power, exponent 2.2, added to the black: their screens have it" in done


@pytest.mark.parametrize("name", shipped_rules())
def test_show_writes_a_rule_that_reads_the_same(capsys, tmp_path, name):
    show.main([name, "--format", "yaml"], standalone_mode=False)
    text = capsys.readouterr().out
    (tmp_path / f"my-{name}.yaml").write_text(
        text.replace(f"\nrule: {name}\n", f"\nrule: my-{name}\n"), encoding="utf-8"
    )
    again, rule = load_rule(tmp_path / f"my-{name}.yaml"), load_rule(name)
    assert again.requirements == rule.requirements
    assert (again.target, again.sets, again.decision) == (rule.target, rule.sets, rule.decision)
    assert {**again.resolved, "rule": name} == rule.resolved


def test_show_writes_a_house_rule_without_its_parents(compliance, house):
    text = compliance("rules", "show", "ours", "--format", "yaml").stdout
    assert "\n# extends sdr-broadcast@2\n" in text
    assert "# change of requirements.surround: withdrawn: an office" in text
    alone = house / "alone"
    alone.mkdir()
    (alone / "alone.yaml").write_text(text.replace("\nrule: ours\n", "\nrule: alone\n"))
    again, rule = load_rule(alone / "alone.yaml"), load_rule(house / "rules" / "ours.yaml")
    assert again.requirements == rule.requirements
    assert again.extends is None


def test_show_as_json_holds_what_is_hashed(compliance, house):
    data = json.loads(compliance("rules", "show", "ours", "--format", "json").stdout)
    rule = load_rule(house / "rules" / "ours.yaml")
    assert (data["digest"], data["resolved"]) == (rule.digest, rule.resolved)
    assert [file["shipped"] for file in data["files"]] == [False, True, True]  # with its patch list


def test_show_as_markdown_is_a_table(compliance, house):
    text = compliance("rules", "show", "rules/ours.yaml", "--format", "markdown").stdout
    assert text.startswith("## `ours`, revision 1: Our \\| broadcast \\*master\\* &#64;all\n")
    asked, not_covered = text.split("### Not covered")
    for part, columns in ((asked, 5), (not_covered, 3)):
        rows = [line for line in part.splitlines() if line.startswith("| ")]
        assert {line.replace("\\|", "").count("|") for line in rows} == {columns + 1}


def test_show_of_no_rule_names_the_nearest(compliance, house):
    done = compliance("rules", "show", "sdr-brodcast")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "sdr-brodcast: no such rule on the search path; did you mean 'sdr-broadcast'?\n"
    )


# ---------------------------------------------------------------- check


def test_check_looks_at_the_repository_unless_told(compliance, house):
    done = compliance("rules", "check")
    assert (done.returncode, done.stdout) == (0, "2 files checked, no problems\n")
    changed(house, "max: 0.04", "mx: 0.04")
    done = compliance("rules", "check")
    assert (done.returncode, done.stderr) == (1, "")
    assert done.stdout == (
        "rules/ours.yaml:7: requirements.black-level.limits.mx: unknown key 'mx'; did you mean "
        "'max'?\n2 files checked, 1 problem\n"
    )


def test_check_of_a_broken_repository_file(compliance, house):
    (house / ".compliance.yaml").write_text("specs: [roles]\n")
    done = compliance("rules", "check", "rules")
    assert done.returncode == 2
    assert ".compliance.yaml:1: specs[0]: 'roles': no such folder" in done.stderr


def test_check_as_json_and_for_a_workflow(compliance, house):
    changed(house, "within: 8}\n", 'within: "8%,:"}\n')
    data = json.loads(compliance("rules", "check", "rules", "--format", "json").stdout)
    assert data["files"] == ["rules/ours.yaml"]
    (complaint,) = data["complaints"]
    assert (complaint["file"], complaint["line"]) == ("rules/ours.yaml", 9)
    done = compliance("rules", "check", "rules", "--format", "github")
    assert done.returncode == 1
    assert done.stdout.startswith(
        "::error file=rules/ours.yaml,line=9,title=requirements.white-level.limits.within::'8%25,:'"
    )
    assert done.stdout.count("\n") == 1


def test_a_complaint_cannot_end_its_workflow_command(compliance, house):
    changed(house, "title: Our", "tit%0Ale::,le: Our")
    done = compliance("rules", "check", "--format", "github")
    assert done.returncode == 1
    for line in done.stdout.splitlines():
        head, _, _ = line.removeprefix("::error ").partition("::")
        assert [part.split("=")[0] for part in head.split(",")] == ["file", "line", "title"]
        assert "%0A" not in line.replace("%250A", "")


@pytest.mark.parametrize(
    ("paths", "message"),
    [
        (["gone.yaml"], "gone.yaml: no such file or folder"),
        (["."], ".: no rule files (*.yaml) in this folder"),
        (["notes.txt"], "notes.txt: is not a rule file; expected a name that ends in .yaml"),
        ([], "no PATH given, and no .compliance.yaml in or above this folder names folders of "
         "rules"),
    ],
)  # fmt: skip
def test_check_of_nothing_is_a_wrong_call(compliance, tmp_path, paths, message):
    (tmp_path / ".git").mkdir()
    (tmp_path / "notes.txt").write_text("")
    done = compliance("rules", "check", *paths)
    assert (done.returncode, done.stdout, done.stderr) == (2, "", f"compliance: {message}\n")


# ---------------------------------------------------------------- diff


def test_diff_of_a_house_rule_and_its_parent(compliance, house):
    done = compliance("rules", "diff", "sdr-broadcast", "ours", "--format", "json")
    assert (done.returncode, done.stderr) == (0, "")
    data = json.loads(done.stdout)
    assert data["kind"] == "loosened"
    (rule,) = data["rules"]
    assert (rule["old"]["id"], rule["new"]["id"], rule["kind"]) == (
        "sdr-broadcast", "ours", "changed",
    )  # fmt: skip
    assert {row["subject"]: row["kind"] for row in rule["rows"]} == {
        "title": "reworded",
        "valid_for": "tightened",
        "requirements.black-level": "tightened",
        "requirements.white-level": "loosened",
        "requirements.surround": "withdrawn",
    }
    (row,) = [row for row in rule["rows"] if row["subject"] == "requirements.white-level"]
    assert row["details"][0] == {
        "key": "limits", "kind": "loosened", "was": "100\u00a0±\u00a05\u00a0cd/m²",
        "now": "100\u00a0±\u00a08\u00a0cd/m²",
    }  # fmt: skip
    assert row["stated"] == "older panel; agreed by Ada, 2026-11-02"


def test_diff_in_words_has_the_worst_first_and_fits_a_terminal(compliance, house):
    lines = compliance("rules", "diff", "sdr-broadcast", "ours").stdout.splitlines()
    assert all(len(line) <= 80 for line in lines)
    kinds = [line.split()[0] for line in lines[1:] if not line.startswith((" ", "1"))]
    assert kinds == ["loosened", "withdrawn", "tightened", "tightened", "reworded"]
    assert lines[-1] == "1 loosened, 1 withdrawn, 2 tightened, 1 reworded"


def test_diff_as_markdown_keeps_its_columns(compliance, house):
    text = compliance("rules", "diff", "sdr-broadcast", "ours", "--format", "markdown").stdout
    rows = [line for line in text.splitlines() if line.startswith("|")]
    assert len(rows) == 7
    assert {line.replace("\\|", "").count("|") for line in rows} == {6}
    assert "| **loosened** | White luminance (white-level) | limits: 100 ± 5 cd/m²<br>" in text
    assert "&#64;all" in text


@pytest.mark.parametrize(
    ("old", "new", "fail_on", "code"),
    [
        ("max: 0.04", "max: 0.03", "loosened", 0),
        ("max: 0.04", "max: 0.03", "any", 1),
        ("max: 0.04", "max: 0.05", "loosened", 1),
        ("max: 0.04", "min: 0.01, max: 0.05", "loosened", 1),
        ("title: Our", "title: Their", "loosened", 0),
        ("title: Our", "title: Their", "any", 1),
        ("revision: 1\n", "revision: 1\n# words\n", "any", 0),
        ("valid_for: {days: 20}\n", "", "loosened", 1),
    ],
)
def test_fail_on(compliance, house, old, new, fail_on, code):
    (house / "before").mkdir()
    (house / "before" / "ours.yaml").write_text(HOUSE)
    changed(house, old, new)
    for sides in (("before", "rules"), ("before/ours.yaml", "rules/ours.yaml")):
        done = compliance("rules", "diff", *sides, "--fail-on", fail_on)
        assert (done.returncode, done.stderr) == (code, "")


def test_two_sides_are_of_a_kind(compliance, house):
    done = compliance("rules", "diff", "rules", "sdr-broadcast")
    assert done.returncode == 2
    assert done.stderr == (
        "compliance: one side is a rule and the other a folder; expected two rules or folders\n"
    )
    (house / "empty").mkdir()
    done = compliance("rules", "diff", "empty", "rules")
    assert done.stderr == "compliance: empty: no rule files (*.yaml) in this folder\n"


def test_ids_with_their_revision(compliance, house):
    assert compliance("rules", "diff", "sdr-broadcast@2", "ours@1").returncode == 0
    done = compliance("rules", "diff", "ours@7", "ours@1")
    assert done.returncode == 2
    assert "the known revisions of ours are 1, and no commit" in done.stderr


def git(folder: Path, *words: str) -> None:
    said = ("-c", "user.name=A", "-c", "user.email=a@example.org", "-c", "commit.gpgsign=false")
    subprocess.run(["git", "-C", str(folder), *said, *words], capture_output=True, check=True)


def test_revisions_of_a_repository(compliance, house):
    (house / ".git").rmdir()
    try:
        git(house, "init", "--quiet", "--initial-branch=main")
    except OSError:
        pytest.skip("git is not installed")
    git(house, "add", "--all")
    git(house, "commit", "--quiet", "--message=first")
    changed(house, "revision: 1\n", "revision: 2\n")
    changed(house, "max: 0.04", "max: 0.03")
    for sides in (
        ("main:rules/ours.yaml", "rules/ours.yaml"),
        ("main:./rules/ours.yaml", "ours"),
        ("HEAD:rules", "rules"),
    ):
        done = compliance("rules", "diff", *sides, "--fail-on", "loosened")
        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout.splitlines()[0] == "ours, revision 1 → 2"
        assert "tightened  Black luminance (black-level)" in done.stdout
    git(house, "commit", "--quiet", "--all", "--message=second")
    done = compliance("rules", "diff", "ours@1", "ours@2")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines()[0] == "ours, revision 1 → 2"


def test_a_job_finds_the_rules_of_its_repository(compliance, desk, house):
    desk("good", deliverable="small")
    (house / "rules" / "small.yaml").write_text(
        (house / "tiny.yaml").read_text().replace("rule: tiny", "rule: small")
    )
    elsewhere = house / "elsewhere"
    elsewhere.mkdir()
    job = Path("..") / "job.yaml"
    done = compliance("assess", job, "--out", "../out", "--no-sheet", cwd=elsewhere)
    assert (done.returncode, done.stderr) == (0, "")
    document = json.loads((house / "out" / "KX-7-1-small.json").read_text())
    assert [one["kind"] for one in document["remarks"] if one["kind"].startswith("rule")] == [
        "rule-unversioned"
    ]


# ---------------------------------------------------------------- schema


@pytest.mark.parametrize("name", NAMES)
def test_schemas_are_printed_and_found(compliance, name):
    done = compliance("schema", name)
    assert (done.returncode, done.stderr) == (0, "")
    jsonschema.Draft202012Validator.check_schema(json.loads(done.stdout))
    path = Path(compliance("schema", name, "--path").stdout.removesuffix("\n"))
    assert path.read_text(encoding="utf-8") == done.stdout


def test_a_schema_that_is_none(compliance):
    done = compliance("schema", "rool")
    assert done.returncode == 2
    assert "'rool' is not one of 'rule', 'job', 'meter', 'assessment', 'deviation'" in done.stderr
