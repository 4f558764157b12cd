"""`compliance plan`, as a process: what is printed where, what is written, what is refused."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from helpers.planned_readings import filled_in
from helpers.shipped import shipped_rule

from compliance.planning.plan import measuring_plan

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "demo"
FLASHING = "! Full-screen flashing patches, above all HDR peaks, can provoke seizures"
BEAM = "! Do not look into a projector's beam"
BURN_IN = "! Long runs at peak luminance can age or burn in an emissive panel"


def rows(text: str) -> list[list[str]]:
    return list(csv.reader(text.splitlines()))


def test_a_rule(compliance: Callable) -> None:
    done = compliance("plan", "web-srgb")
    assert done.returncode == 0
    header, *steps = rows(done.stdout)
    assert ",".join(header) == "r,g,b,X,Y,Z,position,window,pattern,seconds,encoding"
    assert all(step[3:6] == ["", "", ""] for step in steps)
    white = ["255", "255", "255", "", "", "", "centre", "100", "full", "0", "rgb-8-full"]
    assert steps[0] == steps[-1] == white
    assert steps.count(white) == 3
    assert done.stderr.startswith(
        "web-srgb\n"
        f"  {len(steps)} readings of 60 patches\n"
        "  rgb-8-full: 8-bit RGB, full range\n"
        "  full-field patches\n"
        "  points, in % of the width from the left / of the height from the top\n"
        "  (practice): centre 50/50, top-left 10/10, top-right 90/10, bottom-right 90/90,\n"
        "  bottom-left 10/90\n"
        "  white 3 times: at the start, between and at the end\n"
        "  about 9 min, with a typical colorimeter; for yours, give --meter FILE; without\n"
        "  warming up and moving the meter\n"
    )
    assert FLASHING in done.stderr
    assert BURN_IN in done.stderr
    assert BEAM not in done.stderr


def test_into_a_file_filled_in_and_assessed(compliance: Callable, tmp_path: Path) -> None:
    done = compliance("plan", "web-srgb", "--out", "plan.csv", "--yxy")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.endswith("\nWritten:\n  plan.csv\n")
    assert FLASHING in done.stdout
    call = ("assess", "plan.csv", "--rule", "web-srgb", "--encoding", "rgb-8-full")
    empty = compliance(*call)
    assert empty.returncode == 2
    assert empty.stderr == (
        "plan.csv:2: not measured yet: Y, x and y are empty; also in 65 more lines\n"
    )
    header, *steps = rows((tmp_path / "plan.csv").read_text())
    for step in steps:
        level = sum(
            share * (int(code) / 255) ** 2.2
            for share, code in zip((0.21, 0.72, 0.07), step[:3], strict=True)
        )
        step[3:6] = [f"{100 * level + 0.01:.5g}", "0.3127", "0.3290"]
    text = "\n".join(",".join(row) for row in (header, *steps))
    (tmp_path / "plan.csv").write_text(text + "\n")
    assert compliance(*call).returncode == 1  # read and judged: it has no colours


def test_a_plan_of_which_some_rows_are_filled_in(compliance: Callable, tmp_path: Path) -> None:
    rule = shipped_rule("web-srgb")
    header, *steps = rows(filled_in(measuring_plan([rule], rule.encoding), rule).decode())
    call = ("assess", "plan.csv", "--rule", "web-srgb", "--encoding", "rgb-8-full")
    call = (*call, "--technology", "lcd")

    def assessed(measured: int) -> Any:
        kept = [row if at < measured else [*row[:3], "", "", "", *row[6:]]
                for at, row in enumerate(steps)]  # fmt: skip
        text = "\n".join(",".join(row) for row in (header, *kept))
        (tmp_path / "plan.csv").write_text(text + "\n")
        return compliance(*call)

    whole, half = assessed(len(steps)), assessed(len(steps) // 2)
    assert (half.returncode, half.stderr) == (3, whole.stderr)
    assert "undecided" in half.stdout
    assert "missing" in half.stdout
    assert "undecided" not in whole.stdout


@pytest.mark.parametrize(
    ("slot", "told", "cautions"),
    [
        ("1", ["slot 1: sdr-broadcast", "rgb-10-narrow: 10-bit RGB, narrow range", "with filter-1"],
         [FLASHING, BURN_IN]),
        ("2", ["slot 2: web-srgb, web-proven", "full-field patches"], [FLASHING, BURN_IN]),
        ("4", ["slot 4: cinema-review-room", "xyz-12-full: 12-bit X′Y′Z′", "with spectro-1"],
         [FLASHING, BEAM]),
    ],
)  # fmt: skip
def test_slots_of_a_job(
    compliance: Callable, slot: str, told: list[str], cautions: list[str]
) -> None:
    done = compliance("plan", DEMO / "job.yaml", "--slot", slot)
    assert done.returncode == 0
    for part in (*told, *cautions):
        assert part in done.stderr
    for other in {FLASHING, BEAM, BURN_IN} - set(cautions):
        assert other not in done.stderr


def test_a_job_before_there_are_readings(compliance: Callable, tmp_path: Path) -> None:
    (tmp_path / "job.yaml").write_text(
        "job: A-1\nencoding: rgb-10-full\ndisplay: {technology: lcd}\n"
        "slots: [{slot: 1, deliverable: [sdr-broadcast, web-srgb]}]\n"
    )
    done = compliance("plan", "job.yaml")
    assert done.returncode == 0
    assert "slot 1: sdr-broadcast, web-srgb" in done.stderr
    assert BURN_IN not in done.stderr
    assert rows(done.stdout)[1][-1] == "rgb-10-full"
    assert "readings: missing" in compliance("assess", "job.yaml", "--no-sheet").stderr


def test_where_the_points_are(compliance: Callable) -> None:
    # Common practice, no source: 10 % from the edges, the inner ones at 30 %.
    text = " ".join(compliance("plan", "sdr-broadcast", "--points", "13").stderr.split())
    assert "points, in % of the width from the left / of the height from the top (practice): " in (
        text
    )
    for told in ("centre 50/50", "left 10/50", "top-right 90/10", "inner-bottom-left 30/70"):
        assert told in text
    nine = compliance("plan", "sdr-broadcast").stderr
    assert "top-right 90/10" in " ".join(nine.split())
    assert "inner" not in nine


def test_peaks_in_windows(compliance: Callable) -> None:
    done = compliance("plan", "hdr-pq-1000", "--windows")
    peaks = [step for step in rows(done.stdout)[1:] if step[0] == "769"]
    assert {(step[7], step[9]) for step in peaks} == {
        ("50", "0"),  # the rule's own
        *((size, time) for size in ("1", "4", "10", "25", "81", "100") for time in ("0", "60")),
    }
    assert (
        "full-field patches; windows of 1, 4, 10, 25, 50, 81 % of the screen's area" in done.stderr
    )
    assert FLASHING in done.stderr


@pytest.mark.parametrize(
    ("rule", "encoding", "told"),
    [
        ("hdr-pq-1000", "rgb-8-full", "rgb-8-full has 8 bits, and ITU-R BT.2100 codes PQ and HLG "
         "in 10 or 12: a step of one code is up to 7.8 % of luminance"),
        ("hdr-hlg-1000", "rgb-8-narrow", "a step of one code is up to 11 % of luminance"),
        ("hdr-pq-1000", "xyz-12-full", "hdr-pq-1000 is written for rgb-10-full: in xyz-12-full its "
         "colours are coded anew"),
        ("cinema-review-room", "rgb-12-full", "cinema-review-room is written for xyz-12-full"),
        ("hdr-pq-1000", "rgb-10-narrow", ""),
        ("sdr-broadcast", "rgb-8-full", ""),
        ("cinema-hdr-direct-view", "xyz-12-full", ""),
    ],
)  # fmt: skip
def test_what_an_encoding_cannot_carry_well(
    compliance: Callable, rule: str, encoding: str, told: str
) -> None:
    done = compliance("plan", rule, "--encoding", encoding)
    text = " ".join(done.stderr.split())
    assert done.returncode == 0
    assert told in text
    assert ("! rgb-8" in text or "is written for" in text) == bool(told)


def test_a_hyphen_is_standard_output(compliance: Callable, tmp_path: Path) -> None:
    done = compliance("plan", "web-srgb", "--out", "-")
    assert done.stdout == compliance("plan", "web-srgb").stdout != ""
    assert not list(tmp_path.iterdir())


def test_a_grid(compliance: Callable) -> None:
    done = compliance("plan", "sdr-broadcast", "--grid", "9", "--encoding", "rgb-8-full")
    steps = rows(done.stdout)[1:]
    assert len({tuple(step[:3]) for step in steps}) >= 729
    assert "  with a grid of 9 points, 729 patches\n" in done.stderr
    assert "about 1" in done.stderr  # 107 min


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (
            ["sdr-broadcast", "web-srgb"],
            "compliance: sdr-broadcast is in rgb-10-narrow and web-srgb in rgb-8-full; give the "
            "generator's with --encoding\n",
        ),
        (
            [DEMO / "job.yaml"],
            f"compliance: {DEMO / 'job.yaml'} has the slots 1, 2, 3, 4; choose one with --slot\n",
        ),
        (
            [DEMO / "job.yaml", "web-srgb"],
            f"compliance: {DEMO / 'job.yaml'} is a job; expected one job alone, or rules alone\n",
        ),
        (["web-srgb", "--slot", "1"], "compliance: --slot requires a job file\n"),
        (
            ["cinema-review-room", "--grid", "9"],
            "compliance: --grid: xyz-12-full has X′Y′Z′ codes; expected RGB for a grid\n",
        ),
        (["none.yaml"], "none.yaml: no such job or rule file\n"),
        (
            ["web-srgb", "--encoding", "xyz-12-full"],
            "web-srgb: target.transfer.curve: takes RGB signals (srgb); readings in xyz-12-full "
            "cannot be judged by it; state the encoding of the readings or take another rule\n",
        ),
    ],
)
def test_refusals(compliance: Callable, arguments: list[str], told: str) -> None:
    done = compliance("plan", *arguments)
    assert (done.returncode, done.stdout, done.stderr) == (2, "", told)


def test_no_such_slot_or_rule(compliance: Callable) -> None:
    assert compliance("plan", DEMO / "job.yaml", "--slot", "9").returncode == 2
    assert compliance("plan", "no-such-rule").returncode == 2
    assert "Usage" not in compliance("plan").stdout


def test_a_file_that_stands_there_stays(compliance: Callable, tmp_path: Path) -> None:
    (tmp_path / "plan.csv").write_text("mine\n")
    done = compliance("plan", "web-srgb", "--out", "plan.csv")
    assert done.returncode == 2
    assert "plan.csv: already exists; use --replace to overwrite" in done.stderr
    assert (tmp_path / "plan.csv").read_text() == "mine\n"
    assert compliance("plan", "web-srgb", "--out", "plan.csv", "--replace").returncode == 0
