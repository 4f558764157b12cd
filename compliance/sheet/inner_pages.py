"""Everything after page 1, as blocks: requirements, pictures, provenance."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from compliance.model import Charts, Level
from compliance.pictures.axes import Plot, key_depth, key_line
from compliance.pictures.canvas import INK, Grid, Pen, ellipsize, mm
from compliance.pictures.charts import plots_of
from compliance.pictures.fonts import BOLD
from compliance.report.words.en.grammar import joined
from compliance.sheet.content import Content, Stage
from compliance.sheet.elements import (
    compared_rows,
    fact_blocks,
    heading,
    legend,
    level_head,
    paragraph,
    requirement_head,
    requirement_row,
    subheading,
)
from compliance.sheet.front_page import shows_all_remarks
from compliance.sheet.pagination import Block, Columns
from compliance.sheet.provenance import Fact
from compliance.sheet.requirement_rows import OpenItem

Items = tuple[Block | Columns, ...]


class Body:
    """The blocks after page 1; each part is built once for each ease it is asked for."""

    def __init__(self, content: Content, grid: Grid) -> None:
        self.content = content
        self.grid = grid
        self._built: dict[tuple[str, float], Items] = {}

    def items(self, stretch: float, air: float, size: float) -> Items:
        """All parts in order: pictures `stretch` times as high, table rows with `air` times
        the space, the last pages in type of `size` points."""
        return (
            *self._part("requirements", air),
            *self._part("pictures", stretch),
            *self._part("comparison", air),
            *self._part("end", size),
        )

    def _part(self, name: str, ease: float) -> Items:
        key = (name, ease)
        if key not in self._built:
            self._built[key] = tuple(self._build(name, ease))
        return self._built[key]

    def _build(self, name: str, ease: float) -> Iterable[Block | Columns]:
        content, grid = self.content, self.grid
        if name == "requirements":
            yield from _requirements(content, grid, ease)
        elif name == "pictures":
            yield from _pictures(content, grid, ease)
        elif name == "comparison":
            yield from _comparison(content, grid, ease)
        else:
            yield from _causes(content.now, grid, ease)
            yield from _open(content, grid, ease)
            yield from _changes(content.changes, grid)
            yield from _decision(content, grid, ease)
            yield from _provenance(content, grid, ease)


TOGETHER = 3
"""Rows at the end of a table that stay together."""


def _requirements(content: Content, grid: Grid, air: float) -> Iterable[Block]:
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
    yield legend(measure)


def _pictures(content: Content, grid: Grid, stretch: float) -> Iterable[Block]:
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


ROW = mm(78)
TITLE = 15.0


def _single_row(plots: Sequence[Plot], charts: Charts, grid: Grid, stretch: float) -> Block:
    """Two different pictures of one set of readings, or one of full width."""
    wide = grid.half if len(plots) == 2 else grid.measure
    key = max(key_depth(plot, charts, wide) for plot in plots)
    height = ROW * stretch * max(plot.share for plot in plots) + key

    def draw(pen: Pen, x: float, top: float) -> None:
        for index, plot in enumerate(plots):
            left = x + index * (grid.half + grid.gutter)
            _picture(pen, left, top, wide, height - key, plot, plot.title, charts, [charts])

    return Block(height, draw, mm(4))


def _pair_row(plot: Plot, stages: Sequence[Stage], grid: Grid, stretch: float) -> Block:
    """The same picture before calibration and after, on the same scales."""
    group = [stage.charts for stage in stages if plot.has(stage.charts)]
    key = max(key_depth(plot, charts, grid.half) for charts in group)
    height = ROW * stretch * plot.share
    if plot.squat is not None:
        height = min(height, grid.half * plot.squat + TITLE)
    height += key

    def draw(pen: Pen, x: float, top: float) -> None:
        for index, stage in enumerate(stages):
            left = x + index * (grid.half + grid.gutter)
            title = f"{plot.title}: {stage.name.lower()}"
            if plot.has(stage.charts):
                _picture(pen, left, top, grid.half, height - key, plot, title, stage.charts, group)
            else:
                pen.text(left, top - 8, ellipsize(title, BOLD, 8.2, grid.half), face=BOLD, size=8.2)
                pen.text(left, top - 22, "No readings for it.", size=7.4, ink=INK.QUIET)

    return Block(height, draw, mm(4))


def _picture(
    pen: Pen,
    x: float,
    top: float,
    wide: float,
    height: float,
    plot: Plot,
    title: str,
    charts: Charts,
    group: Sequence[Charts],
) -> None:
    pen.text(x, top - 8, ellipsize(title, BOLD, 8.2, wide), face=BOLD, size=8.2)
    end = plot.draw(pen, x, top - TITLE, wide, height - TITLE, charts, group)
    key_line(pen, x, end - 7, plot, charts, wide)


def _comparison(content: Content, grid: Grid, air: float) -> Iterable[Block]:
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


NO_CAUSE = (
    "No known cause: none of the models of what may be wrong fits the readings clearly better "
    "than the rule's own target."
)


def _causes(stage: Stage, grid: Grid, size: float) -> Iterable[Block]:
    """Likely causes of what is outside its limits, with the next step; they decide nothing."""
    if not stage.causes and not stage.unexplained:
        return
    yield heading("Likely causes", grid.measure)
    if stage.unexplained:
        yield from paragraph(NO_CAUSE, grid.measure)
        return
    for place, one in enumerate(stage.causes, 1):
        yield subheading(f"{place}. {one.title}", grid.measure)
        yield from paragraph(one.text, grid.measure, size=size, space=1.5)
        yield from paragraph(f"Next: {one.next_step}", grid.measure, size=size, space=1.5)


def _open(content: Content, grid: Grid, size: float) -> Iterable[Block | Columns]:
    known = content.now.remarks
    remarks = () if shows_all_remarks(content, grid) else known
    before = content.before
    told: list[Block] = []
    for item in content.now.open:
        told += _open_blocks(item, grid.half, size)
    if told:
        yield heading("Missing and not judged", grid.measure)
        yield Columns(tuple(told), grid.half + grid.gutter)
    earlier = [text for text in (before.remarks if before else ()) if text not in known]
    noted = [*remarks, *(f"Before calibration: {text}" for text in earlier)]
    if noted:
        yield heading("Noted", grid.measure)
        for text in noted:
            yield from paragraph(text, grid.measure, bullet=True)


def _open_blocks(item: OpenItem, measure: float, size: float) -> Iterable[Block]:
    yield subheading(item.title, measure)
    if item.missing:
        yield from paragraph(f"Missing: {joined(item.missing)}.", measure, size=size, space=1.5)
    for why, names in item.not_judged:
        yield from paragraph(f"Not judged, {why}: {joined(names)}.", measure, size=size, space=1.5)


def _changes(changes: Sequence[Fact], grid: Grid) -> Iterable[Block]:
    if not changes:
        return
    yield heading("Where the house rule departs from its parent", grid.measure)
    for change in changes:
        yield subheading(change.label, grid.measure)
        yield from paragraph(change.value, grid.measure, space=1.0)


def _decision(content: Content, grid: Grid, size: float) -> Iterable[Block | Columns]:
    yield heading("How it was decided", grid.measure)
    yield from paragraph(content.method, grid.measure)
    yield from paragraph(content.decision, grid.measure)
    if content.reading:
        yield from paragraph(content.reading, grid.measure)
    told: list[Block] = [subheading("What the basis of a limit means", grid.half)]
    for fact in content.bases:
        told += fact_blocks(fact, grid.half, label_width=mm(20), size=size)
    told.append(subheading("Cautions", grid.half))
    for text in content.cautions:
        told += paragraph(text, grid.half, size=size, bullet=True)
    told.append(subheading("The quantities", grid.half))
    for fact in content.definitions:
        told += _definition(fact.label, fact.value, grid.half, size)
    yield Columns(tuple(told), grid.half + grid.gutter, space=mm(5))


def _definition(name: str, text: str, measure: float, size: float) -> list[Block]:
    blocks = [
        *paragraph(name, measure, size=size, face=BOLD, space=3.0),
        *paragraph(text, measure, size=size, space=0.0),
    ]
    return [
        Block(b.height, b.draw, b.space, keep=at < len(blocks) - 1) for at, b in enumerate(blocks)
    ]


def _provenance(content: Content, grid: Grid, size: float) -> Iterable[Block | Columns]:
    yield heading("Where it comes from", grid.measure)
    told: list[Block] = []
    for group in content.groups:
        told.append(subheading(group.title, grid.half, space=mm(5)))
        for fact in group.facts:
            told += fact_blocks(fact, grid.half, size=size)
    yield Columns(tuple(told), grid.half + grid.gutter)
    yield _end(grid)


def _end(grid: Grid) -> Block:
    def draw(pen: Pen, x: float, top: float) -> None:
        pen.text(
            x + grid.measure / 2,
            top - 8,
            "End of the sheet",
            size=7.2,
            ink=INK.QUIET,
            align="centre",
        )

    return Block(10.0, draw, mm(5))
