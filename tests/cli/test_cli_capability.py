"""`compliance capability`: rows, exit codes, bad calls."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from compliance.cli import command

METER = """\
meter: m
kind: colorimeter
uncertainty:
  k: 2
  luminance: [{{from: 0.0001, relative: {relative}}}]
  dark: 0.00001
  resolution: 0.000001
  saturated: {{x: 0.00001, y: 0.00001, relative: 0.01}}
  chromaticity: [{{from: 0.001, x: {xy}, y: {xy}}}]
  correlation: {{xy: 0}}
  repeatability: [{{from: 0.0001, relative: 0.02, x: 0.00002, y: 0.00002}}]
lowest: 0.0001
"""


def meter(folder: Path, relative: float, xy: float) -> str:
    file = folder / "meter.yaml"
    file.write_text(METER.format(relative=relative, xy=f"{xy:f}"))
    return str(file)


def run(*arguments: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(command, ["capability", *arguments])
    return result.exit_code, result.stdout, result.stderr


@pytest.mark.parametrize(
    ("relative", "xy", "code", "words"),
    [
        (0.1, 0.0001, 0, "can prove every requirement"),
        (0.1, 0.002, 3, "only if values are not near"),
        (20.0, 0.01, 1, "cannot prove every requirement"),
    ],
)
def test_exit_codes(tmp_path: Path, relative: float, xy: float, code: int, words: str) -> None:
    got, out, _ = run("web-srgb", "--meter", meter(tmp_path, relative, xy))
    assert got == code
    assert words in out
    assert all(len(line) <= 80 for line in out.splitlines())


def test_json_says_the_same(tmp_path: Path) -> None:
    code, out, _ = run("web-srgb", "--meter", meter(tmp_path, 20.0, 0.01), "--format", "json")
    rows = {row["id"]: row for row in json.loads(out)["requirements"]}
    assert code == 1
    assert rows["white-point"]["adequacy"] == "inadequate"
    assert rows["white-point"]["needed"] == pytest.approx(0.005 / 3)
    assert rows["contrast"]["ratio"] > 3


def test_a_meter_that_states_no_uncertainty(tmp_path: Path) -> None:
    file = tmp_path / "meter.yaml"
    file.write_text("meter: m\nkind: colorimeter\n")
    code, out, err = run("web-srgb", "--meter", str(file))
    assert (code, out) == (2, "")
    assert err == (
        f"{file}: uncertainty: has no uncertainty of luminance, which this check "
        "requires; add it from the certificate, e.g. luminance: "
        "[{from: 0.01, relative: 4}]\n"
    )


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("web-srgb",), "compliance: a rule requires --meter FILE; only a job names its meter\n"),
        (("web-srgb", "--slot", "1"), "compliance: --slot requires a job file\n"),
        (("none.yaml",), "none.yaml: no such job or rule file\n"),
        ((".yaml",), ".yaml: is a folder; expected a job or rule file\n"),
        (("web-srbg", "--meter", "none.yaml"), "web-srgb"),
        (("web-srgb", "--meter", "none.yaml"), "none.yaml"),
    ],
)
def test_wrong_calls_are_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], words: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / ".yaml").mkdir()
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert words.lower() in err.lower()
    assert err.count("\n") == 1


def test_an_encoding_that_the_rule_does_not_take(tmp_path: Path) -> None:
    code, out, err = run(
        "web-srgb", "--meter", meter(tmp_path, 1.0, 0.001), "--encoding", "xyz-12-full"
    )
    assert (code, out) == (2, "")
    assert "takes RGB signals" in err


JOB = """\
job: KX-7
encoding: rgb-10-full
meter: meter.yaml
slots:
  - {slot: 1, deliverable: web-srgb}
  - {slot: 2, deliverable: [web-srgb, hdr-pq-1000], meter: coarse.yaml}
"""


def job(folder: Path, text: str = JOB) -> str:
    coarse = folder / "coarse"
    coarse.mkdir()
    Path(meter(coarse, 20.0, 0.01)).rename(folder / "coarse.yaml")
    meter(folder, 0.1, 0.0001)
    (folder / "job.yaml").write_text(text)
    return str(folder / "job.yaml")


def test_a_job_names_rules_and_meters(tmp_path: Path) -> None:
    code, out, err = run(job(tmp_path), "--format", "json")
    rows = json.loads(out)["slots"]
    assert (code, err) == (1, "")
    assert [(row["slot"], row["rule"]["id"]) for row in rows] == [
        ("1", "web-srgb"), ("2", "web-srgb"), ("2", "hdr-pq-1000")
    ]  # fmt: skip
    alone = json.loads(run("web-srgb", "--meter", str(tmp_path / "coarse.yaml"),
                           "--encoding", "rgb-10-full", "--format", "json")[1])  # fmt: skip
    assert rows[1] == {"slot": "2", **alone}
    assert rows[0]["requirements"] != rows[1]["requirements"]


def test_one_slot_of_a_job_in_words(tmp_path: Path) -> None:
    code, out, _ = run(job(tmp_path), "--slot", "1")
    assert code == 0
    assert out.startswith("slot 1 · web-srgb, revision 2 · meter m (colorimeter)\n")
    assert out.endswith("This meter can prove every requirement of the rule.\n")
    assert out.count("slot ") == 1


def test_another_meter_for_a_job(tmp_path: Path) -> None:
    file = job(tmp_path, JOB.replace("meter: meter.yaml\n", ""))
    assert run(file) == (
        2, "", f"{file}: meter: missing for slot 1; name a meter file, or give --meter FILE\n"
    )  # fmt: skip
    assert run(file, "--slot", "1", "--meter", str(tmp_path / "meter.yaml"))[0] == 0
