"""Lay out the sheet: page 1, then requirements, pictures and provenance on further pages."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from functools import cache
from itertools import product

from compliance.errors import SheetError
from compliance.lettering.texts import right_to_left, texts_of
from compliance.model import Assessment
from compliance.pictures.data import Charts, charts_of
from compliance.pictures.letters import Letters, Program, letters_in_use, no_program
from compliance.pictures.pdf_canvas import PdfCanvas
from compliance.pictures.structure import Structure
from compliance.report.build import build_report
from compliance.report.report import Report
from compliance.rules.parents import shipped_parent
from compliance.sheet.appendix import appendix_pages
from compliance.sheet.frame import draw_frame
from compliance.sheet.front_page import draw_front
from compliance.sheet.inner_pages import (
    comparison,
    last_pages,
    later_remarks,
    pictures,
    requirements,
)
from compliance.sheet.pagination import PAGES, Grid, Items, Page, paginate

Place = tuple[int, float, float, float, float]


@dataclass(frozen=True, slots=True)
class Drawing:
    """A sheet ready to be signed."""

    pdf: bytes
    boxes: Mapping[str, Place]
    """Signature fields: page index, then x0, y0, x1, y1 in points from the lower left."""
    structure: Structure
    """What the pages say when they are read aloud."""


STRETCHES = (1.0, 1.07, 0.94, 1.15, 0.88, 1.24, 0.82, 1.34, 0.76, 1.46, 1.6)
"""Height of pictures, as a factor."""
AIRS = (1.0, 0.85, 1.2, 0.7, 1.45, 1.8)
"""Space in the rows of tables, as a factor."""
SIZES = (7.6, 7.3, 7.9, 7.1, 8.2)
"""Type size on the last pages, in points."""
HALF = 0.42
"""A page with a larger blank share counts as half empty."""
ENDING = 0.48
"""The same for the last page."""
GOOD = 0.04
"""Cost below which the search for a better setting ends."""


def choose_layout(report: Report, charts: Sequence[Charts], grid: Grid) -> list[Page]:
    """Lay out the pages after the first, in the setting that leaves least of them blank.

    A setting costs at least as much as its strain and the blank space before its end; the end is
    laid out only if that is less than the least cost so far, and once for each starting place.
    """
    rows = cache(lambda air: tuple(requirements(report, grid, air)))
    plots = cache(lambda stretch: tuple(pictures(report, charts, grid, stretch)))
    compared = cache(lambda air: tuple(comparison(report, grid, air)))
    remarks = later_remarks(report, grid)
    end_blocks = cache(lambda size: tuple(last_pages(report, grid, size, remarks)))

    @cache
    def upper(air: float, stretch: float) -> Sequence[Page]:
        items: Items = (*rows(air), *plots(stretch), *compared(air))
        return paginate(items, grid.depth)

    @cache
    def end(size: float, filled: float) -> Sequence[Page]:
        return paginate(end_blocks(size), grid.depth, filled)

    best: list[Page] = []
    least = math.inf
    for size, air, stretch in product(SIZES, AIRS, STRETCHES):
        strain = abs(stretch - 1) + abs(air - 1) * 0.6 + abs(size / SIZES[0] - 1) * 2
        *full, shared = upper(air, stretch)
        if _blank(full, grid.depth) + 0.15 * strain >= least:
            continue
        first, *rest = end(size, shared.filled)
        pages = [*full, Page((*shared.placed, *first.placed), first.filled), *rest]
        cost = _blank(pages[:-1], grid.depth) + _blank_end(pages[-1], grid.depth) + 0.15 * strain
        if cost < least:
            best, least = pages, cost
        if cost < GOOD:
            break
    return best


def _blank(pages: Sequence[Page], depth: float) -> float:
    """Return the cost of blank space; one large gap costs more than many small ones."""
    gaps = (max(0.0, 1 - page.filled / depth) for page in pages)
    return sum(max(0.0, gap - 0.06) ** 2 * 4 + 2.0 * (gap > HALF) for gap in gaps)


def _blank_end(page: Page, depth: float) -> float:
    """Return the cost of blank space on the last page, where it costs least."""
    gap = max(0.0, 1 - page.filled / depth)
    return max(0.0, gap - 0.06) ** 2 + 2.0 * (gap > ENDING)


def draw_sheet(
    assessment: Assessment, *, page: str = "a4", signed: bool, program: Program = no_program
) -> Drawing:
    """Draw the sheet of `assessment` as PDF, on `a4` or `letter`.

    `signed`: a signature will be added; without one every page is marked NOT SIGNED. The same
    assessment gives the same bytes. `program` embeds the assessment's faces. Raises `SheetError`
    for another page size, and for a character that no face has.
    """
    with letters_in_use(letters_of(assessment, program)):
        return _drawn(assessment, page, signed)


def letters_of(assessment: Assessment, program: Program = no_program) -> Letters:
    """Gather the letters of an assessment's texts that this program's own faces lack."""
    names = right_to_left(texts_of(assessment.measurement))
    return Letters(assessment.faces, names, program)


def _drawn(assessment: Assessment, page: str, signed: bool) -> Drawing:
    report = build_report(assessment, shipped_parent(assessment.rule))
    if page not in PAGES:
        raise SheetError(f"page '{page}': expected one of {', '.join(PAGES)}")
    grid = PAGES[page]
    structure = Structure()
    canvas = PdfCanvas(grid.width, grid.height, created=assessment.assessed, structure=structure)
    pages = choose_layout(report, charts_of(assessment), grid)
    pages += appendix_pages(report, grid)
    total = len(pages) + 1
    draw_frame(canvas, grid, report, 1, total, signed)
    boxes = draw_front(canvas, grid, report, signed=signed)
    canvas.end_page()
    for number, body in enumerate(pages, 2):
        draw_frame(canvas, grid, report, number, total, signed)
        for placed in body.placed:
            left, top = grid.left + placed.left, grid.height - grid.top - placed.top
            with canvas.silent() if placed.repeated else nullcontext():
                placed.block.draw(canvas, left, top)
        canvas.end_page()
    places = {name: (0, *box) for name, box in boxes.items()}
    return Drawing(canvas.finish(), places, structure)
