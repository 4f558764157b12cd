"""The pages after page 1, as blocks: requirements, pictures, provenance."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from compliance.model import Level
from compliance.pictures.axes import Area
from compliance.pictures.canvas import INK, Canvas
from compliance.pictures.charts import HEADING_HEIGHT, Plot, draw_title, plots_of
from compliance.pictures.data import Charts
from compliance.pictures.fonts import BOLD, MONO
from compliance.pictures.structure import Element
from compliance.report.report import Report, Row, State
from compliance.report.verdict import applies
from compliance.report.words.en import hand_checks, headings
from compliance.sheet.elements import (
    LEAST,
    compared_rows,
    fact_blocks,
    heading,
    legend,
    level_head,
    paragraph,
    requirement_head,
    requirement_row,
    subheading,
    text_rows,
)
from compliance.sheet.front_page import shows_all_remarks
from compliance.sheet.pagination import Block, Columns, Grid, mm

TOGETHER = 3
"""Rows at the end of a table that stay together."""
ROW = mm(78)
"""Height of a row of pictures."""


def requirements(report: Report, grid: Grid, air: float) -> Iterable[Block]:
    """Make the table of requirements, its rows with `air` times the usual space."""
    measure = grid.measure
    table = Element("Table")
    head = requirement_head(table, measure)
    yield heading(headings.REQUIREMENTS, measure)
    yield head
    ordered = shall_first(report.now.rows)
    for level in Level:
        graded = [row for row in ordered if row.finding.level is level]
        body = Element("TBody", table)
        if graded:
            count = sum(applies(row.finding) for row in graded)
            yield level_head(body, level, count, measure, head)
        for row in graded:
            together = row in ordered[-TOGETHER:]
            yield replace(requirement_row(row, body, measure, head, air), keep=together)
    yield legend({row.mark for row in ordered})


def shall_first(rows: Iterable[Row]) -> tuple[Row, ...]:
    """Sort rows with the shall first; otherwise in the rule's order."""
    return tuple(sorted(rows, key=lambda row: row.finding.level is not Level.SHALL))


def pictures(
    report: Report, charts: Sequence[Charts], grid: Grid, stretch: float
) -> Iterable[Block]:
    """Make the pictures, two in a row, `stretch` times as high as usual.

    `charts` are those of the readings before calibration, if any, then of the current ones.
    """
    plots = plots_of(charts)
    if not plots:
        return
    yield heading(headings.CHARTS, grid.measure)
    if report.before is not None:
        titles = [headings.picture(state) for state in (report.before, report.now)]
        for plot in sorted(plots, key=lambda plot: plot.rank):
            yield _pair_row(plot, titles, charts, grid, stretch)
        return
    for at in range(0, len(plots), 2):
        yield _single_row(plots[at : at + 2], charts[0], grid, stretch)


def _single_row(plots: Sequence[Plot], charts: Charts, grid: Grid, stretch: float) -> Block:
    """Make a row of two different pictures of the same readings, or of one of full width."""
    wide = grid.half if len(plots) == 2 else grid.measure
    height = ROW * stretch * max(plot.share for plot in plots)
    key = max(plot.key_height(charts, wide) for plot in plots)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for index, plot in enumerate(plots):
            area = Area(x + index * grid.second, top, wide, height)
            plot.draw_with_key(canvas, area, plot.title, charts, [charts])

    return Block(height + key, draw, mm(4))


def _pair_row(
    plot: Plot, states: Sequence[str], charts: Sequence[Charts], grid: Grid, stretch: float
) -> Block:
    """Make a row of the same picture before and after calibration, on the same scales."""
    group = [each for each in charts if plot.has(each)]
    height = ROW * stretch * plot.share
    if plot.squat is not None:
        height = min(height, grid.half * plot.squat + HEADING_HEIGHT)
    key = max(plot.key_height(each, grid.half) for each in group)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for index, (state, each) in enumerate(zip(states, charts, strict=True)):
            area = Area(x + index * grid.second, top, grid.half, height)
            title = f"{plot.title}: {state}"
            if plot.has(each):
                plot.draw_with_key(canvas, area, title, each, group)
            else:
                draw_title(canvas, area, title)
                with canvas.tagged(Element("P")):
                    canvas.text(area.left, top - 22, headings.NO_PICTURE, size=7.4, ink=INK.QUIET)

    return Block(height + key, draw, mm(4))


def comparison(report: Report, grid: Grid, air: float) -> Iterable[Block]:
    """Compare before and after calibration; nothing if there was no calibration."""
    before = report.before
    if before is None:
        return
    yield heading(headings.COMPARISON, grid.measure)
    yield from paragraph(headings.found_state(before), grid.measure)
    yield from compared_rows(
        shall_first(before.rows), shall_first(report.now.rows), grid.measure, air
    )


def later_remarks(report: Report, grid: Grid) -> list[str]:
    """Return the remarks that page 1 has no room for, and those only on before calibration."""
    known = report.now.remarks
    before = report.before.remarks if report.before else ()
    return [
        *(() if shows_all_remarks(report, grid) else known),
        *(headings.of_before(remark) for remark in before if remark not in known),
    ]


def last_pages(
    report: Report, grid: Grid, size: float, remarks: Sequence[str]
) -> Iterable[Block | Columns]:
    """Make the part from the likely causes to the end, in type of `size` points."""
    yield from _causes(report.now, grid, size)
    yield from _open(report, grid, size)
    if remarks:
        yield heading(headings.NOTED, grid.measure)
    noted = Element("L")
    for remark in remarks:
        yield from paragraph(remark, grid.measure, items=noted)
    yield from _changes(report, grid)
    yield from _not_covered(report, grid)
    yield from _decision(report, grid, size)
    yield from _provenance(report, grid, size)
    yield from _by_hand(grid.measure, size)
    if not report.readings:
        yield end_of_sheet(grid.measure)


def end_of_sheet(measure: float) -> Block:
    """Make the line below all the rest."""

    def draw(canvas: Canvas, x: float, top: float) -> None:
        middle = x + measure / 2
        with canvas.tagged(Element("P")):
            canvas.text(middle, top - 8, headings.END, size=7.2, ink=INK.QUIET, align="centre")

    return Block(10.0, draw, mm(5))


def _columns(blocks: Iterable[Block], grid: Grid, space: float = 0.0) -> Columns:
    return Columns(tuple(blocks), grid.second, space)


def _causes(state: State, grid: Grid, size: float) -> Iterable[Block]:
    """List the likely causes of values outside limits, with next steps; they do not decide."""
    if not state.causes and not state.no_cause:
        return
    yield heading(headings.CAUSES, grid.measure)
    if state.causes:
        yield from paragraph(headings.OPINION, grid.measure, size=size)
    for cause in state.causes:
        yield subheading(f"{cause.rank}. {cause.title}", grid.measure)
        for text in filter(None, (cause.text, cause.explains, headings.next_step(cause.next_step))):
            yield from paragraph(text, grid.measure, size=size, space=1.5)
    if state.no_cause:
        yield from paragraph(state.no_cause, grid.measure)


def _open(report: Report, grid: Grid, size: float) -> Iterable[Block | Columns]:
    """List the parts of requirements that were missing or not judged."""
    rows = [row for row in shall_first(report.now.rows) if row.open]
    if rows:
        yield heading(headings.OPEN, grid.measure)
        yield _columns((block for row in rows for block in _open_row(row, grid.half, size)), grid)


def _open_row(row: Row, measure: float, size: float) -> Iterable[Block]:
    yield subheading(row.finding.title, measure)
    for text in row.open:
        yield from paragraph(text, measure, size=size, space=1.5)


def _changes(report: Report, grid: Grid) -> Iterable[Block]:
    if report.changes:
        yield heading(headings.CHANGES, grid.measure)
        rows = (
            (each.subject, each.parent, each.here, each.met, each.reason, each.agreed)
            for each in report.changes
        )
        titles, starts = headings.CHANGE_COLUMNS, (0.0, 0.19, 0.34, 0.49, 0.61, 0.84)
        yield from text_rows(titles, starts, rows, grid.measure)


def _not_covered(report: Report, grid: Grid) -> Iterable[Block]:
    if report.not_covered:
        yield heading(headings.NOT_COVERED, grid.measure)
        rows = ((entry.clause, entry.what, entry.why) for entry in report.not_covered)
        titles, starts = headings.NOT_COVERED_COLUMNS, (0.0, 0.25, 0.6)
        yield from text_rows(titles, starts, rows, grid.measure)


def _decision(report: Report, grid: Grid, size: float) -> Iterable[Block | Columns]:
    yield heading(headings.DECISION, grid.measure)
    yield from paragraph(report.method, grid.measure)
    yield from paragraph(report.decision, grid.measure)
    if report.reading:
        yield from paragraph(report.reading, grid.measure)
    yield _columns(_terms(report, grid.half, size), grid, mm(5))


def _terms(report: Report, measure: float, size: float) -> Iterable[Block]:
    yield subheading(headings.BASES, measure)
    yield from fact_blocks(report.bases, measure, label_width=mm(20), size=size)
    yield subheading(headings.CAUTIONS, measure)
    cautions = Element("L")
    for text in report.cautions:
        yield from paragraph(text, measure, size=size, items=cautions)
    yield subheading(headings.QUANTITIES, measure)
    for fact in report.definitions:
        *lines, last = (
            *paragraph(fact.label, measure, size=size, face=BOLD),
            *paragraph(fact.value, measure, size=size, space=0.0),
        )
        yield from (replace(line, keep=True) for line in lines)
        yield replace(last, keep=False)


def _provenance(report: Report, grid: Grid, size: float) -> Iterable[Block | Columns]:
    yield heading(headings.TRACEABILITY, grid.measure)
    blocks: list[Block] = []
    for group in report.provenance:
        blocks.append(subheading(group.title, grid.half, space=mm(5)))
        blocks += fact_blocks(group.facts, grid.half, size=size)
    yield _columns(blocks, grid)


def _by_hand(measure: float, size: float) -> Iterable[Block]:
    """Print what anyone can check without this program; a command and what it proves together."""
    yield heading(hand_checks.HEADING, measure)
    for check in hand_checks.OF_SHEETS:
        for index, command in enumerate(check.commands):
            space = 0.0 if index else 4.0
            lines = paragraph(command, measure, size=LEAST, face=MONO, space=space)
            yield from (replace(line, keep=True) for line in lines)
        yield from paragraph(check.proves, measure, size=size, space=0.5)
    yield from paragraph(hand_checks.NOT_ENOUGH, measure, space=mm(2))
