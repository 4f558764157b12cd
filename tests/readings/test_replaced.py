"""Rows that were replaced by others: kept and shown, and no value is computed from them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from helpers import commands
from helpers.planned_readings import filled_in
from helpers.shipped import shipped_rule

from compliance.assessment import assess
from compliance.documents import assessment_document
from compliance.errors import ReadingsError
from compliance.evidence.recompute import assess_again, attachments
from compliance.meter_file import load_meter
from compliance.model import ENCODINGS, Assessment, Display, Measurement, Readings
from compliance.planning.plan import measuring_plan
from compliance.readings.convert import Retake, Source, convert
from compliance.readings.load import readings_from_bytes
from compliance.report.build import build_report
from compliance.report.words import remark_text

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
ROOT = Path(__file__).resolve().parents[2]
METER = load_meter(ROOT / "demo/meters/spectroradiometer.yaml")
RULE = shipped_rule("web-srgb")
HEADER, *ROWS = (
    filled_in(measuring_plan([RULE], RULE.encoding), RULE, black=0.05).decode().splitlines()
)
RED = next(row for row in ROWS if row.startswith("255,0,0,"))
OUT = HEADER + ",replaced"


def wrong(row: str, reason: str, share: float = 0.5) -> str:
    """A row with a share of its light, replaced for a reason."""
    cells = row.split(",")
    cells[3:6] = [f"{share * float(cell):.6g}" for cell in cells[3:6]]
    return ",".join([*cells, reason])


def text(*replaced: str) -> str:
    """The whole plan, with replaced rows at the start."""
    return "\n".join([OUT, *replaced, *(row + "," for row in ROWS)]) + "\n"


def read(text: str) -> Readings:
    return readings_from_bytes(text.encode(), "f", RULE.encoding)


@pytest.fixture(autouse=True)
def few_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("compliance.assessment.DRAWS", 200)


def assessed(readings: Readings) -> Assessment:
    measurement = Measurement(RULE, readings, meter=METER, display=Display(technology="lcd"))
    return assess(measurement, now=NOW)


def told(assessment: Assessment) -> str | None:
    """The remark on replaced readings."""
    found = [remark for remark in assessment.state.remarks if remark.kind == "replaced"]
    return remark_text(found[0]) if found else None


def test_they_are_kept_apart() -> None:
    readings = read(text(wrong(RED, "door open")))
    assert len(readings) == len(ROWS)
    assert readings.lines == tuple(range(3, len(ROWS) + 3))
    (gone,) = readings.replaced
    assert (gone.line, gone.codes, gone.reason) == (2, (255, 0, 0), "door open")
    assert gone.xyz[1] == pytest.approx(readings.xyz[ROWS.index(RED), 1] / 2, rel=1e-4)


def test_an_impossible_colour_may_be_replaced() -> None:
    cells = RED.split(",")
    cells[3:6] = ["0", "90", "0"]
    bad = ",".join(cells)
    with pytest.raises(ReadingsError, match="not a possible colour"):
        read(text(bad + ","))
    assert len(read(text(bad + ",lens cap")).replaced) == 1


def test_every_reading_replaced_is_an_error() -> None:
    with pytest.raises(ReadingsError, match="every reading is marked as replaced"):
        read("r,g,b,X,Y,Z,replaced\n0,0,0,1,1,1,again\n")


def test_no_value_rests_on_them() -> None:
    """The same document as without these rows, but for the file, its count and the remark."""
    plain = assessed(read(text()))
    other = assessed(read(text(*[wrong(row, "glare", 3) for row in ROWS[:9]])))
    documents = [assessment_document(each) for each in (plain, other)]
    for document in documents:
        del document["number"], document["readings"]["sha256"]
    assert documents[1]["readings"].pop("replaced") == 9
    assert documents[0]["readings"].pop("replaced") == 0
    kinds = [[remark["kind"] for remark in document.pop("remarks")] for document in documents]
    assert kinds[1] == ["replaced", *kinds[0]]
    assert documents[0] == documents[1]


def test_a_patch_with_no_other_reading_is_missing() -> None:
    kept = [row + "," for row in ROWS if row != RED]
    assessment = assessed(read("\n".join([OUT, wrong(RED, "glare"), *kept])))
    assert assessment.state.verdict == "undecided"
    assert any("red" in finding.missing for finding in assessment.state.findings)


def test_a_few_that_decide_nothing_earn_no_remark() -> None:
    extra = ["77,3,9,1,1,1,centre,100,full,0,rgb-8-full,glare"] * 2
    assert told(assessed(read(text(*extra)))) is None
    many = told(assessed(read(text(*extra * 5))))
    assert many == (
        f"10 of {len(ROWS) + 10} readings were replaced by others taken again; reason: "
        "glare (10 times)."
    )


def test_one_of_a_patch_that_decides_earns_one() -> None:
    said = told(assessed(read(text(wrong(RED, "door open")))))
    assert said is not None
    assert said.startswith(f"1 of {len(ROWS) + 1} readings were replaced by others taken again; ")
    assert "reason: door open. Values of a patch that was read again: " in said


def test_the_sheet_has_number_values_and_reasons() -> None:
    report = build_report(assessed(read(text(wrong(RED, "door open")))))
    (group,) = [group for group in report.provenance if group.title == "Readings"]
    facts = {fact.label: fact.value for fact in group.facts}
    x, y, z = read(text(wrong(RED, "door open"))).replaced[0].xyz
    assert facts["Replaced, not used"] == "1 row"
    assert facts["Line 2"].startswith("255 0 0, centre, 100")
    assert facts["Line 2"].endswith("; door open")
    for value in (x, y, z):
        assert f"{value:.6g}" in facts["Line 2"]
    assert any("replaced by others" in remark for remark in report.remarks[: report.serious])


def test_the_evidence_is_computed_again_alike() -> None:
    assessment = assessed(read(text(wrong(RED, "door open"))))
    again = assess_again(attachments(assessment))
    assert again.number == assessment.number
    assert again.state.readings.replaced == assessment.state.readings.replaced


# ------------------------------------------------------------ taken again


def source(name: str, *rows: str) -> Source:
    return Source(name, "\n".join([HEADER, *rows, ""]).encode())


def retaken(to: str, again: Source, *rows: str) -> bytes:
    return convert(
        [source("f", *(rows or ROWS))],
        to,
        created=NOW,
        tool="a test",
        encoding=ENCODINGS["rgb-8-full"],
        retake=Retake(again, "door open, glare"),
    ).data


@pytest.mark.parametrize("to", ["csv", "cgats", "cxf"])
def test_retake_marks_what_it_replaces(to: str) -> None:
    new = [wrong(RED, "", 1.1).rstrip(","), wrong(RED, "", 1.2).rstrip(",")]
    readings = readings_from_bytes(retaken(to, source("new", *new)), "f")
    assert len(readings) == len(ROWS) + 1
    (gone,) = readings.replaced
    assert (gone.codes, gone.reason) == ((255, 0, 0), "door open, glare")
    reds = readings.xyz[(readings.codes == (255, 0, 0)).all(axis=1), 1]
    assert np.allclose(reds / gone.xyz[1], [1.1, 1.2], rtol=1e-4)


def test_what_was_replaced_stays_so() -> None:
    first = retaken("csv", source("new", RED))
    again = convert(
        [Source("f", first)],
        "csv",
        created=NOW,
        tool="a test",
        retake=Retake(source("new", RED), "knocked"),
    )
    reasons = [each.reason for each in readings_from_bytes(again.data, "f").replaced]
    assert reasons == ["door open, glare", "knocked"]


def test_a_patch_that_was_not_read_before_is_refused() -> None:
    row = RED.replace("255,0,0", "255,1,0")
    with pytest.raises(ReadingsError) as raised:
        retaken("csv", source("new", RED, row))
    assert str(raised.value) == (
        "new:3: no earlier reading of this patch to replace; expected one with the same codes, "
        "position, window, pattern, background and seconds"
    )


def test_on_the_command_line(tmp_path: Path) -> None:
    (tmp_path / "old.csv").write_bytes(source("", *ROWS).data)
    (tmp_path / "new.csv").write_bytes(source("", RED).data)
    call = ("convert", "old.csv", "all.csv", "--retake", "new.csv")
    assert commands.call(*call, cwd=tmp_path).stderr == (
        'compliance: --retake: requires --reason TEXT, e.g. --reason "door open"\n'
    )
    done = commands.call(*call, "--reason", "door open", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith(f"{len(ROWS) + 1} readings in rgb-8-full")
    marked = read((tmp_path / "all.csv").read_text()).replaced
    assert [each.reason for each in marked] == ["door open"]
    alone = commands.call("convert", "old.csv", "x.csv", "--reason", "why", cwd=tmp_path)
    assert alone.returncode == 2
    assert "only with --retake" in alone.stderr


def test_positions_and_windows_are_told_apart() -> None:
    elsewhere = RED.replace(",centre,", ",left,")
    readings = readings_from_bytes(retaken("csv", source("new", elsewhere), *ROWS, elsewhere), "f")
    (gone,) = readings.replaced
    assert gone.position == "left"
    assert replace(gone, position="centre").codes == (255, 0, 0)
