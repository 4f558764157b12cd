"""What a listener hears of a sheet: all of it, once, in order, and what pictures and cells say."""

from __future__ import annotations

import subprocess
from collections import Counter
from collections.abc import Callable, Iterator
from functools import cache
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from helpers import seven_scripts
from helpers.evidence_of_a_slot import assessment
from helpers.invented_samples import SAMPLES
from helpers.read_aloud import Heard, Listened, listen, sentence
from helpers.signing import countersigned, identity, tool

import compliance.sheet.layout
import compliance.sheet.pdfa
from compliance.model import Assessment, Verdict
from compliance.pictures.data import Charts, LevelPoint
from compliance.pictures.descriptions import tracking_shown
from compliance.pictures.fonts import normalise
from compliance.pictures.pdf_canvas import PdfCanvas
from compliance.report.build import build_report
from compliance.report.report import Report
from compliance.report.words.en import headings, pictures
from compliance.report.words.en.pictures import bars_shown, white_shown
from compliance.sheet.layout import draw_sheet
from compliance.sheet.make_sheet import archival_sheet, fields_of, write_sheet
from compliance.sheet.pdfa import archival
from compliance.signing.pdf_file import read_file

NAMES = ("both", "failing", "long-names", "many", "one", "only-before", "undecided")
HEADINGS = ("H1", "H2", "H3")


@cache
def drawn(name: str, *, signed: bool = True) -> bytes:
    """An invented sheet without evidence."""
    drawing = draw_sheet(SAMPLES[name](), signed=signed)
    return archival(
        drawing.pdf,
        title=name,
        subject="",
        author="",
        attachments={},
        created=SAMPLES[name]().assessed,
        structure=drawing.structure,
        fields=fields_of(drawing) if signed else {},
    )


@cache
def heard(name: str, *, signed: bool = True) -> Listened:
    return listen(drawn(name, signed=signed))


def told(name: str) -> Report:
    return build_report(SAMPLES[name]())


def as_read(*texts: str) -> str:
    """Texts one after another, as one line."""
    return " ".join(normalise(" ".join(texts)).split())


def requirement_table(name: str) -> Heard:
    return heard(name).document.all("Table")[0]


# ---------------------------------------------------------------- everything, once, in order


@pytest.mark.parametrize("name", NAMES)
def test_everything_is_read_once_or_not_to_be_read(name: str) -> None:
    found = heard(name)
    assert (found.unread, found.twice) == ([], [])
    columns = {*headings.REQUIREMENT_COLUMNS, *headings.COMPARED_COLUMNS}
    pages = heard(name).document.all("H1", "P")[-1].page + 1
    report = told(name)
    frame = {
        headings.SHEET,
        "–",
        *(headings.page_of(number, pages) for number in range(1, pages + 1)),
    }
    for text in filter(None, map(str.strip, found.silent)):
        start, _, end = text.partition("…")
        cut = any(
            whole.startswith(start) and whole.endswith(end)
            for whole in (report.running, report.facility.value, report.number)
        )
        assert text in frame | columns or cut, text


@pytest.mark.parametrize("name", NAMES)
def test_a_table_over_several_pages_is_one_with_one_head(name: str) -> None:
    assert len(requirement_table(name).all("THead")) == 1
    (head, *rows) = requirement_table(name).rows()
    assert tuple(cell.text for cell in head) == headings.REQUIREMENT_COLUMNS
    levels = {finding.level for finding in SAMPLES[name]().state.findings}
    assert len(rows) == len(told(name).now.rows) + len(levels)
    if name == "many":
        assert len({cell.page for row in rows for cell in row}) > 2


@pytest.mark.parametrize("name", NAMES)
def test_headings_begin_with_the_title_and_skip_no_level(name: str) -> None:
    levels = [int(each.role[1]) for each in heard(name).document.all(*HEADINGS)]
    assert levels[:2] == [1, 2]
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


@pytest.mark.parametrize("name", NAMES)
def test_bookmarks_are_the_headings_of_the_sections(name: str) -> None:
    wanted = [(each.text, each.page) for each in heard(name).document.all("H1", "H2")]
    bookmarks = heard(name).bookmarks
    assert len(bookmarks) == len(wanted)
    for (title, page), (text, at) in zip(bookmarks, wanted, strict=True):
        assert page == at
        assert as_read(title).startswith(text.rstrip("…"))


@pytest.mark.parametrize("name", ["both", "failing", "undecided"])
def test_paragraphs_are_whole(name: str) -> None:
    """Lines of one text are one paragraph, over the end of a page too, words are not broken."""
    report = told(name)
    paragraphs = Counter(each.text for each in heard(name).document.all("P", "LBody"))
    for text in (report.method, report.decision, *report.risk, *report.cautions, *report.remarks):
        assert paragraphs[as_read(text)] >= 1, text
    facts = [fact for group in report.provenance for fact in group.facts]
    for fact in (*facts, *report.bases):
        assert paragraphs[as_read(fact.label, fact.value)] >= 1, fact
    assert any(len(fact.value) == 64 for fact in facts)


@pytest.mark.parametrize("name", ["doubtful", "long-names"])
def test_what_refers_to_the_next_pages_leads_there(name: str) -> None:
    document = heard(name).document
    refers = [
        each
        for each in document.all("P", "LBody")
        if each.page == 0 and any(words in each.text for words in ("following page", "page 2"))
    ]
    assert refers
    for each in refers:
        (link,) = each.all("Link")
        assert link.text == each.text
        assert set(link.leads) == {1}
    assert len(document.all("Link")) == len(refers)


def test_the_verdict_comes_second() -> None:
    first, second = heard("failing").document.all(*HEADINGS)[:2]
    assert first.text == told("failing").title
    assert second.text == told("failing").now.headline == "Not compliant"


# ---------------------------------------------------------------- tables


@pytest.mark.parametrize("name", NAMES)
def test_each_requirement_is_told_in_one_sentence(name: str) -> None:
    """Requirement, verdict, value and limits, as the report has them."""
    (head, *rows) = requirement_table(name).rows()
    sentences = [sentence(row, head) for row in rows]
    for row in told(name).now.rows:
        finding = row.finding
        starts = as_read(f"Verdict: {row.word}; Requirement: {finding.title} {row.about}; Value:")
        value = as_read(row.value, *row.value_notes)
        limits = as_read(*row.limits)
        (found,) = [each for each in sentences if each.startswith(f"{starts} ")]
        assert found.startswith(f"{starts} {value}".rstrip())
        assert f"; Limits: {limits}" in found or not limits
        assert f"; Clause and basis: {as_read(finding.clause or '', finding.basis)}" in found


@pytest.mark.parametrize("name", NAMES)
def test_no_cell_is_without_a_head(name: str) -> None:
    for table in heard(name).document.all("Table"):
        (head, *rows) = table.rows()
        assert all(cell.role == "TH" and cell.scope == "Column" and cell.text for cell in head)
        for row in rows:
            assert len(row) == len(head)
            if row[0].span == 1:
                assert [cell.scope for cell in row if cell.role == "TH"] == ["Row"]


# ---------------------------------------------------------------- pictures and marks


@pytest.mark.parametrize("name", NAMES)
def test_no_figure_is_without_a_text(name: str) -> None:
    figures = heard(name).document.all("Figure")
    assert figures
    assert all(figure.alt and "Δ" not in figure.alt for figure in figures)


def test_a_mark_has_a_text_only_where_no_word_is_beside_it() -> None:
    table = requirement_table("both")
    assert table.all("Figure") == []
    compared = heard("both").document.all("Table")[1]
    words = {row.finding.title: row.word for row in told("both").now.rows}
    for title, _, after in compared.rows()[1:]:
        assert [figure.alt for figure in after.all("Figure")] == [words[title.text]]


def test_the_row_of_marks_is_counted() -> None:
    shown = (Verdict.PASS, Verdict.PASS, Verdict.FAIL, Verdict.PASS)
    assert pictures.marks(shown) == "In the rule's order: 2 pass, 1 fail, 1 pass."


def test_a_picture_tells_how_many_are_inside_and_the_worst() -> None:
    def level(name: str, measured: float, tolerance: float | None) -> LevelPoint:
        low, high = (10 - tolerance, 10 + tolerance) if tolerance else (None, None)
        return LevelPoint(name, 10.0, measured, low, high)

    inside = Charts(levels=(level("5 %", 10.4, 0.5), level("9 %", 9.3, 1), level("0 %", 2, None)))
    assert tracking_shown(inside) == (
        "Measured luminance of 3 greys against the target. Both with limits are inside. "
        "Farthest off: 5 %, 10.40 cd/m² for 10.00 cd/m² "
        "(+4.0 %, limits at least 9.500 and at most 10.50)."
    )
    outside = Charts(levels=(level("5 %", 10.4, 0.5), level("9 %", 8.9, 1.0)))
    assert "1 of 2 with limits is outside. Farthest off: 9 %, 8.9" in tracking_shown(outside)
    free = Charts(levels=(level("5 %", 10.4, None), level("9 %", 8.9, None)))
    assert "The rule sets no limits on them. Farthest off: 9 %, 8.9" in tracking_shown(free)


def test_words_of_other_pictures() -> None:
    assert white_shown(0.0012, Verdict.FAIL) == "White is delta u'v' 0.0012 from its target: fail."
    shown = bars_shown(3, 3, 1, quantity="ΔE 2000", name="grey 5\u00a0%", value=2.996, limit=2.99)
    assert shown == (
        "Delta E 2000 of 3 patches. 1 of 3 with limits is outside. "
        "Worst: grey 5 %, 3.00, limit 2.99."
    )


# ---------------------------------------------------------------- other scripts


def test_names_in_other_scripts_are_heard_as_they_were_typed() -> None:
    """In the order of their letters, whatever the order of drawing."""
    seven_scripts.require_faces()
    texts = " ".join(each.text for each in listen(seven_scripts.sheet()).document.all("P"))
    assert [text for text in seven_scripts.ALL if text not in texts] == []


# ---------------------------------------------------------------- signatures


def test_fields_are_named_before_and_after_signing() -> None:
    data = write_sheet(assessment(), identity=identity())
    labels = ["Signature of the facility", "Countersignature of the client"]
    for each in (data, countersigned(data)):
        assert [form.field for form in listen(each).document.all("Form")] == labels


def test_an_unsigned_sheet_says_so_and_has_no_fields() -> None:
    found = heard("one", signed=False)
    assert found.document.all("Form") == []
    assert [each.text for each in found.document.all("P")].count(headings.NOT_SIGNED) == 1
    with pikepdf.open(BytesIO(drawn("one", signed=False))) as pdf:
        assert "/AcroForm" not in pdf.Root


# ---------------------------------------------------------------- what it costs


@pytest.fixture
def untagged(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Sheets are drawn as if nothing were to be read."""

    def plain(*arguments: Any, structure: object, **named: Any) -> PdfCanvas:
        return PdfCanvas(*arguments, **named)

    monkeypatch.setattr(compliance.sheet.layout, "PdfCanvas", plain)
    yield


def pixels(pdf: bytes, folder: Path) -> list[bytes]:
    folder.mkdir()
    (folder / "sheet.pdf").write_bytes(pdf)
    subprocess.run(
        [tool("pdftoppm"), "-r", "40", folder / "sheet.pdf", folder / "page"], check=True
    )
    return [page.read_bytes() for page in sorted(folder.glob("*.ppm"))]


def test_what_is_heard_is_not_seen(
    untagged: None, sample: Callable[[str], Assessment], tmp_path: Path
) -> None:
    plain = draw_sheet(sample("both"), signed=True).pdf
    shown = pixels(plain, tmp_path / "plain")
    assert len(shown) > 4
    assert shown == pixels(drawn("both"), tmp_path / "tagged")


def test_a_sheet_grows_by_less_than_60_kilobytes(untagged: None) -> None:
    plain = len(archival_sheet(assessment(), signed=False).pdf)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compliance.sheet.layout, "PdfCanvas", PdfCanvas)
        tagged = len(archival_sheet(assessment(), signed=False).pdf)
    assert 20_000 < tagged - plain < 60_000


def test_only_elements_are_written_shorter() -> None:
    shorter = drawn("many")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compliance.sheet.pdfa, "compacted", lambda pdf: pdf)
        whole = drawn.__wrapped__("many")
    assert len(whole) - len(shorter) > 3000
    before, after = (read_file(each).revisions[0] for each in (whole, shorter))
    assert before.trailer == after.trailer
    for number, stored in before.objects.items():
        found = after.objects[number]
        assert found.value == stored.value
        if "P" not in found.value:
            mine, theirs = (
                data[each.start : each.end] for data, each in ((shorter, found), (whole, stored))
            )
            assert mine == theirs
