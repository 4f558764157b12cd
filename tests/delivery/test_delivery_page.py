"""What a delivery's first page says of a sheet is what the sheet says."""

from __future__ import annotations

import html
import re
from dataclasses import replace

import pytest
from helpers.deliveries import sheets
from helpers.demo_slots import DEMO, assessed

from compliance.delivery.contents import bag_info
from compliance.delivery.page import render_page
from compliance.documents import statement
from compliance.model import Assessment, Outcome
from compliance.report.numbers import format_probability
from compliance.report.verdict import count, deciding, left_open, shall_of
from compliance.report.verification import sheet_says
from compliance.report.words.en.verdicts import tally_words


@pytest.fixture
def guarded() -> Assessment:
    """The demo's slot 2 under the facility's own rule, which wants proof."""
    return assessed("2", rule=DEMO / "rules/web-proven.yaml")


def text(document: bytes) -> str:
    plain = re.sub(r"<[^>]+>", "\n", document.decode())
    return html.unescape(re.sub(r"\s*\n\s*", "\n", plain))


def test_what_is_left_open_is_not_called_met(guarded: Assessment) -> None:
    (sheet, *_) = sheets()
    told = text(render_page([replace(sheet, stated=statement(guarded))]))
    decision = guarded.rule.decision
    shall = shall_of(guarded.state)
    left = [row for row in shall if left_open(row, decision)]
    assert len(left) == 4
    assert f"5 of {len(shall)} requirements met, 4 left open." in told
    assert (
        tally_words(count(shall, decision)) == "5 of 9 met, 4 left open"
    )  # as page 1 of the sheet
    for row in deciding(guarded.state, decision):
        line = next(line for line in told.splitlines() if line.startswith(f"{row.title}: "))
        assert row.probability is not None
        assert line.endswith(f"p\u00a0{format_probability(row.probability)}")


def test_a_condition_is_told_everywhere_alike() -> None:
    """In bag-info.txt, on the page, and by verify."""
    (sheet, *_) = sheets()
    met = {"verdict": "compliant", "disposition": None, "conditional": True}
    state = replace(sheet.assessment.state, verdict=Outcome.COMPLIANT, conditional=True)
    near = replace(
        sheet,
        stated=replace(sheet.assessment, state=state, disposition=None),
        verification=replace(sheet.verification, **met),
    )
    assert sheet_says(near.verification) == "conditionally compliant"
    (told,) = [text for label, text in bag_info([near]) if label == "Compliance-Sheet"]
    assert told == f"{near.path} {near.number} conditionally compliant"
    assert "Conditionally compliant" in text(render_page([near]))


def marks(document: bytes) -> list[str]:
    return re.findall(r'<svg class="mark"[^>]*aria-label="([^"]+)"', document.decode())


def test_a_verdict_has_the_sheets_mark(guarded: Assessment) -> None:
    (sheet, *_) = sheets()
    assert marks(render_page([replace(sheet, stated=statement(guarded))])) == ["not assessed"]
    assert marks(render_page([sheet])) == ["fail"]
