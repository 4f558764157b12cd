"""What a delivery's first page says of a sheet is what the sheet says."""

from __future__ import annotations

import html
import re
from dataclasses import replace

import pytest
from helpers.deliveries import first, second, sheets
from helpers.demo_slots import DEMO, assessed

from compliance.delivery.contents import bag_info
from compliance.delivery.page import render_page
from compliance.documents import statement
from compliance.model import Assessment, NotCovered, Outcome
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
    assert [row.id for row in left] == ["white-point", "grey-mean"]
    assert f"9 of {len(shall)} requirements met, 2 left open." in told
    assert (
        tally_words(count(shall, decision)) == "9 of 11 met, 2 left open"
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


def test_what_the_rules_do_not_test_is_listed_once_for_each_text_of_a_rule() -> None:
    one, two = sheets()
    assert "What the rules do not test" not in text(render_page([one, two]))
    assert one.stated is not None and two.stated is not None
    rule = replace(
        one.stated.rule,
        not_covered=(NotCovered("EBU <1>", "15 test colours", "codes not at hand"),),
    )
    other = replace(rule, digest="0" * 64, not_covered=(NotCovered("B", "motion", "no meter"),))
    given = [
        replace(each, stated=replace(each.assessment, rule=stated))
        for each, stated in ((one, rule), (two, rule), (two, other))
    ]
    told = text(render_page(given))
    assert told.count("What the rules do not test") == 1
    name = f"{rule.id}, revision {rule.revision}"
    listed = told.partition("What the rules do not test")[2].partition("How to check this")[0]
    assert listed.split("\n")[2:-1] == [
        name, "EBU <1>", ": 15 test colours", "Why not: codes not at hand",
        name, "B", ": motion", "Why not: no meter",
    ]  # fmt: skip


def test_the_page_begins_with_a_summary() -> None:
    """Two sheets: one accepted with two deviations until 10 December, one not compliant."""
    page = render_page(sheets(first=first(), second=second())).decode()
    told = [each.strip() for each in re.findall("<li>([^<]*)</li>", page)][:4]
    assert told == [
        "2 sheets: 1 not compliant, accepted with deviations; 1 not compliant.",
        "Measure again by 2026-12-11 00:00 UTC.",
        "No house rule changes what it extends.",
        "2 values outside their limits are accepted, in 1 sheet.",
    ]
    assert "Display slot 1 for: A rule of four requirements" in page
    assert "House-rule changes" not in page
