"""The appendix of a sheet: all readings as a table, on pages of its own."""

from __future__ import annotations

from collections.abc import Iterable

from compliance.errors import SheetError
from compliance.report.report import ReadingTable, Report
from compliance.report.words.en import headings
from compliance.sheet.elements import heading, text_rows
from compliance.sheet.inner_pages import end_of_sheet
from compliance.sheet.pagination import Block, Grid, Page, paginate

MOST_ROWS = 5000
"""Rows of a table; a sheet holds some hundred such pages."""
SHARES = (0.0, 0.24, 0.39, 0.555, 0.66, 0.765, 0.87)
"""Left edges of the columns, as shares of the width."""
AIR = 1.1
"""Points above and below the text of a row."""


def appendix_pages(report: Report, grid: Grid) -> list[Page]:
    """Lay out the pages after the last one; none without an appendix.

    Raises SheetError for more readings than a sheet holds.
    """
    if not report.readings:
        return []
    blocks = [block for table in report.readings for block in _table(table, grid)]
    return paginate([*blocks, end_of_sheet(grid.measure)], grid.depth)


def _table(table: ReadingTable, grid: Grid) -> Iterable[Block]:
    if len(table.rows) > MOST_ROWS:
        raise SheetError(
            f"there are {len(table.rows)} readings; an appendix has at most {MOST_ROWS}: leave "
            "out --appendix, the readings are attached in any case"
        )
    yield heading(table.title, grid.measure)
    yield from text_rows(headings.READING_COLUMNS, SHARES, table.rows, grid.measure, AIR)
