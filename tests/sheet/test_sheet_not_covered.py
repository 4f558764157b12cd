"""What a rule does not test is on the sheet: a sentence on page 1, a table on the last pages."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from helpers.pdf_text import Said, everything, on_page

from compliance.model import Assessment, NotCovered
from compliance.sheet import draw_sheet
from compliance.sheet.elements import TOGETHER
from compliance.sheet.pagination import PAGES

Sample = Callable[[str], Assessment]

TITLE = "What the rule does not test"
COLOURS = NotCovered("EBU Tech 3320 v4.1, 1.5.6", "15 test colours", "code values not at hand")
MOTION = NotCovered("Client's notes, 4.2", "moving pictures", "the meter reads still patches")
LONG = NotCovered("Document " * 33, "fields " * 42, "for no reason " * 21)
NARROW = NotCovered("C" * 300, "W" * 300, "." * 300)


def with_clauses(made: Assessment, *entries: NotCovered) -> Assessment:
    rule = replace(made.rule, not_covered=entries)
    measurement = replace(made.measurement, rule=rule)
    return replace(made, state=replace(made.state, measurement=measurement))


def test_a_rule_that_covers_all_says_nothing(sample: Sample, said: list[Said]) -> None:
    draw_sheet(sample("proven"), signed=True)
    assert TITLE not in everything(said)
    assert "Not tested" not in everything(said)
    assert "names no clause of its documents that it leaves out." in on_page(said, 0)


@pytest.mark.parametrize(
    ("entries", "sentence"),
    [
        (
            (COLOURS,),
            "1 clause of the rule's documents (reasons on the following pages): 15 test colours.",
        ),
        (
            (COLOURS, MOTION),
            "2 clauses of the rule's documents (reasons on the following pages): 15 test colours; "
            "moving pictures.",
        ),
    ],
)
def test_page_1_counts_them(
    sample: Sample, said: list[Said], entries: tuple[NotCovered, ...], sentence: str
) -> None:
    draw_sheet(with_clauses(sample("proven"), *entries), signed=True)
    first = on_page(said, 0)
    assert f"Not tested, {sentence}" in first
    assert TITLE not in first


def test_each_is_in_a_row_with_its_reason(sample: Sample, said: list[Said]) -> None:
    draw_sheet(with_clauses(sample("proven"), COLOURS, MOTION), signed=True)
    assert (
        f"{TITLE} Clause What it asks Why it is not tested "
        "EBU Tech 3320 v4.1, 1.5.6 15 test colours Code values not at hand "
        "Client's notes, 4.2 Moving pictures The meter reads still patches How it was decided"
    ) in everything(said)


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_many_long_ones_are_printed_whole(sample: Sample, said: list[Said], page: str) -> None:
    entries = [replace(LONG, clause=f"{LONG.clause} {number}") for number in range(60)]
    draw_sheet(with_clauses(sample("proven"), *entries, NARROW), page=page, signed=True)
    grid = PAGES[page]
    # Set line by line in columns, so a text's words are compared one by one.
    told = everything([line for line in said if line.page > 0]).split()
    assert told.count("Document") == 60 * 33
    assert [told.count(word) for word in ("fields", "Fields")] == [60 * 41, 60]
    assert told.count("reason") == 60 * 21
    for sign in "CW.":
        printed = sum(len(line.text) for line in said if line.page and set(line.text) == {sign})
        assert printed == 300
    assert all(line.x1 <= grid.width - grid.right + 0.5 for line in said)
    heads = [line.page for line in said if line.text == "What it asks"]
    assert heads == list(range(heads[0], heads[0] + len(heads)))
    assert len(heads) > 3


@pytest.mark.parametrize("count", range(1, 9))
def test_a_few_rows_are_not_left_alone(sample: Sample, said: list[Said], count: int) -> None:
    entries = [replace(COLOURS, clause=f"Clause-{number}") for number in range(count)]
    draw_sheet(with_clauses(sample("near"), *entries), signed=True)
    pages = [line.page for line in said if line.text.startswith("Clause-")]
    parts = [pages.count(page) for page in dict.fromkeys(pages)]
    assert sum(parts) == count
    assert len(parts) == 1 or (parts[0] >= TOGETHER and parts[-1] >= TOGETHER)
