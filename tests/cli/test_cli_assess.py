"""`compliance assess` as a process: what it writes, prints and returns."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from helpers.desk import known

from compliance.model import ENCODINGS

NOW = ("--now", "2026-11-21T08:00:00Z")
HEAVY = ("colour", "reportlab", "pyhanko", "pikepdf", "cryptography")
EXPECTED = "expected a job's .yaml file or a file of readings"


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def last_line(text: str) -> str:
    return text.splitlines()[-1]


# ---------------------------------------------------------------- outcomes


def test_each_outcome_has_its_place_and_the_code_is_of_the_worst(compliance, desk, tmp_path):
    desk("good", "bright", "open")
    done = compliance("assess", "job.yaml", "--out", "out", "--no-sheet", *NOW)
    assert done.stderr == ""
    assert done.returncode == 1
    assert done.stdout.startswith(
        "KX-7 · A film about kelp\n"
        "\n"
        "slot  tiny\n"
        "1     ◐ conditionally\n      compliant\n"
        "2     ⊖ not compliant\n"
        "3     ◌ undecided\n"
    )
    assert done.stdout.endswith(
        "\nWritten:\n  out/KX-7-1-tiny.json\n  out/KX-7-2-tiny.json\n  out/KX-7-3-tiny.json\n"
    )
    assert "112.5 cd/m²; limit 95 to 105 cd/m²" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert names(tmp_path / "out") == [f"KX-7-{slot}-tiny.json" for slot in (1, 2, 3)]


@pytest.mark.parametrize(
    ("kinds", "code"),
    [
        (("good",), 0),
        (("bright",), 1),
        (("open",), 3),
        (("good", "open"), 3),
        (("open", "bright"), 1),
        (("bright", "bad", "good"), 2),
    ],
)
def test_exit_codes(compliance, desk, kinds, code):
    desk(*kinds)
    assert compliance("assess", "job.yaml", "--no-sheet", *NOW).returncode == code


def test_an_appendix_is_stated_in_the_document(compliance, desk, tmp_path):
    desk("good")
    asked = ("--out", "out", "--appendix", "readings")
    assert compliance("assess", "job.yaml", *asked, *NOW).returncode == 0
    document = json.loads((tmp_path / "out" / "KX-7-1-tiny.json").read_text())
    assert document["appendices"] == ["readings"]
    done = compliance("assess", "job.yaml", "--no-sheet", "--appendix", "readings", *NOW)
    assert (done.returncode, last_line(done.stderr)) == (
        2,
        "compliance: give --appendix or --no-sheet, not both",
    )


def test_a_bad_slot_does_not_stop_the_others(compliance, desk, tmp_path):
    desk("good", "bad", "bright")
    done = compliance("assess", "job.yaml", "--out", "out", "--no-sheet", "--format", "json", *NOW)
    assert done.returncode == 2
    assert names(tmp_path / "out") == ["KX-7-1-tiny.json", "KX-7-3-tiny.json"]
    told = json.loads(done.stdout)
    assert [each["verdict"] for each in told["assessments"]] == ["compliant", "not-compliant"]
    (error,) = told["errors"]
    assert (error["slot"], error["deliverable"], error["exit_code"]) == ("2", "tiny", 2)
    assert len(error["messages"]) == 1
    assert "bad.csv:2: Y: " in error["messages"][0]
    assert "'a lot'" in error["messages"][0]
    assert done.stderr == error["messages"][0] + "\n"


def test_a_rule_that_is_not_there_is_its_slots_fault(compliance, desk):
    desk("good", "good", deliverable="[tiny.yaml, web-srbg]")
    done = compliance("assess", "job.yaml", "--no-sheet", *NOW)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert "web-srbg" in done.stderr
    assert "1     ◐ conditionally   ! error\n" in done.stdout


def test_the_same_input_gives_the_same_bytes(compliance, desk, tmp_path):
    desk("good")
    for folder in ("a", "b"):
        assert compliance("assess", "job.yaml", "--out", folder, *NOW).returncode == 0
    for name in ("KX-7-1-tiny.json", "KX-7-1-tiny.pdf"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_one_slot_and_another_rule(compliance, desk, tmp_path):
    desk("good", "bright")
    (tmp_path / "wide.yaml").write_text(
        (tmp_path / "tiny.yaml").read_text().replace("tiny", "wide").replace("105", "125")
    )
    done = compliance(
        "assess", "job.yaml", "--no-sheet", "--slot", "2", "--rule", "wide.yaml", *NOW
    )
    assert done.returncode == 0
    assert "slot  wide\n2     ◐ conditionally\n      compliant\n" in done.stdout


def test_rules_of_another_folder(compliance, desk, tmp_path):
    desk("good", deliverable="tiny")
    (tmp_path / "rules").mkdir()
    (tmp_path / "tiny.yaml").rename(tmp_path / "rules" / "tiny.yaml")
    done = compliance("assess", "job.yaml", "--no-sheet", "--specs", "rules", *NOW)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_rule_outside_the_jobs_folder_must_be_allowed(compliance, desk, tmp_path):
    desk("good", deliverable="../rules/tiny.yaml")
    (tmp_path / "rules").mkdir()
    (tmp_path / "job").mkdir()
    (tmp_path / "tiny.yaml").rename(tmp_path / "rules" / "tiny.yaml")
    for name in ("job.yaml", "good.csv"):
        (tmp_path / name).rename(tmp_path / "job" / name)
    done = compliance("assess", "job/job.yaml", "--no-sheet", *NOW)
    assert done.returncode == 2
    assert done.stderr == (
        "job/job.yaml: slots[0].deliverable: '../rules/tiny.yaml' is outside the job's folder; "
        "expected a file inside it, or a rule's id with --specs DIR\n"
    )
    done = compliance("assess", "job/job.yaml", "--no-sheet", "--allow-outside", *NOW)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_rule_named_twice_is_judged_once(compliance, desk):
    desk("good")
    twice = ("--rule", "tiny.yaml", "--rule", "tiny.yaml")
    done = compliance("assess", "job.yaml", "--out", "out", "--no-sheet", *twice, *NOW)
    assert (done.returncode, done.stderr) == (0, "")


# ---------------------------------------------------------------- bare readings


def test_bare_readings(compliance, desk, tmp_path):
    desk("bright")
    before = names(tmp_path)
    done = compliance(
        "assess", "bright.csv", "--rule", "tiny.yaml", "--encoding", "rgb-8-full", *NOW
    )
    assert (done.returncode, done.stderr) == (1, "")
    assert done.stdout.startswith("slot        tiny\nbright.csv  ⊖ not compliant\n")
    assert "bright.csv · tiny, revision 1" in done.stdout
    assert names(tmp_path) == before


BARE = ("--rule", "tiny.yaml", *NOW)


@pytest.mark.parametrize(
    ("file", "where"),
    [
        ("slot.txt", "slot.txt: ENCODING"),
        ("slot.cxf", "slot.cxf: Tag encoding"),
        ("slot.csv", "slot.csv:2: encoding"),
    ],
)
def test_a_file_that_states_its_encoding_needs_none_said(compliance, desk, file, where):
    desk("good")
    assert compliance("convert", "good.csv", file, "--encoding", "rgb-8-full").returncode == 0
    alone = compliance("assess", file, *BARE)
    assert (alone.returncode, alone.stderr) == (0, "")
    assert compliance("assess", file, *BARE, "--encoding", "rgb-8-full").stdout == alone.stdout
    other = compliance("assess", file, *BARE, "--encoding", "rgb-10-full")
    assert other.returncode == 2
    told = "'rgb-8-full' is not the encoding given for this file; expected rgb-10-full"
    assert other.stderr.startswith(f"{where}: {told}")
    assert other.stderr.count("\n") == 1


def test_a_file_that_states_no_encoding_asks_for_it(compliance, desk):
    desk("good")
    done = compliance("assess", "good.csv", *BARE)
    assert done.returncode == 2
    assert done.stderr == (
        "good.csv: the encoding of the code values is not stated; use --encoding NAME, "
        f"one of {', '.join(ENCODINGS)}\n"
    )


KINDS = """\
  beam: {title: Beam, quantity: luminance, over: white, displays: projector, limits: {min: 95}}
"""
ASKED = "\nWithout a job, give the display's technology with --technology NAME, one of lcd,\n"


def test_the_kind_of_display_is_said_as_in_a_job(compliance, desk, tmp_path):
    desk("good")
    with (tmp_path / "tiny.yaml").open("a") as rule:
        rule.write(KINDS)
    bare = ("assess", "good.csv", *BARE, "--encoding", "rgb-8-full")
    unsaid = compliance(*bare)
    assert (unsaid.returncode, unsaid.stderr) == (3, "")
    assert unsaid.stdout.endswith(f"{ASKED}oled, led, crt, plasma, projector.\n")
    beam = compliance(*bare, "--technology", "projector")
    assert beam.returncode == 0
    assert "◐ Beam" in beam.stdout
    assert "--technology" not in beam.stdout
    panel = compliance(*bare, "--technology", "oled")
    assert panel.returncode == 0
    assert "– Beam: not for this kind of display" in panel.stdout
    assert "on a display whose black gives no light" in " ".join(panel.stdout.split())


def test_the_kind_of_display_stands_in_the_document(compliance, desk, tmp_path):
    desk("good")
    with (tmp_path / "tiny.yaml").open("a") as rule:
        rule.write(KINDS)
    bare = ("assess", "good.csv", *BARE, "--encoding", "rgb-8-full", "--format", "json")
    said = compliance(*bare, "--technology", "lcd")
    (found,) = json.loads(said.stdout)["assessments"]
    assert found["display"]["technology"] == "lcd"
    assert said.stderr == ""
    unsaid = compliance(*bare)
    assert json.loads(unsaid.stdout)["assessments"][0]["display"] is None
    assert unsaid.stderr.startswith(ASKED.strip())


@pytest.mark.parametrize(
    ("args", "line"),
    [
        (
            ["good.csv"],
            "compliance: good.csv: readings without a job require --rule; "
            "a job file's name ends in .yaml",
        ),
        (
            ["good.csv", "--rule", "tiny.yaml", "--encoding", "rgb-8-full", "--out", "out"],
            "compliance: --out requires a job file (.yaml); good.csv is read as readings",
        ),
        *(
            ([name, "--out", "out"], f"compliance: {name}: {what}")
            for name, what in {
                "none": f"no such file; {EXPECTED}",
                "none.yaml": f"no such file; {EXPECTED}",
                "good.csv/none.csv": f"no such file; {EXPECTED}",
                ".": "is a folder; did you mean job.yaml?",
                "empty": f"is a folder; {EXPECTED}",
                "a.json": "has the name of a finished assessment, for 'compliance explain' or "
                f"'compliance verify'; {EXPECTED}",
            }.items()
        ),
        (
            ["job.yaml", "--no-sheet", "--encoding", "rgb-8-full"],
            "compliance: --encoding is for readings without a job; a job file states its own",
        ),
        (
            ["job.yaml", "--no-sheet", "--technology", "lcd"],
            "compliance: --technology is for readings without a job; a job file states its own",
        ),
        (
            ["good.csv", "--rule", "tiny.yaml", "--technology", "LCD"],
            "compliance assess: invalid value for '--technology': 'LCD' is not one of 'lcd', "
            "'oled', 'led', 'crt', 'plasma', 'projector'; did you mean 'lcd'?; see "
            "'compliance assess --help'",
        ),
        (
            ["job.yaml"],
            "compliance: sheets require --out DIR; to print only, give --no-sheet",
        ),
        (
            ["job.yaml", "--no-sheet", "--page", "letter"],
            "compliance: give --page or --no-sheet, not both",
        ),
        (
            ["job.yaml", "--no-sheet", "--slot", "9"],
            "compliance: --slot: no slot '9' in job.yaml; the job has 1",
        ),
        (
            ["job.yaml", "--no-sheet", "--now", "2026-11-20"],
            "compliance assess: invalid value for '--now': '2026-11-20' is not a time; expected "
            "RFC 3339 with an offset, e.g. 2026-11-20T16:00:00Z; see 'compliance assess --help'",
        ),
        (
            ["job.yaml", "--out", "good.csv"],
            "compliance: good.csv: is a file, not a folder",
        ),
        (
            ["job.yaml", "--no-sheet", "--junit", "."],
            "compliance: --junit: . is a folder; expected a file",
        ),
        *(
            (
                ["job.yaml", "--no-sheet", "--junit", name],
                f"compliance: --junit: {name} is an input or output of this assessment; choose "
                "another name",
            )
            for name in ("job.yaml", "good.csv", "tiny.yaml")
        ),
        (
            ["job.yaml", "--out", "out", "--junit", "out/KX-7-1-tiny.json"],
            "compliance: --junit: out/KX-7-1-tiny.json is an input or output of this assessment; "
            "choose another name",
        ),
        (
            ["job.yaml", "--out", "out", "--password-file", "none.txt", "--identity", "none.p12"],
            "compliance: none.p12: cannot be read: no such file or directory",
        ),
    ],
)
def test_a_call_that_does_not_fit_is_one_line(compliance, desk, tmp_path, args, line):
    desk("good")
    (tmp_path / "empty").mkdir()
    (tmp_path / "a.json").write_text("{}")
    done = compliance("assess", *args)
    assert (done.stderr, done.stdout) == (line + "\n", "")
    assert done.returncode == 2
    assert not list(tmp_path.rglob("*.pdf"))


# ---------------------------------------------------------------- files


def test_what_stands_there_is_kept_unless_replace_is_said(compliance, desk, tmp_path):
    desk("good", "good")
    (tmp_path / "out").mkdir()
    old = tmp_path / "out" / "KX-7-2-tiny.json"
    old.write_text("old")
    done = compliance("assess", "job.yaml", "--out", "out", *NOW)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "compliance: out/KX-7-2-tiny.json: already exists; use --replace to overwrite\n"
    )
    assert names(tmp_path / "out") == ["KX-7-2-tiny.json"]
    assert compliance("assess", "job.yaml", "--out", "out", "--replace", *NOW).returncode == 0
    assert old.read_text() != "old"
    assert len(names(tmp_path / "out")) == 4


def test_names_stay_in_their_folder(compliance, desk, tmp_path):
    desk(
        "good",
        "bright",
        names=['"../../up"', '"Großes Zimmer 映"'],
        reference='"../KX/7"',
    )
    done = compliance("assess", "job.yaml", "--out", "deep/out", "--no-sheet", *NOW)
    assert done.returncode == 1, done.stderr
    assert names(tmp_path / "deep" / "out") == [
        "KX-7-Großes-Zimmer-映-tiny.json",
        "KX-7-up-tiny.json",
    ]
    assert names(tmp_path) == ["bright.csv", "deep", "good.csv", "job.yaml", "tiny.yaml"]


def test_two_names_that_come_out_alike(compliance, desk, tmp_path):
    desk("good", "bright", names=['"a/b"', '"A b"'])
    done = compliance("assess", "job.yaml", "--out", "out", *NOW)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "compliance: slot 'a/b', tiny.yaml and slot 'A b', tiny.yaml would both write "
        "out/KX-7-A-b-tiny.*; rename one, or choose with --slot\n"
    )
    assert compliance("assess", "job.yaml", "--out", "out", "--slot", "A b", *NOW).returncode == 1


def test_the_document_is_the_one_in_json_and_in_the_file(compliance, desk, tmp_path):
    desk("good")
    done = compliance("assess", "job.yaml", "--out", "out", "--format", "json", *NOW)
    (document,) = json.loads(done.stdout)["assessments"]
    assert json.loads((tmp_path / "out" / "KX-7-1-tiny.json").read_bytes()) == document
    assert document["verdict"] == "compliant"
    assert "NOT SIGNED" in done.stderr


def test_junit(compliance, desk, tmp_path):
    desk("good", "bright", "bad")
    (tmp_path / "report.xml").write_text("old")
    done = compliance("assess", "job.yaml", "--no-sheet", "--junit", "report.xml", *NOW)
    assert done.returncode == 2
    root = ET.parse(tmp_path / "report.xml").getroot()
    assert [suite.get("name") for suite in root] == ["1 tiny", "2 tiny", "3 tiny"]
    assert [suite.get("failures") for suite in root] == ["0", "1", "0"]
    assert [suite.get("errors") for suite in root] == ["0", "0", "1"]


# ---------------------------------------------------------------- signing


def test_without_an_identity_the_sheet_says_so(compliance, desk, tmp_path):
    desk("good")
    done = compliance("assess", "job.yaml", "--out", "out", *NOW)
    assert done.returncode == 0
    assert done.stdout.endswith(
        "\nWritten:\n"
        "  out/KX-7-1-tiny.json and .pdf\n"
        "\n"
        "The sheets are marked NOT SIGNED: no identity found in\n"
        "  /nonexistent/identity.p12\n"
        "Create one with:\n"
        "  compliance identity new --name NAME --organisation FACILITY --email ADDRESS\n"
    )
    assert (tmp_path / "out" / "KX-7-1-tiny.pdf").read_bytes().startswith(b"%PDF-")
    assert b"/ByteRange" not in (tmp_path / "out" / "KX-7-1-tiny.pdf").read_bytes()


@pytest.fixture
def identity(compliance, tmp_path):
    """An identity in the user's data folder `data`, its password in `password.txt`."""
    (tmp_path / "password.txt").write_text("a long password\n")
    person = ("--name", "Calibration", "--organisation", "Kelp Post", "--email", "a@example.org")
    done = compliance(
        "identity", "new", *person, "--password-file", "password.txt",
        "--now", "2026-01-01T00:00:00Z", env={"COMPLIANCE_DATA": str(tmp_path / "data")},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def test_the_users_own_identity_signs(compliance, desk, identity, tmp_path):
    desk("good")
    own = {"COMPLIANCE_DATA": str(tmp_path / "data")}
    done = compliance(
        "assess", "job.yaml", "--out", "out", "--password-file", "password.txt", *NOW, env=own
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert "NOT SIGNED" not in done.stdout
    sheet = tmp_path / "out" / "KX-7-1-tiny.pdf"
    assert compliance("verify", sheet, "--any-signer", *known()).returncode == 0
    done = compliance("verify", sheet, "--trust", "data/identity.pem", *known())
    assert done.returncode == 0
    assert compliance("verify", sheet).returncode == 3


def test_an_identity_by_name(compliance, desk, identity, tmp_path):
    desk("good")
    done = compliance(
        "assess", "job.yaml", "--out", "out", "--identity", "data/identity.p12",
        "--password-file", "password.txt", "--page", "letter", *NOW,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert b"/ByteRange" in (tmp_path / "out" / "KX-7-1-tiny.pdf").read_bytes()


def test_a_password_that_nobody_can_type(compliance, desk, identity, tmp_path):
    desk("good")
    done = compliance(
        "assess", "job.yaml", "--out", "out", "--identity", "data/identity.p12", *NOW,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "compliance: password of data/identity.p12: no terminal to type it; "
        "give --password-file FILE with the password on line 1\n"
    )
    assert names(tmp_path / "out") == []


def test_a_wrong_password_is_told_before_anything_is_computed(compliance, desk, identity, tmp_path):
    desk("good")
    (tmp_path / "password.txt").write_text("another\n")
    done = compliance(
        "assess", "job.yaml", "--out", "out", "--identity", "data/identity.p12",
        "--password-file", "password.txt", *NOW,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (2, "")
    assert last_line(done.stderr).startswith("compliance: data/identity.p12: cannot be opened")
    assert names(tmp_path / "out") == []


# ---------------------------------------------------------------- imports


def test_an_assessment_without_a_sheet_imports_nothing_heavy(root, desk, tmp_path):
    import subprocess
    import sys

    desk("good")
    code = (
        "import sys\n"
        "from compliance.cli import command\n"
        "try:\n"
        f"    command.main(['assess', {str(tmp_path / 'job.yaml')!r}, '--no-sheet', "
        "'--now', '2026-11-21T08:00:00Z'])\n"
        "except SystemExit as end:\n"
        "    assert end.code == 0\n"
        f"print(sorted(set({HEAVY!r}) & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True
    )
    assert last_line(done.stdout) == "[]"


def test_quiet_prints_no_report(compliance, desk) -> None:
    done = compliance("assess", desk("good", "bright"), "--no-sheet", "--quiet")
    assert (done.returncode, done.stdout) == (1, "")
    done = compliance("assess", desk("bad"), "--no-sheet", "--quiet")
    assert done.returncode == 2 and "a lot" in done.stderr


def test_of_many_results_the_folder_is_named(compliance, desk) -> None:
    names = [f"slot-{number}" for number in range(9)]
    done = compliance("assess", desk(*["good"] * 9, names=names), "--no-sheet", "--out", "out")
    assert done.stdout.endswith("Written:\n  9 files in out\n")
    assert "● White" not in done.stdout
