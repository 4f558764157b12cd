"""An appendix with all readings: on request, read aloud as a table, drawn again."""

from __future__ import annotations

import json
from functools import cache

import pytest
from helpers.evidence_of_a_slot import assessment, assessment_of, dumped, mended, sealed
from helpers.pdf_text import Said

from compliance.documents import assessment_document
from compliance.errors import SheetError
from compliance.evidence.recompute import attachments
from compliance.model import Appendix, Assessment
from compliance.report.appendix import reading_tables
from compliance.report.words.en.headings import READING_COLUMNS
from compliance.sheet import appendix
from compliance.sheet.layout import draw_sheet
from compliance.verification import verify_sheet


@cache
def made() -> Assessment:
    """An assessment with readings before calibration, and an appendix."""
    return assessment_of({}, appendices=(Appendix.READINGS,))


def test_every_reading_is_a_row() -> None:
    now, before = reading_tables(made())
    assert (now.title, before.title) == (
        "Appendix: readings", "Appendix: readings before calibration",
    )  # fmt: skip
    readings = made().state.readings
    assert len(now.rows) == len(readings) and before.rows
    at = next(at for at, codes in enumerate(readings.codes) if tuple(codes) == (940, 940, 940))
    name, codes, where, x, y, z, target = now.rows[at]
    assert (name, codes, where) == ("white", "940 940 940", "centre, 100\u00a0%")
    printed = [float(value) for value in (x, y, z)]
    assert printed == pytest.approx(readings.xyz[at].tolist(), rel=1e-8)
    assert float(target.partition(" ")[0]) == pytest.approx(100, rel=0.06)


def test_it_is_at_the_end_with_its_head_on_each_page(said: list[Said]) -> None:
    drawing = draw_sheet(made(), signed=True)
    heads = [each for each in said if each.text == READING_COLUMNS[-1]]
    pages = [each.page for each in heads]
    last = max(each.page for each in said)
    assert len(pages) >= 2 and set(pages) == set(range(min(pages), last + 1))
    ends = [each for each in said if each.text == "End of the sheet"]
    assert [each.page for each in ends] == [last]
    nodes = [node for node in drawing.structure.document.parts if hasattr(node, "element")]
    *_, table, end = nodes
    assert table.element is not None and table.element.role == "Table"
    head, body = table.parts
    assert [cell.element.scope for cell in head.parts[0].parts] == ["Column"] * 7
    assert {row.parts[0].element.scope for row in body.parts} == {"Row"}
    assert end.element is not None and end.element.role == "P"


def test_without_the_option_there_is_none(said: list[Said]) -> None:
    draw_sheet(assessment(), signed=True)
    assert not [each for each in said if "Appendix" in each.text]
    assert assessment_document(assessment())["appendices"] == []


def test_verify_draws_it_again_and_misses_it() -> None:
    whole = attachments(made())
    assert json.loads(whole["assessment.json"])["appendices"] == ["readings"]
    good = sealed(whole)
    assert verify_sheet(good, any_signer=True).exit_code == 0
    stated = json.loads(whole["assessment.json"])
    stated["appendices"] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("helpers.evidence_of_a_slot.assess_again", lambda _: made())
        forged = sealed(mended({**whole, "assessment.json": dumped(stated)}))
    verified = verify_sheet(forged, any_signer=True)
    assert (verified.exit_code, verified.steps[5].status) == (1, "fail")


def test_too_many_readings_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(appendix, "MOST_ROWS", 10)
    with pytest.raises(SheetError, match="an appendix has at most 10: leave out --appendix"):
        draw_sheet(made(), signed=True)
