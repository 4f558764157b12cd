"""`compliance convert`, as a process, and readings in other formats given to `assess`."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from helpers.other_formats import CGATS, CSV, CXF, spectra, tm27

ROOT = Path(__file__).resolve().parents[2]
READINGS = ROOT / "demo" / "readings" / "slot-1.csv"
ENCODING = ("--encoding", "rgb-10-narrow")
NOW = ("--now", "2026-11-20T12:00:00Z")


def test_there_and_back(compliance: Callable, tmp_path: Path) -> None:
    there = compliance("convert", READINGS, "slot-1.txt", *ENCODING, *NOW)
    assert (there.returncode, there.stderr) == (0, "")
    assert there.stdout == (
        "79 readings in rgb-10-narrow, CSV to CGATS text\n\nWritten:\n  slot-1.txt\n"
    )
    assert 'CREATED\t"2026-11-20T12:00:00+00:00"' in (tmp_path / "slot-1.txt").read_text()
    assert compliance("convert", "slot-1.txt", "slot-1.cxf").returncode == 0
    assert compliance("convert", "slot-1.cxf", "back.csv").returncode == 0
    back = (tmp_path / "back.csv").read_text().splitlines()
    assert [line.rsplit(",", 1)[0] for line in back] == READINGS.read_text().splitlines()


def test_each_format_is_assessed_alike(compliance: Callable) -> None:
    call = ("--rule", "sdr-broadcast", *ENCODING)
    printed = []
    for name in ("a.csv", "a.txt", "a.cxf"):
        assert compliance("convert", READINGS, name, *ENCODING).returncode == 0
        done = compliance("assess", name, *call)
        assert done.returncode == 0, done.stderr
        lines = done.stdout.replace(name, "a").splitlines()
        printed.append("\n".join(line for line in lines if "Number" not in line))
    assert len(set(printed)) == 1


def test_spectra(compliance: Callable, tmp_path: Path) -> None:
    (tmp_path / "spectra.csv").write_text(spectra(), encoding="utf-8")
    done = compliance("convert", "spectra.csv", "values.csv", "--encoding", "rgb-10-full")
    assert (done.returncode, done.stderr) == (0, "")
    assert "CSV of spectra to CSV" in done.stdout
    ten = compliance(
        "convert",
        "spectra.csv",
        "ten.csv",
        "--encoding",
        "rgb-10-full",
        "--observer",
        "cie-1964-10",
    )
    assert ten.returncode == 0
    judged = compliance("assess", "ten.csv", "--rule", "web-srgb", "--encoding", "rgb-10-full")
    assert judged.returncode == 2
    assert "is not the observer that rules use" in judged.stderr


def test_files_of_a_session_and_its_plan(compliance: Callable, tmp_path: Path) -> None:
    (tmp_path / "plan.csv").write_text(
        "r,g,b,X,Y,Z,position,encoding\n"
        "1023,1023,1023,,,,centre,rgb-10-full\n0,0,0,,,,left,rgb-10-full\n"
    )
    for name, value in (("1.spdx", "0.001"), ("2.spdx", "1e-6")):
        (tmp_path / name).write_text(tm27(value=value))
    done = compliance("convert", "1.spdx", "2.spdx", "session.csv", "--plan", "plan.csv")
    assert (done.returncode, done.stderr) == (0, "")
    assert "2 readings in rgb-10-full, IES TM-27 to CSV" in done.stdout
    alone = compliance("convert", "1.spdx", "alone.csv", "--encoding", "rgb-10-full")
    assert alone.returncode == 2
    assert "--plan PLAN" in alone.stderr


def test_negative_noise_in_cxf_is_told(compliance: Callable, tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text(CGATS)
    done = compliance("convert", "a.txt", "a.cxf", "--encoding", "rgb-10-full")
    assert "1 of them have values below zero, kept as read" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (["a.cxf", "b.pdf"], 2, "compliance: b.pdf: unknown format; end the name in .csv, "),
        (["none.csv", "b.csv"], 2, "none.csv: no such readings file"),
        (["a.cxf", "b.csv"], 2, "a.cxf: the encoding of the code values is not stated; use"),
        (
            ["a.cxf", "a.cxf", "--replace"],
            2,
            "compliance: a.cxf: is an input and would be overwritten; choose another OUT",
        ),
        (
            ["a.cxf", "b.csv", "--plan", "b.csv", "--encoding", "rgb-10-full"],
            2,
            "b.csv: no such readings file",
        ),
        (["a.cxf", "-"], 2, "compliance: -: unknown format; end the name in .csv, "),
        (
            ["a.cxf", "/dev/null", "--to", "csv", "--replace"],
            2,
            "compliance: /dev/null: is not a regular file; expected the name of a new file",
        ),
        (
            ["a.cxf", "b.csv", "--input-format", "cgats"],
            2,
            "a.cxf: the file is CxF, by its content; expected CGATS text",
        ),
        (["a.cxf", "b.txt", "--encoding", "rgb-8-full"], 2, "a.cxf:2: code values go up to '1023'"),
    ],
)
def test_refusals(
    compliance: Callable, tmp_path: Path, arguments: list[str], code: int, told: str
) -> None:
    (tmp_path / "a.cxf").write_text(CXF)
    done = compliance("convert", *arguments)
    assert done.returncode == code
    assert done.stderr.startswith(told)
    assert done.stdout == ""
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.cxf"]


def test_a_file_that_stands_there_stays(compliance: Callable, tmp_path: Path) -> None:
    (tmp_path / "a.cxf").write_text(CXF)
    (tmp_path / "b.csv").write_text("mine\n")
    done = compliance("convert", "a.cxf", "b.csv", "--encoding", "rgb-10-full")
    assert done.returncode == 2
    assert done.stderr == "compliance: b.csv: already exists; use --replace to overwrite\n"
    assert (tmp_path / "b.csv").read_text() == "mine\n"


def test_what_is_read_under_another_name_is_not_written_over(
    compliance: Callable, tmp_path: Path
) -> None:
    (tmp_path / "spectra.csv").write_text(spectra(), encoding="utf-8")
    (tmp_path / "same.csv").symlink_to("spectra.csv")
    done = compliance(
        "convert", "spectra.csv", "same.csv", "--replace", "--encoding", "rgb-10-full"
    )
    assert done.returncode == 2
    assert "is an input and would be overwritten" in done.stderr
    assert (tmp_path / "spectra.csv").read_text(encoding="utf-8") == spectra()


def test_through_pipes(root: Path, tmp_path: Path) -> None:
    """Byte for byte, whatever the terminal can show."""
    text = CSV.replace("grey", "grün").encode()
    call = [sys.executable, "-m", "compliance.cli", "convert", "-", "-"]
    how = {
        "cwd": tmp_path,
        "env": {**os.environ, "PYTHONPATH": str(root), "PYTHONIOENCODING": "latin-1"},
        "capture_output": True,
        "check": False,
    }
    there = subprocess.run([*call, "--to", "cxf", "--encoding", "rgb-10-full"], input=text, **how)
    assert there.returncode == 0
    assert there.stderr == b"3 readings in rgb-10-full, CSV to CxF\n" + (
        b"1 of them have values below zero, kept as read; the schema of CxF allows none, so a "
        b"strict reader may refuse the file.\n"
    )
    back = subprocess.run([*call, "--to", "csv"], input=there.stdout, **how)
    assert back.returncode == 0
    assert [line.rsplit(",", 1)[0] for line in back.stdout.decode().splitlines()] == (
        text.decode().splitlines()
    )
    empty = subprocess.run([*call, "--to", "csv"], input=b"", **how)
    assert (empty.returncode, empty.stdout) == (2, b"")
    assert empty.stderr.startswith(b"standard input: the file is empty")
    assert not list(tmp_path.iterdir())


def test_insisting_on_a_format_of_a_jobs_readings(
    compliance: Callable, desk: Callable, tmp_path: Path
) -> None:
    job = desk("good")
    assert compliance("assess", job, "--no-sheet", "--input-format", "csv").returncode == 0
    done = compliance("assess", job, "--no-sheet", "--input-format", "cgats")
    assert done.returncode == 2
    assert "good.csv" in done.stderr
