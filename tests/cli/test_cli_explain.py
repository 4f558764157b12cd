"""`compliance explain`: what it takes, prints and returns."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from helpers import faulty_displays, simulated
from helpers.shipped import shipped_rule

from compliance.cli._text import Style
from compliance.cli.explain import lines_of
from compliance.model import Level, Outcome
from compliance.report.causes import CauseWords, EvidenceWords
from compliance.report.explanation import Explanation, Named
from compliance.report.words.en.headings import OPINION

NOW = ("--now", "2026-11-21T08:00:00Z")
JOB = """\
job: KX-7
encoding: rgb-10-narrow
slots:
  - slot: 1
    deliverable: sdr-broadcast
    before: {file: before.csv, measured: "2026-11-20T14:10:00Z"}
    readings: {file: after.csv, measured: "2026-11-20T15:10:00Z"}
  - slot: 2
    deliverable: sdr-broadcast
    readings: {file: good.csv, measured: "2026-11-20T16:10:00Z"}
"""


@pytest.fixture
def suite(tmp_path: Path) -> Path:
    """A job of a slot with gamma 2 and one that is well."""
    rule = shipped_rule("sdr-broadcast")
    for name, faults, seed in (
        ("before", (faulty_displays.white("d93", (0.2831, 0.2971)),), 1),
        ("after", (faulty_displays.power(2.0),), 2),
        ("good", (), 3),
    ):
        read = faulty_displays.readings(rule, faults, np.random.RandomState(seed))
        (tmp_path / f"{name}.csv").write_bytes(read.data)
    (tmp_path / "job.yaml").write_text(JOB)
    return tmp_path


def test_a_slot_of_a_job(compliance, suite):
    done = compliance("explain", "job.yaml", "--slot", "1", *NOW)
    assert done.stderr == ""
    assert done.returncode == 0
    text = " ".join(done.stdout.split())
    assert "Slot 1 · sdr-broadcast, revision 2" in done.stdout
    head, _, _ = text.partition("1. The display follows gamma ")
    assert head.strip().endswith(OPINION)
    assert "Next: Choose BT.1886" in text
    assert "What calibration changed" in text
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_every_slot_and_what_is_well(compliance, suite):
    done = compliance("explain", "job.yaml", *NOW)
    assert done.returncode == 0
    assert "Slot 2 · sdr-broadcast" in done.stdout
    assert "there is nothing to explain" in " ".join(done.stdout.split())


def test_as_json(compliance, suite):
    done = compliance("explain", "job.yaml", "--slot", "1", "--format", "json", *NOW)
    (one,) = json.loads(done.stdout)["explanations"]
    assert one["causes"][0]["kind"] == "curve"
    assert one["calibration"]["asked"] == 100
    assert "gamma" in {found["id"] for found in one["outside"]}


def test_what_calibration_changed_reads_as_assess_prints_it(compliance, suite):
    done = compliance("explain", "job.yaml", "--slot", "1", "--format", "json", *NOW)
    (one,) = json.loads(done.stdout)["explanations"]
    told = compliance("assess", "job.yaml", "--slot", "1", "--out", "out", "--no-sheet", *NOW)
    after = [shift["printed"][1].replace("\u00a0", " ") for shift in one["calibration"]["shifts"]]
    assert len(after) > 10
    assert not [value for value in after if value not in " ".join(told.stdout.split())]


def test_an_assessment_says_the_same(compliance, suite):
    compliance("assess", "job.yaml", "--out", "out", "--no-sheet", *NOW)
    stated = compliance("explain", "out/KX-7-1-sdr-broadcast.json")
    fresh = compliance("explain", "job.yaml", "--slot", "1", *NOW)
    assert stated.returncode == 0
    assert stated.stdout == fresh.stdout


def test_the_report_of_assess_names_them(compliance, suite):
    done = compliance("assess", "job.yaml", "--slot", "1", "--no-sheet", *NOW)
    assert "Likely causes (more: compliance explain)" in done.stdout
    assert "1. The display follows gamma " in done.stdout


def test_bare_readings(compliance, suite):
    done = compliance(
        "explain", "after.csv", "--rule", "sdr-broadcast", "--encoding", "rgb-10-narrow"
    )
    assert done.returncode == 0
    assert "Readings · sdr-broadcast" in done.stdout


def test_bare_readings_of_one_kind_of_display(compliance, tmp_path):
    rule = shipped_rule("cinema-review-room")
    good = simulated.csv(simulated.ideal(rule, black=0.01), rule.encoding)
    (tmp_path / "good.csv").write_bytes(good)
    code = ("good.csv", "good.txt", "--encoding", rule.encoding.name)
    assert compliance("convert", *code).returncode == 0
    bare = ("explain", "good.txt", "--rule", "cinema-review-room", *NOW)
    unsaid = compliance(*bare)
    assert unsaid.returncode == 3
    assert "give the display's technology with --technology NAME, one of lcd" in " ".join(
        unsaid.stdout.split()
    )
    said = compliance(*bare, "--technology", "oled")
    assert (said.returncode, said.stderr) == (0, "")
    assert "there is nothing to explain" in " ".join(said.stdout.split())
    assert "--technology" not in said.stdout


def test_no_known_cause_is_an_answer(compliance, tmp_path):
    rule = shipped_rule("web-srgb")
    random = np.random.RandomState(8)
    shown = simulated.ideal(
        rule,
        black=0.1,
        fault=lambda _patch, xyz: xyz * random.uniform(0.1, 2) * random.uniform(0.8, 1.2, size=3),
    )
    (tmp_path / "odd.csv").write_bytes(simulated.csv(shown, rule.encoding))
    done = compliance("explain", "odd.csv", "--rule", "web-srgb", "--encoding", "rgb-8-full")
    assert done.returncode == 3
    assert "No known cause" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("good.csv",), "readings without a job require --rule; a job file's name"),
        (("good.csv", "--slot", "1"), "--slot requires a job file"),
        (("job.yaml", "--encoding", "rgb-8-full"), "--encoding is for readings without a job"),
        (("job.yaml", "--technology", "lcd"), "--technology is for readings without a job"),
        (("out.json", "--technology", "lcd"), "--technology is for a job or readings"),
        (("good.csv", "--rule", "sdr-broadcast"), "good.csv: the encoding of the code values"),
        (("job.yaml", "--slot", "9"), "no slot '9'"),
        (("out.json", "--slot", "1"), "--slot is for a job"),
        (("out.json",), "out.json"),
        (("gone.yaml",), "gone.yaml: no such file; expected a job's .yaml file or a file of rea"),
        ((".",), ".: is a folder; did you mean job.yaml?"),
    ],
)
def test_what_is_refused(compliance, suite, arguments, said):
    (suite / "out.json").write_text('{"number": "x"}')
    done = compliance("explain", *arguments)
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_a_document_of_something_else(compliance, suite):
    from compliance.plain_data import digest

    document = {"causes": [], "findings": [{}]}
    document["number"] = f"X-1-r-{digest(document)[:32]}"
    (suite / "odd.json").write_text(json.dumps(document))
    done = compliance("explain", "odd.json")
    assert done.returncode == 2
    assert "is not an assessment document of this tool" in done.stderr


def test_one_bad_slot_does_not_stop_the_others(compliance, suite):
    (suite / "after.csv").write_text("r,g,b,X,Y,Z\n1,2\n")
    done = compliance("explain", "job.yaml", *NOW)
    assert done.returncode == 2
    assert "Slot 2" in done.stdout
    assert "after.csv" in done.stderr


def test_what_was_not_judged_is_no_clean_bill(compliance, suite):
    """Narrow-range codes called full range: nothing matches, so nothing is outside."""
    done = compliance("explain", "good.csv", "--rule", "sdr-broadcast", "--encoding", "rgb-10-full")
    text = " ".join(done.stdout.split())
    assert done.returncode == 3
    assert "but these could not be judged: · White luminance: readings are missing: white" in text
    assert "nothing to explain" not in text


def test_of_what_the_job_states_no_reading_is_to_blame(compliance, suite):
    (suite / "lit.yaml").write_text(f"{JOB}suite: {{id: s-1, room: {{surround: 30}}}}\n")
    done = compliance("explain", "lit.yaml", "--slot", "2", *NOW)
    told = " ".join(done.stdout.split())
    assert (
        "Surround: 30.0 cd/m² stated, 10 ± 2 cd/m² required. Readings cannot explain this" in told
    ), told
    assert done.returncode == 0


def test_what_was_found_before_calibration(compliance, suite):
    after = compliance("explain", "job.yaml", "--slot", "1", *NOW)
    assert "outside the limits; explain with --before." in " ".join(after.stdout.split())
    done = compliance("explain", "job.yaml", "--slot", "1", "--before", *NOW)
    assert done.returncode == 0
    assert done.stdout.startswith("Slot 1 before calibration · sdr-broadcast, revision 2")
    assert "1. White is that of " in done.stdout
    every = compliance("explain", "job.yaml", "--before", *NOW)
    assert (every.returncode, every.stdout, every.stderr) == (0, done.stdout, "")
    none = compliance("explain", "job.yaml", "--slot", "2", "--before", *NOW)
    assert none.returncode == 2
    assert none.stderr.strip().endswith("slot '2' has no readings before calibration")
    bare = ("--rule", "sdr-broadcast", "--encoding", "rgb-10-narrow", "--before")
    assert "--before requires a job file" in compliance("explain", "good.csv", *bare).stderr


@pytest.mark.parametrize(
    ("value", "unit", "printed"), [(86.07, "%", "86.1 %"), (1019.0, "1", "1019")]
)
def test_shares_are_printed_to_three_digits(value, unit, printed):
    evidence = EvidenceWords("light of blue", value, unit)
    cause = CauseWords("blue", 1, "Blue", "It is weak.", "", "Mend it.", None, (evidence,))
    explained = Explanation(
        number="J-1-r-00000000", slot="1", rule="r", revision=1, verdict=Outcome.COMPLIANT,
        conditional=False, outside=(Named("x", "X", Level.SHALL),), stated=(), open=(),
        causes=(cause,), unexplained="", heading="calibrated", outside_before=0, calibration=None,
        remarks=(), printed={},
    )  # fmt: skip
    lines = [line.replace("\u00a0", " ") for line in lines_of(explained, Style("utf-8"))]
    assert any(line.startswith("     light of blue ") and line.endswith(printed) for line in lines)
