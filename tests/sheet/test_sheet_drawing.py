"""The drawn sheet: what stands on its pages, that nothing runs over, same bytes each time."""

from __future__ import annotations

import io
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pikepdf
import pytest
from helpers.pdf_text import Said, everything, on_page
from helpers.sample_assessments import invented_charts_of, of_another

from compliance import __version__
from compliance.errors import SheetError
from compliance.model import Assessment, Party, Remark, Texts, Verdict
from compliance.pictures.fonts import MONO, width
from compliance.report.build import build_report
from compliance.sheet import draw_sheet
from compliance.sheet.inner_pages import shall_first
from compliance.sheet.layout import choose_layout
from compliance.sheet.pagination import PAGES

Sample = Callable[[str], Assessment]


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_each_page_has_number_and_count(each: Assessment, page: str, said: list[Said]) -> None:
    pdf = draw_sheet(each, page=page, signed=False).pdf
    with pikepdf.open(io.BytesIO(pdf)) as document:
        count = len(document.pages)
        box = [float(value) for value in document.pages[0].mediabox]
    assert box[2:] == pytest.approx([PAGES[page].width, PAGES[page].height], abs=0.01)
    feet = [line for line in said if line.text.startswith("Page ")]
    assert [line.text for line in feet] == [f"Page {at} of {count}" for at in range(1, count + 1)]
    start = each.number[:20]
    for at in range(count):
        assert any(line.text.startswith(start) for line in said if line.page == at)


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_nothing_runs_over_the_margins(each: Assessment, page: str, said: list[Said]) -> None:
    draw_sheet(each, page=page, signed=False)
    grid = PAGES[page]
    for line in said:
        assert line.x0 >= grid.left - 2, line
        assert line.x1 <= grid.width - grid.right + 2, line
        assert line.y0 >= 25, line
        assert line.y1 <= grid.height - 25, line


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_no_two_lines_are_printed_over_one_another(
    each: Assessment, page: str, said: list[Said]
) -> None:
    draw_sheet(each, page=page, signed=False)
    by_page: dict[int, list[Said]] = {}
    for line in said:
        if line.text.strip():
            by_page.setdefault(line.page, []).append(line)
    for lines in by_page.values():
        lines.sort(key=lambda line: line.y0)
        for index, one in enumerate(lines):
            for other in lines[index + 1 :]:
                if other.y0 > one.y1:
                    break
                across = min(one.x1, other.x1) - max(one.x0, other.x0)
                up = min(one.y1, other.y1) - max(one.y0, other.y0)
                assert not (across > 0.8 and up > 0.8), (one, other)


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_no_page_is_half_empty(each: Assessment, page: str) -> None:
    grid = PAGES[page]
    pages = choose_layout(build_report(each), invented_charts_of(each), grid)
    too_little = sum(body.filled for body in pages) < (len(pages) - 0.5) * grid.depth
    for number, body in enumerate(pages, 2):
        least = 0.2 if too_little and body is pages[-1] else 0.5
        assert body.filled > least * grid.depth, f"page {number}"
        assert body.filled <= grid.depth + 0.01, f"page {number}"


def test_page_1_answers_the_client(sample: Sample, said: list[Said]) -> None:
    draw_sheet(sample("compliant"), signed=True)
    front = on_page(said, 0)
    for words in (
        "Display slot 1 of Oriel Row Panel 31 for: SDR broadcast master, HD",
        "Serial number RD-31-0007",
        "Issued 2026-11-20 16:00 UTC",
        "How to check this sheet",
        "13 of 13 patches needed for the verdict were judged.",
        "Basis of 11 limits needed for the verdict: 3 in digests of published documents,",
        "Conditionally compliant",
        "Slot 1, as measured, meets every requirement of SDR broadcast master, HD; all "
        "only conditionally, as the measurement uncertainty is not stated.",
        "Valid until 2026-12-20 15:10 UTC",
        "11 of 11 met, all conditionally",
        "Low Tide Films",
        "A river documentary in six parts",
        "Slipway Post",
        "4 Harbour Steps, Exmouth",
        "M. Ferro",
        "J. Okafor",
        "spot-1, serial number SP-0441",
        "C-2026-118",
        "2026-11-20 15:10 UTC",
        "Scope and limits of this sheet",
        "without measurement uncertainty",
        "no accredited calibration certificate",
        "For the facility",
        "Countersignature, if any",
    ):
        assert words in front, words
    assert "NOT SIGNED" not in everything(said)


def test_without_a_signature_every_page_says_so(sample: Sample, said: list[Said]) -> None:
    pdf = draw_sheet(sample("both"), signed=False).pdf
    with pikepdf.open(io.BytesIO(pdf)) as document:
        count = len(document.pages)
    marked = {line.page for line in said if line.text == "NOT SIGNED"}
    assert marked == set(range(count))


def test_page_1_tells_what_lies_outside(sample: Sample, said: list[Said]) -> None:
    draw_sheet(sample("failing"), signed=True)
    front = on_page(said, 0)
    for words in ("Not compliant", "2 of the 11 requirements", "Gamma", "2.21", "2.4 ± 0.1"):
        assert words in front, words
    assert "Correct the values outside their limits, then measure again." in front
    assert "The meter's certificate was due on 2026-03-02, before the readings." in front
    assert "Outside at 9 of 12:" in everything(said)


def test_page_1_names_what_should_be_met_and_is_not(sample: Sample, said: list[Said]) -> None:
    """Though the slot is compliant: two of three, with commas in their titles or values."""
    told = sample("compliant")
    draw_sheet(told, signed=True)
    assert "Not met:" not in on_page(said, 0)
    findings = tuple(
        replace(row, verdict=Verdict.FAIL, value=20.0)
        if row.id in ("surround", "uniformity")
        else row
        for row in told.state.findings
    )
    said.clear()
    draw_sheet(replace(told, state=replace(told.state, findings=findings)), signed=True)
    front = on_page(said, 0)
    assert "1 of 3 met, conditionally, 2 not met" in front
    assert (
        "Not met: Uniformity of the screen (20.0 %, limit at most 10 %); Surround (20.0 cd/m², "
        "limit 10 ± 2 cd/m²)."
    ) in front


def test_a_remark_before_and_after_is_told_once(sample: Sample, said: list[Said]) -> None:
    told = sample("both")
    assert told.before is not None
    same = Remark("a", Texts("The meter is a poor one."))
    other = Remark("b", Texts("White drifted by 3 %."))
    state = replace(told.state, remarks=(same,))
    draw_sheet(
        replace(told, state=state, before=replace(told.before, remarks=(same, other))), signed=True
    )
    whole = everything(said)
    assert whole.count("The meter is a poor one.") == 1
    assert "Before calibration: White drifted by 3 %." in whole


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_a_patch_is_not_parted_from_its_value(sample: Sample, page: str, said: list[Said]) -> None:
    draw_sheet(sample("failing"), page=page, signed=True)
    told = [line.text for line in said if "Outside at 9 of 12" in line.text]
    assert told
    assert "grey\u00a05\u00a0%:\u00a0+12.41\u00a0%" in told[0]
    assert not [line.text for line in said if line.text.startswith("% ")]


def test_page_1_tells_what_is_missing(sample: Sample, said: list[Said]) -> None:
    draw_sheet(sample("undecided"), signed=True)
    front = on_page(said, 0)
    assert "Undecided" in front
    assert "12 readings missing" in front
    assert "Measure what is missing, then assess again." in front
    whole = everything(said)
    assert "Not judged, too dark for the meter: grey 1 %, grey 2 %, grey 3 %." in whole
    assert "not applicable" in whole
    assert "at least 2413" in whole


def test_before_calibration_is_the_slots_state_never_the_panels(
    sample: Sample, said: list[Said]
) -> None:
    draw_sheet(sample("only-before"), signed=True)
    front = on_page(said, 0)
    assert "The slot's state before calibration, never the panel's" in front
    assert "Before calibration, slot 1, as measured, does not meet" in front
    assert "never what the panel can do" in front
    assert "Calibrate the slot, then measure it again." in front


def test_before_and_after_stand_side_by_side(sample: Sample, said: list[Said]) -> None:
    draw_sheet(sample("both"), signed=True)
    whole = everything(said)
    for plot in ("Luminance tracking", "Grey balance", "Colour differences by patch"):
        left = next(line for line in said if line.text == f"{plot}: before calibration")
        right = next(line for line in said if line.text == f"{plot}: after calibration")
        assert (left.page, left.y0) == (right.page, right.y0)
        assert left.x1 < right.x0
    assert "118.3 cd/m²" in whole
    assert "Before calibration, slot 1, as measured, does not meet 3 of the 11" in whole
    assert "never what the panel can do" in whole


def test_uncertain_values_carry_interval_and_probability(sample: Sample, said: list[Said]) -> None:
    draw_sheet(sample("both"), signed=True)
    whole = everything(said)
    for words in (
        "Conditionally compliant",
        "conditional pass",
        "p = 81 %",
        "95 %: x −0.0003 to +0.0027, y −0.0019 to +0.0011",
        "p > 99 %, joint p = 97 %",
        "95 %: at most 0.31",
        "p > 99 %",
        "without measurement uncertainty",
        "1.64 u",
        "no statement about all values together",
    ):
        assert words in whole, words
    assert "compared with their limits without" not in on_page(said, 0)


def test_guarding_without_uncertainty_leaves_it_open(sample: Sample, said: list[Said]) -> None:
    draw_sheet(sample("guarded"), signed=True)
    assert "none of those measured can be accepted in this way" in everything(said)


def test_every_requirement_is_printed_shall_first(each: Assessment, said: list[Said]) -> None:
    rows = shall_first(build_report(each).now.rows)
    draw_sheet(each, signed=True)
    levels = [row.finding.level for row in rows]
    assert levels == sorted(levels, reverse=False)
    assert len(levels) == len(each.state.findings)
    later = " ".join(line.text for line in said if line.page > 0)
    for row in rows:
        assert row.finding.title.split()[0] in later
    titles = [line.text for line in said if line.page > 0]
    for finding in each.state.findings:
        if len(finding.title) < 24:
            assert finding.title in titles, finding.title


def test_what_it_replaces_is_on_page_one(sample: Sample, said: list[Said]) -> None:
    draw_sheet(sample("both"), signed=True)
    assert "Replaces" not in [line.text for line in said]
    said.clear()
    number = "KX-7-1-tiny-0a1b2c3d4e5f60718293a4b5c6d7e8f9"
    draw_sheet(replace(sample("both"), replaces=number), signed=True)
    first = on_page(said, 0)
    assert "Replaces KX-7-1-tiny-0a1b 2c3d 4e5f 6071 8293 a4b5 c6d7 e8f9" in first


def test_changes_of_a_house_rule_are_told(sample: Sample, said: list[Said]) -> None:
    draw_sheet(sample("both"), signed=True)
    whole = everything(said)
    assert "House-rule changes" in whole
    assert "Low Tide Films, 2026-09-01" in whole
    assert "not known here" in whole
    first = on_page(said, 0)
    assert "for: Low Tide broadcast master, with house-rule changes" in first
    assert "By house rule low-tide-broadcast: " in first
    assert "of sdr-broadcast@1 not asked" in first
    said.clear()
    draw_sheet(sample("compliant"), signed=True)
    assert "ouse rule" not in everything(said)


def test_provenance_is_told(sample: Sample, said: list[Said]) -> None:
    told = sample("compliant")
    draw_sheet(told, signed=True)
    whole = everything(said)
    digests = "".join(line.text for line in said)
    for words in (
        "sdr-broadcast, revision 1",
        "commit 0f3c9a7712de",
        f"deliverable-compliance {__version__}",
        "rgb-10-narrow",
        "10.2 cd/m²",
        "12 lx",
        "45 min",
        "luts/slot-1.cube",
        "yes, by M. Ferro, 2026-11-20",
        "Lantern Hill Metrology",
        "Simple acceptance",
        "photosensitive epilepsy",
        "End of the sheet",
        "13·L*·Δu′v′",
    ):
        assert words in whole, words
    lines = [line.text for line in said if line.text]
    for digest in (told.rule.digest, told.state.readings.sha256):
        assert any(digest.startswith(line) for line in lines if len(line) > 30)
        assert any(digest.endswith(line) for line in lines if len(line) > 15)
    assert len(digests) > 0


def test_all_that_probabilities_hang_on_is_told_of_the_meter(
    sample: Sample, said: list[Said]
) -> None:
    told = sample("near")
    draw_sheet(told, signed=True)
    whole = everything(said)
    for words in (
        "Repeatability 0.3 %, x 0.0003, y 0.0003 from 1 cd/m² (k = 2)",
        "More on saturated x 0.003, y 0.003, 3 % of luminance (k = 2)",
        "Last digit 0.0001 cd/m²",
        "Correlation of x, y 0.3",
    ):
        assert words in whole, words
    assert told.meter is not None
    assert told.meter.uncertainty is not None
    unknown = replace(told.meter.uncertainty, repeatability=(), correlation=None)
    said.clear()
    bare = replace(told.meter, uncertainty=unknown, settle=None, reading_time=())
    draw_sheet(of_another(told, meter=bare), signed=True)
    whole = everything(said)
    assert "Repeatability not stated" in whole
    assert "Correlation of x, y" not in whole
    assert "Wait per patch" not in whole


def test_labels_say_what_they_are_of(sample: Sample, said: list[Said]) -> None:
    draw_sheet(sample("compliant"), signed=True)
    labels = [line.text for line in said]
    for label in ("Job", "File's SHA-256", "Whole rule's", "Meter's SHA-256"):
        assert label in labels
    assert "Order" not in labels
    assert "Its SHA-256" not in labels


def test_formulas_are_not_broken_inside(sample: Sample) -> None:
    formulas = [
        fact.value for fact in build_report(sample("both")).definitions if "·(" in fact.value
    ]
    assert formulas
    assert not [text for text in formulas if " − " in text or " + " in text]


def test_the_unknown_is_not_stated(sample: Sample, said: list[Said]) -> None:
    draw_sheet(sample("one"), signed=True)
    front = on_page(said, 0)
    assert "Client not stated" in front
    assert "Authorised by not stated" in front
    assert "Certificate not stated" in front


ORDINARY = ["compliant", "failing", "undecided", "both", "only-before", "unproven", "doubtful"]


@pytest.mark.parametrize("name", ORDINARY)
@pytest.mark.parametrize("page", ["a4", "letter"])
def test_ordinary_texts_are_not_cut(sample: Sample, name: str, page: str, said: list[Said]) -> None:
    draw_sheet(sample(name), page=page, signed=False)
    assert not [line.text for line in said if "…" in line.text]


def test_signature_boxes_lie_on_page_1(each: Assessment) -> None:
    boxes = draw_sheet(each, signed=True).boxes
    grid = PAGES["a4"]
    assert set(boxes) == {"FacilitySignature", "Countersignature"}
    for page, x0, y0, x1, y1 in boxes.values():
        assert page == 0
        assert grid.left - 0.1 <= x0 < x1 <= grid.width - grid.right + 0.1
        assert 0 < y0 < y1 < grid.height / 3


def test_a_character_without_a_glyph_is_an_error(sample: Sample) -> None:
    told = sample("compliant")
    assert told.job is not None
    named = of_another(told, job=replace(told.job, client=Party("映画社")))
    with pytest.raises(SheetError, match=r"'映画社': .* no '映' \(U\+6620\)"):
        draw_sheet(named, signed=True)


def test_another_page_is_an_error(sample: Sample) -> None:
    with pytest.raises(SheetError, match="page 'a3': expected one of a4, letter"):
        draw_sheet(sample("one"), page="a3", signed=True)


def test_same_assessment_same_bytes(each: Assessment) -> None:
    assert draw_sheet(each, signed=True).pdf == draw_sheet(each, signed=True).pdf


AGAIN = """
import hashlib, sys
sys.path.insert(0, sys.argv[1])
import compliance.sheet
from helpers.invented_samples import both
from helpers.sample_assessments import invented_charts_of
compliance.sheet.layout.charts_of = invented_charts_of
print(hashlib.sha256(compliance.sheet.draw_sheet(both(), signed=True).pdf).hexdigest())
"""


def test_same_bytes_in_another_process_zone_and_hash_seed(root: Any) -> None:
    told = set()
    for zone, seed, epoch in (("UTC", "1", ""), ("Asia/Tokyo", "2", "1700000000")):
        surroundings = {
            **os.environ,
            "TZ": zone,
            "PYTHONHASHSEED": seed,
            "SOURCE_DATE_EPOCH": epoch,
        }
        run = subprocess.run(
            [sys.executable, "-c", AGAIN, str(root / "tests")],
            env=surroundings,
            cwd=root,
            capture_output=True,
            text=True,
            check=True,
        )
        told.add(run.stdout)
    assert len(told) == 1


def test_the_date_is_the_assessments(sample: Sample) -> None:
    with pikepdf.open(io.BytesIO(draw_sheet(sample("one"), signed=True).pdf)) as document:
        assert str(document.docinfo["/CreationDate"]).startswith("D:20261120160000")


def test_fonts_are_embedded_and_no_other_is_used(each: Assessment) -> None:
    with pikepdf.open(io.BytesIO(draw_sheet(each, signed=True).pdf)) as document:
        for page in document.pages:
            for font in page.Resources.Font.values():
                assert "Sheet" in str(font.BaseFont)
                assert "/FontFile2" in font.FontDescriptor


def test_a_numbers_ends_survive_where_it_is_cut(sample: Sample, said: list[Said]) -> None:
    draw_sheet(replace(sample("one"), number="A" * 300 + "-7c41f09e"), signed=True)
    feet = [line.text for line in said if "…" in line.text and line.text.startswith("AAA")]
    assert feet
    assert all(text.endswith("-7c41f09e") for text in feet)
    assert all(width(text, MONO, 5.4) < 500 for text in feet)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs poppler's pdftotext")
def test_the_text_can_be_taken_out_again(sample: Sample, tmp_path: Any) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(draw_sheet(sample("both"), signed=True).pdf)
    run = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
    )
    text = run.stdout.replace("\u00a0", " ")
    for words in ("Conditionally compliant", "Δu*v*", "100 ± 5 cd/m²", "−0.0004", "u′v′"):
        assert words in text, words
