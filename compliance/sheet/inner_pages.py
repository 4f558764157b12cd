"""Everything after page 1, as blocks: requirements, pictures, provenance."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from compliance.model import Charts, Level
from compliance.pictures.axes import Area
from compliance.pictures.canvas import INK, Canvas
from compliance.pictures.charts import HEADING_HEIGHT, Plot, draw_title, plots_of
from compliance.pictures.fonts import BOLD
from compliance.report.words.en.grammar import joined
from compliance.sheet.content import Content, Stage
from compliance.sheet.elements import (
    Text,
    compared_rows,
    fact_blocks,
    heading,
    legend,
    level_head,
    paragraph,
    requirement_head,
    requirement_row,
    subheading,
    text_block,
)
from compliance.sheet.front_page import shows_all_remarks
from compliance.sheet.pagination import Block, Columns, Grid, mm
from compliance.sheet.requirement_rows import OpenItem

TOGETHER = 3
"""Rows at the end of a table that stay together."""
ROW = mm(78)
"""Height of a row of pictures."""
NO_CAUSE = (
    "No known cause: none of the models of what may be wrong fits the readings clearly better "
    "than the rule's own target."
)


def requirements(content: Content, grid: Grid, air: float) -> Iterable[Block]:
    """The table of requirements, its rows with `air` times the usual space."""
    measure = grid.measure
    head = requirement_head(measure)
    yield heading("Requirements", measure)
    yield head
    for level in Level:
        graded = [row for row in content.now.rows if row.level is level]
        if graded:
            count = sum(row.word != "not applicable" for row in graded)
            yield level_head(level, count, measure, head)
        for row in graded:
            together = row in content.now.rows[-TOGETHER:]
            yield replace(requirement_row(row, measure, head, air), keep=together)
    yield legend()


def pictures(content: Content, grid: Grid, stretch: float) -> Iterable[Block]:
    """The pictures, two in a row, `stretch` times as high as usual."""
    stages = [stage for stage in (content.before, content.now) if stage is not None]
    plots = plots_of([stage.charts for stage in stages])
    if not plots:
        return
    yield heading("Pictures", grid.measure)
    if len(stages) == 2:
        for plot in sorted(plots, key=lambda plot: plot.rank):
            yield _pair_row(plot, stages, grid, stretch)
        return
    for at in range(0, len(plots), 2):
        yield _single_row(plots[at : at + 2], stages[0].charts, grid, stretch)


def _single_row(plots: Sequence[Plot], charts: Charts, grid: Grid, stretch: float) -> Block:
    """Two different pictures of one set of readings, or one of full width."""
    wide = grid.half if len(plots) == 2 else grid.measure
    height = ROW * stretch * max(plot.share for plot in plots)
    key = max(plot.key_height(charts, wide) for plot in plots)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for index, plot in enumerate(plots):
            area = Area(x + index * grid.second, top, wide, height)
            plot.draw_with_key(canvas, area, plot.title, charts, [charts])

    return Block(height + key, draw, mm(4))


def _pair_row(plot: Plot, stages: Sequence[Stage], grid: Grid, stretch: float) -> Block:
    """The same picture before calibration and after, on the same scales."""
    group = [stage.charts for stage in stages if plot.has(stage.charts)]
    height = ROW * stretch * plot.share
    if plot.squat is not None:
        height = min(height, grid.half * plot.squat + HEADING_HEIGHT)
    key = max(plot.key_height(charts, grid.half) for charts in group)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for index, stage in enumerate(stages):
            area = Area(x + index * grid.second, top, grid.half, height)
            title = f"{plot.title}: {stage.name.lower()}"
            if plot.has(stage.charts):
                plot.draw_with_key(canvas, area, title, stage.charts, group)
            else:
                draw_title(canvas, area, title)
                nothing = "No readings for it."
                canvas.text(area.left, top - 22, nothing, size=7.4, ink=INK.QUIET)

    return Block(height + key, draw, mm(4))


def comparison(content: Content, grid: Grid, air: float) -> Iterable[Block]:
    """Before calibration and after; nothing where there was no calibration."""
    before = content.before
    if before is None:
        return
    yield heading("Before and after calibration", grid.measure)
    note = (
        f"{before.sentence} This tells the state of the slot as it was found, never what the "
        f"panel can do nor what its maker's presets are worth."
    )
    yield from paragraph(note, grid.measure)
    yield from compared_rows(before.rows, content.now.rows, grid.measure, air)


def last_pages(content: Content, grid: Grid, size: float) -> Iterable[Block | Columns]:
    """From the likely causes to the end, in type of `size` points."""
    yield from _causes(content.now, grid, size)
    yield from _open(content, grid, size)
    yield from _remarks(content, grid)
    yield from _changes(content, grid)
    yield from _decision(content, grid, size)
    yield from _provenance(content, grid, size)
    end = Text("End of the sheet", 8, grid.measure / 2, size=7.2, ink=INK.QUIET, align="centre")
    yield text_block(10.0, end, space=mm(5))


def _columns(blocks: Iterable[Block], grid: Grid, space: float = 0.0) -> Columns:
    return Columns(tuple(blocks), grid.second, space)


def _causes(stage: Stage, grid: Grid, size: float) -> Iterable[Block]:
    """Likely causes of what is outside its limits, with the next step; they decide nothing."""
    if not stage.causes and not stage.unexplained:
        return
    yield heading("Likely causes", grid.measure)
    if stage.unexplained:
        yield from paragraph(NO_CAUSE, grid.measure)
        return
    for place, cause in enumerate(stage.causes, 1):
        yield subheading(f"{place}. {cause.title}", grid.measure)
        yield from paragraph(cause.text, grid.measure, size=size, space=1.5)
        yield from paragraph(f"Next: {cause.next_step}", grid.measure, size=size, space=1.5)


def _open(content: Content, grid: Grid, size: float) -> Iterable[Block | Columns]:
    if content.now.open:
        yield heading("Missing and not judged", grid.measure)
        items = (_open_item(item, grid.half, size) for item in content.now.open)
        yield _columns((block for blocks in items for block in blocks), grid)


def _open_item(item: OpenItem, measure: float, size: float) -> Iterable[Block]:
    yield subheading(item.title, measure)
    if item.missing:
        yield from paragraph(f"Missing: {joined(item.missing)}.", measure, size=size, space=1.5)
    for why, names in item.not_judged:
        yield from paragraph(f"Not judged, {why}: {joined(names)}.", measure, size=size, space=1.5)


def _remarks(content: Content, grid: Grid) -> Iterable[Block]:
    """Remarks for which page 1 has no room, and those of before calibration alone."""
    known = content.now.remarks
    before = content.before.remarks if content.before else ()
    shown = [
        *(() if shows_all_remarks(content, grid) else known),
        *(f"Before calibration: {text}" for text in before if text not in known),
    ]
    if shown:
        yield heading("Noted", grid.measure)
        for text in shown:
            yield from paragraph(text, grid.measure, bullet=True)


def _changes(content: Content, grid: Grid) -> Iterable[Block]:
    if content.changes:
        yield heading("Where the house rule departs from its parent", grid.measure)
        for change in content.changes:
            yield subheading(change.label, grid.measure)
            yield from paragraph(change.value, grid.measure, space=1.0)


def _decision(content: Content, grid: Grid, size: float) -> Iterable[Block | Columns]:
    yield heading("How it was decided", grid.measure)
    yield from paragraph(content.method, grid.measure)
    yield from paragraph(content.decision, grid.measure)
    if content.reading:
        yield from paragraph(content.reading, grid.measure)
    yield _columns(_terms(content, grid.half, size), grid, mm(5))


def _terms(content: Content, measure: float, size: float) -> Iterable[Block]:
    yield subheading("What the basis of a limit means", measure)
    for fact in content.bases:
        yield from fact_blocks(fact, measure, label_width=mm(20), size=size)
    yield subheading("Cautions", measure)
    for text in content.cautions:
        yield from paragraph(text, measure, size=size, bullet=True)
    yield subheading("The quantities", measure)
    for fact in content.definitions:
        *lines, last = (
            *paragraph(fact.label, measure, size=size, face=BOLD),
            *paragraph(fact.value, measure, size=size, space=0.0),
        )
        yield from (replace(line, keep=True) for line in lines)
        yield replace(last, keep=False)


def _provenance(content: Content, grid: Grid, size: float) -> Iterable[Block | Columns]:
    yield heading("Where it comes from", grid.measure)
    blocks: list[Block] = []
    for group in content.groups:
        blocks.append(subheading(group.title, grid.half, space=mm(5)))
        for fact in group.facts:
            blocks += fact_blocks(fact, grid.half, size=size)
    yield _columns(blocks, grid)
