"""`compliance new`: what it writes is loaded by the program's own loaders, examples included."""

from __future__ import annotations

import os
import pty
import re
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import click
import pytest

from compliance.cli import command
from compliance.cli._starters import CURVES, comment, in_yaml
from compliance.errors import JobError
from compliance.job_file import load_job
from compliance.meter_file import load_meter
from compliance.quantities.catalogue import QUANTITIES
from compliance.rules.library import load_rule, shipped_rules
from compliance.rules.lint import check_file
from compliance.yaml_nodes.nodes import Node, parse

ROOT = Path(__file__).resolve().parents[2]
NOW = ("--now", "2026-11-20T16:00:00Z")
RULES = shipped_rules()


@pytest.fixture
def new(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., str]:
    """Runs `compliance new …` in a folder of its own; its exit code must be 0."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "stdin", None)

    def run(*args: str) -> None:
        with pytest.raises(SystemExit) as left:
            command.main(["new", *args, *NOW])
        assert left.value.code == 0

    return run


def with_examples(file: Path) -> Path:
    """The same file with the # taken away in front of every key."""
    text = file.read_text(encoding="utf-8")
    file.write_text(re.sub(r"^( *)#(?=\S)", r"\1", text, flags=re.M), encoding="utf-8")
    return file


def comments_fit(file: Path) -> bool:
    lines = file.read_text(encoding="utf-8").splitlines()
    return all(len(line) <= 100 for line in lines if line.lstrip().startswith("# "))


# ---------------------------------------------------------------- jobs


@pytest.mark.parametrize("rule", RULES)
def test_a_job_for_each_rule(new: Callable, rule: str) -> None:
    new("job", "--reference", "MV-7", "--deliverable", rule)
    job = load_job("job.yaml")
    (slot,) = job.slots
    assert (job.reference, slot.name, slot.deliverables) == ("MV-7", "1", (rule,))
    assert slot.readings is not None
    assert slot.readings.encoding == load_rule(rule).encoding
    assert slot.readings.named == "readings/slot-1.csv"
    assert slot.calibrated is slot.meter is slot.before is None
    assert slot.declared == {}
    assert comments_fit(Path("job.yaml"))
    (filled,) = load_job(with_examples(Path("job.yaml"))).slots
    asked = {each.declaration for each in load_rule(rule).requirements if each.declaration}
    assert filled.declared.keys() == asked
    assert None not in (filled.calibrated, filled.before, filled.meter, filled.display.hours)


def test_a_job_with_everything_said(new: Callable) -> None:
    new(
        *("job", "--reference", "MV: 7", "--client", 'Low "Tide" Films', "--title", "Kelp, a film"),
        *("--deliverable", "sdr-broadcast", "--deliverable", "web-srgb", "--suite", "no"),
        *("--slot", "HD", "--slot", "web", "--readings", "hd.csv", "--readings", "web.csv"),
        *("--make", "Quarrowell", "--model", "0412", "--serial", "#7", "--technology", "oled"),
        *("--meter", "meters/spot-1.yaml", "--out", "jobs/first.yaml"),
    )
    job = load_job("jobs/first.yaml")
    assert (job.reference, job.title, job.suite) == ("MV: 7", "Kelp, a film", "no")
    assert job.client is not None
    assert job.client.name == 'Low "Tide" Films'
    first, second = job.slots
    assert (first.name, first.deliverables) == ("HD", ("sdr-broadcast",))
    assert (second.name, second.deliverables) == ("web", ("web-srgb",))
    assert [slot.readings and slot.readings.named for slot in job.slots] == ["hd.csv", "web.csv"]
    assert [slot.readings and slot.readings.encoding.name for slot in job.slots] == [
        "rgb-10-narrow",
        "rgb-8-full",
    ]
    assert first.meter == Path("jobs/meters/spot-1.yaml")
    display = first.display
    assert (display.make, display.model, display.serial) == ("Quarrowell", "0412", "#7")
    assert display.technology == "oled"


def test_one_slot_takes_all_deliverables(new: Callable) -> None:
    deliverables = ("--deliverable", "web-srgb", "--deliverable", "web-p3")
    new("job", "--reference", "7", *deliverables, "--slot", "1")
    assert load_job("job.yaml").slots[0].deliverables == ("web-srgb", "web-p3")
    new("job", "--reference", "7", *deliverables[:2], "--slot", "1", "--slot", "2", "--replace")
    assert [slot.deliverables for slot in load_job("job.yaml").slots] == [("web-srgb",)] * 2


def test_a_job_after_an_earlier_one(new: Callable, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copytree(ROOT / "demo", "demo", ignore=shutil.ignore_patterns("out"))
    earlier = load_job("demo/job.yaml")
    new("job", "--from", "demo/job.yaml", "--reference", "MV-0418", "--out", "demo/next.yaml")
    assert capsys.readouterr().err == ""
    job = load_job("demo/next.yaml")
    same = ("title", "client", "facility", "suite", "people", "timezone")
    assert [getattr(job, key) for key in same] == [getattr(earlier, key) for key in same]
    assert job.reference == "MV-0418"
    assert (job.room.surround, job.room.ambient) == (None, None)
    for slot, was in zip(job.slots, earlier.slots, strict=True):
        kept = ("name", "deliverables", "meter", "settings")
        assert [getattr(slot, key) for key in kept] == [getattr(was, key) for key in kept]
        assert slot.display.serial == was.display.serial
        fresh = (slot.calibrated, slot.warm_up, slot.before, slot.display.hours)
        assert fresh == (None, None, None, None)
        assert slot.readings is not None
        assert was.readings is not None
        assert f"{slot.readings.measured:%Y-%m-%d %H:%M}" == "2026-11-20 16:00"
        assert slot.readings.encoding == was.readings.encoding
        assert slot.readings.geometry == was.readings.geometry
        assert slot.readings.ambient is None
        assert slot.readings.named == f"readings/MV-0418-slot-{slot.name}.csv"
    text = Path("demo/next.yaml").read_text(encoding="utf-8")
    assert "# Written from job.yaml, without its comments." in text
    assert "#room: {surround: 9, ambient: 6}" in text
    filled = load_job(with_examples(Path("demo/next.yaml")))
    assert [slot.warm_up for slot in filled.slots] == [60, 60, 60, 45]


def test_the_nominal_peak_goes_with_the_slot(new: Callable) -> None:
    """It belongs to the display as it is set up, like its settings; HLG alone asks for it."""
    new("job", "--reference", "7", "--deliverable", "hdr-hlg-1000", "--slot", "1")
    earlier = Path("job.yaml").read_text(encoding="utf-8")
    assert "    #nominal_peak: 1000    # cd/m²" in earlier
    Path("job.yaml").write_text(earlier.replace("#nominal_peak: 1000", "nominal_peak: 1050"))
    new("job", "--from", "job.yaml", "--reference", "8", "--out", "next.yaml")
    assert load_job("next.yaml").slots[0].nominal_peak == 1050.0
    new("job", "--reference", "7", "--deliverable", "web-srgb", "--slot", "1", "--replace")
    assert "nominal_peak" not in Path("job.yaml").read_text(encoding="utf-8")


def test_an_earlier_job_of_another_folder(
    new: Callable, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(ROOT / "demo", "demo", ignore=shutil.ignore_patterns("out"))
    new("job", "--from", "demo/job.yaml", "--reference", "8", "--out", "next/job.yaml")
    told = capsys.readouterr().err.splitlines()
    assert told[0] == (
        "compliance: '../demo/meters/filter-colorimeter.yaml' is outside the job's folder; "
        "commands need --allow-outside"
    )
    job = load_job("next/job.yaml", allow_outside=True)
    assert job.slots[1].deliverables == ("web-srgb", "../demo/rules/web-proven.yaml")
    assert all(slot.meter is not None and slot.meter.is_file() for slot in job.slots)
    with pytest.raises(JobError):
        load_job("next/job.yaml")


# ---------------------------------------------------------------- meters


@pytest.mark.parametrize("kind", ["colorimeter", "spectroradiometer"])
def test_a_meter_of_each_kind(new: Callable, kind: str) -> None:
    new("meter", "--kind", kind)
    file = Path(f"{kind}-1.yaml")
    meter = load_meter(file)
    assert (meter.kind, meter.certificate, meter.correction) == (kind, None, None)
    assert meter.uncertainty is not None
    text = file.read_text(encoding="utf-8")
    for line in text.splitlines():
        if re.search(r"\b(k|relative|x|lowest): ", line) and not line.lstrip().startswith("#"):
            assert line.endswith("# REPLACE"), line
    assert comments_fit(file)
    filled = load_meter(with_examples(file))
    assert filled.certificate is not None
    assert filled.reading_time
    assert (filled.correction is None) == (kind == "spectroradiometer")
    assert filled.uncertainty is not None
    assert filled.uncertainty.repeatability
    assert filled.uncertainty.correlation == 0.3


def test_a_meter_with_everything_said(new: Callable) -> None:
    new(
        *("meter", "--kind", "colorimeter", "--name", "spot 7", "--make", "Ostrander", "--model"),
        *("SM-2", "--serial", "31", "--certificate", "C-9", "--laboratory", "A laboratory"),
        *("--issued", "2026-03-02", "--due", "2027-03-02", "--k", "2", "--luminance", "4"),
        *("--chromaticity", "0.002", "--lowest", "0.005"),
    )
    meter = load_meter("spot-7.yaml")
    assert (meter.name, meter.make, meter.model, meter.serial) == (
        "spot 7", "Ostrander", "SM-2", "31",
    )  # fmt: skip
    assert meter.certificate is not None
    assert (meter.certificate.number, str(meter.certificate.due)) == ("C-9", "2027-03-02")
    assert meter.lowest == 0.005
    uncertainty = meter.uncertainty
    assert uncertainty is not None
    assert [(band.start, band.relative) for band in uncertainty.luminance] == [(0.005, 8), (1, 4)]
    assert uncertainty.chromaticity[-1].x == 0.002
    marked = re.findall(r"^.*# REPLACE$", Path("spot-7.yaml").read_text("utf-8"), re.M)
    assert len(marked) == 2  # of dark greys: no option says what the certificate does of them


# ---------------------------------------------------------------- rules


@pytest.mark.parametrize("parent", RULES)
def test_a_house_rule_of_each_rule(new: Callable, parent: str) -> None:
    new("rule", "--id", "ours", "--extends", parent)
    was, file = load_rule(parent), Path("ours.yaml")
    rule = load_rule(file)
    assert (rule.id, rule.revision, rule.extends) == ("ours", 1, f"{parent}@{was.revision}")
    assert rule.requirements == was.requirements
    assert check_file(file) == ((), ())
    assert comments_fit(file)
    filled = load_rule(with_examples(file))
    assert [each.id for each in filled.requirements] == [each.id for each in was.requirements]
    assert filled.decision.acceptance == "guarded"


@pytest.mark.parametrize("curve", CURVES)
def test_a_rule_of_its_own(new: Callable, curve: str) -> None:
    new("rule", "--id", "ours", "--curve", curve, "--title", "Our master: film")
    file = Path("ours.yaml")
    rule = load_rule(file)
    assert (rule.title, rule.target.curve) == ("Our master: film", curve)
    assert check_file(file) == ((), ())
    assert comments_fit(file)
    text = file.read_text(encoding="utf-8")
    limits = re.findall(r"^    limits: .*$", text, re.M)
    assert len(limits) == len(rule.requirements)
    assert all(line.endswith("# REPLACE") for line in limits)
    examples = load_rule(with_examples(file)).requirements
    shown = {each.quantity for each in examples if each.id.startswith("example-")}
    without = set() if CURVES[curve].exponent else {"fitted-exponent"}
    assert shown == QUANTITIES.keys() - without
    assert check_file(file) == ((), ())


def test_what_a_rule_of_its_own_aims_at(new: Callable) -> None:
    new(
        *("rule", "--id", "ours", "--curve", "pq", "--primaries", "bt2020", "--white", "d65"),
        *("--luminance", "4000", "--encoding", "rgb-12-full"),
    )
    rule = load_rule("ours.yaml")
    assert (rule.target.primaries_name, rule.target.luminance_peak) == ("bt2020", 4000)
    assert (rule.target.luminance_white, rule.encoding.name) == (100, "rgb-12-full")


# ---------------------------------------------------------------- refusals, output, questions


@pytest.mark.parametrize(
    ("args", "line"),
    [
        (
            ("job", "--deliverable", "web-srgb"),
            "compliance: --reference is required; questions are asked only at a terminal",
        ),
        (
            ("job", "--reference", "7"),
            "compliance: --deliverable ID is required; see 'compliance rules list' for ids",
        ),
        (
            ("job", "--reference", "7", "--deliverable", "web-sgrb"),
            "web-sgrb: no such rule on the search path; did you mean 'web-srgb'?",
        ),
        (
            ("job", "--reference", "7", "--deliverable", "web-srgb", "--meter", "../m.yaml"),
            "compliance: '../m.yaml' is outside the job's folder; expected a file inside it",
        ),
        (
            ("job", "--reference", "7", "--deliverable", "web-srgb", "--slot", "1", "--slot", "1"),
            "compliance: --slot: 1, 1: a name may be there only once",
        ),
        (
            ("job", "--from", "there.yaml", "--slot", "1"),
            "compliance: give --slot or --from, not both: the earlier job states it",
        ),
        (
            ("job", "--reference", "7", "--deliverable", "web-srgb", "--out", "there.yaml"),
            "compliance: there.yaml: already exists; use --replace to overwrite",
        ),
        (
            ("meter", "--kind", "filter"),
            "compliance new meter: invalid value for '--kind': 'filter' is not one of "
            "'colorimeter', 'spectroradiometer'; did you mean 'colorimeter'?; see 'compliance new "
            "meter --help'",
        ),
        (
            ("meter", "--kind", "colorimeter", "--issued", "2026-03-02", "--due", "2025-03-02"),
            "compliance: --due: 2025-03-02 is before 2026-03-02, --issued",
        ),
        (
            ("rule", "--id", "nul"),
            "compliance new rule: invalid value for '--id': 'nul' is a name that Windows keeps "
            "for a device; choose another; see 'compliance new rule --help'",
        ),
        (
            ("rule", "--id", "ours", "--extends", "web-srgb", "--curve", "pq"),
            "compliance: give --curve or --extends, not both: the parent states it",
        ),
        (
            ("rule", "--id", "ours", "--out", "theirs.yaml"),
            "compliance: --out: a rule's file is named after its id; expected ours.yaml",
        ),
    ],
)
def test_refusals(compliance: Callable, tmp_path: Path, args: tuple[str, ...], line: str) -> None:
    (tmp_path / "there.yaml").write_text("kept\n", encoding="utf-8")
    done = compliance("new", *args)
    assert (done.returncode, done.stdout, done.stderr) == (2, "", f"{line}\n")
    assert (tmp_path / "there.yaml").read_text(encoding="utf-8") == "kept\n"
    assert [file.name for file in tmp_path.iterdir()] == ["there.yaml"]


def test_an_id_of_another_rule(compliance: Callable) -> None:
    done = compliance("new", "rule", "--id", "web-srgb")
    assert done.returncode == 2
    assert done.stderr.startswith("compliance: --id: 'web-srgb' already belongs to ")
    assert done.stderr.endswith("web-srgb.yaml; choose another\n")


def test_to_standard_output(compliance: Callable, tmp_path: Path) -> None:
    done = compliance("new", "meter", "--kind", "spectroradiometer", "--out", "-")
    assert done.returncode == 0
    assert done.stdout.startswith("# Meter spectroradiometer-1: ")
    (tmp_path / "meter.yaml").write_text(done.stdout, encoding="utf-8")
    assert load_meter(tmp_path / "meter.yaml").kind == "spectroradiometer"


def answered(tmp_path: Path, kind: str, *typed: str) -> tuple[str, str]:
    """What is printed and asked where somebody types these lines, and Enter from then on."""
    ours, theirs = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "compliance.cli", "new", kind, *NOW],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=theirs,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as process:
        watch = threading.Timer(600, process.kill)
        watch.start()
        os.write(ours, ("\n".join(typed) + "\n" * 12).encode())
        out, asked = process.communicate()
        watch.cancel()
    os.close(ours)
    os.close(theirs)
    assert process.returncode == 0, asked
    return out.decode(), asked.decode()


def test_questions_about_a_meter(tmp_path: Path) -> None:
    typed = ("filter", "colorimeter", "", "C-9", "", "02.03.2026", "2026-03-02", "", "", "4")
    out, asked = answered(tmp_path, "meter", *typed)
    assert asked.count("Kind (colorimeter or spectroradiometer): ") == 2
    assert "did you mean 'colorimeter'?" in asked
    assert "Name of the meter (Enter: colorimeter-1): " in asked
    assert "'02.03.2026' is not a date" in asked
    assert out.startswith("Written: colorimeter-1.yaml\n")
    meter = load_meter(tmp_path / "colorimeter-1.yaml")
    assert meter.certificate is not None
    assert (meter.certificate.number, str(meter.certificate.issued)) == ("C-9", "2026-03-02")
    assert meter.uncertainty is not None
    assert meter.uncertainty.luminance[-1].relative == 3  # left open


def test_questions_about_a_job(tmp_path: Path) -> None:
    typed = ("MV-9", "Tide Films", "", "sdr-broadcast hdr-pq-1000", "HD HDR", "suite-2")
    out, asked = answered(tmp_path, "job", *typed, "Quarrowell", "", "", "ips", "lcd")
    assert asked.count("Technology of the display (lcd, oled, led, crt, plasma, projector)") == 2
    assert "Readings, with spaces between (Enter: readings/slot-HD.csv readings/slot-" in asked
    assert out.endswith("Next: compliance plan job.yaml --slot HD, which lists what to measure\n")
    job = load_job(tmp_path / "job.yaml")
    assert [slot.deliverables for slot in job.slots] == [("sdr-broadcast",), ("hdr-pq-1000",)]
    assert (job.title, job.suite, job.slots[0].display.technology) == (None, "suite-2", "lcd")


def test_questions_about_a_rule(tmp_path: Path) -> None:
    out, asked = answered(tmp_path, "rule", "Our Rule", "our-rule", "", "hlg", "", "", "600")
    assert "'Our Rule' is not an id; expected small letters, digits and hyphens" in asked
    assert "Curve (bt1886, power, srgb, pq, hlg, dcdm) (Enter: bt1886): " in asked
    assert out.endswith("Next: compliance rules show our-rule.yaml\n")
    target = load_rule(tmp_path / "our-rule.yaml").target
    assert (target.curve, target.luminance_white) == ("hlg", 600)


@pytest.mark.parametrize(
    "text",
    [
        "plain words", "a: b", "# no", "yes", "~", "", "[1]", "{a}", "a, b", "'", '"', "\\", "0412",
        "2.40", "1e3", "-", "- a", "?", "&a", "*a", "!a", "%", "@a", "a #b", "é 映像", "null",
        "2 %",
    ],
)  # fmt: skip
def test_texts_are_read_back_as_they_were(text: str) -> None:
    for document in (f"key: {in_yaml(text)}\n", f"key: {in_yaml({'a': [text]})}\n"):
        node = parse(document.encode(), "test.yaml")
        assert isinstance(node, Node)
        entry = node.entries["key"]
        found = entry if entry.kind == "scalar" else entry.entries["a"].items[0]
        assert (found.text, found.empty) == (text, False)


def test_every_command_is_in_the_help(compliance: Callable) -> None:
    done = compliance("new", "--help")
    assert isinstance(command, click.Group)
    assert done.returncode == 0
    assert [name for name in ("job", "meter", "rule") if f"  {name} " in done.stdout] == [
        "job",
        "meter",
        "rule",
    ]


@pytest.mark.parametrize(
    "sign", ["\u2028", "\u2029", "\x85", "\n", "\r", "\x01", "\u202e", "\udcff"]
)
def test_a_comment_cannot_be_left(sign: str) -> None:
    lines = comment(f"written from a{sign}evil: 1{sign}.yaml")
    assert lines.encode("utf-8")
    assert all(line.startswith("# ") and line.isprintable() for line in lines.split("\n"))
    node = parse(f"{lines}\nkey: 1\n".encode(), "a.yaml")
    assert isinstance(node, Node)
    assert list(node.entries) == ["key"]
