"""Sets the sheet: page 1, then requirements, pictures and provenance on as many as it takes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from io import BytesIO
from itertools import product
from typing import Any

from compliance.errors import SheetError
from compliance.model import Change, Charts, Level
from compliance.sheet.blocks import (
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
from compliance.sheet.content import Content, Stage
from compliance.sheet.flow import Block, Columns, Page, place
from compliance.sheet.fonts import BOLD, MONO, SANS, able, clean, register, width
from compliance.sheet.front import draw_front, shows_all_remarks
from compliance.sheet.pen import Pen, fit, fit_middle
from compliance.sheet.plots import PLOTS, Plot, key_line
from compliance.sheet.rows import Open
from compliance.sheet.style import INK, PAGES, Grid, mm
from compliance.wording import NOT_STATED, format_date

__all__ = ["Drawing", "render", "set_body"]

Place = tuple[int, float, float, float, float]


@dataclass(frozen=True, slots=True)
class Drawing:
    """A sheet as unsigned PDF."""

    pdf: bytes
    boxes: dict[str, Place]
    """Signature fields: page index, then x0, y0, x1, y1 in points from the lower left."""


@dataclass(frozen=True, slots=True)
class Ease:
    """How loosely the pages are set."""

    stretch: float
    """Of the pictures' height."""
    air: float
    """Of the space inside table rows."""
    size: float
    """Of the type on the last pages, in points."""


# ---------------------------------------------------------------- body


def body_items(content: Content, grid: Grid, ease: Ease) -> list[Block | Columns]:
    """Everything after page 1, in order."""
    items: list[Block | Columns] = []
    items += _requirements(content, grid, ease.air)
    items += _pictures(content, grid, ease.stretch)
    if content.before:
        items += _comparison(content, grid, ease.air)
    items += _open(content, grid, ease.size)
    items += _changes(content.changes, grid)
    items += _decision(content, grid, ease.size)
    items += _provenance(content, grid, ease.size)
    return items


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
            yield level_head(level, len(graded), measure, head)
        for row in graded:
            together = row in content.now.rows[-TOGETHER:]
            yield replace(requirement_row(row, measure, head, air), keep=together)
    yield legend(measure)


def _pictures(content: Content, grid: Grid, stretch: float) -> Iterable[Block]:
    stages = [stage for stage in (content.before, content.now) if stage is not None]
    plots = [plot for plot in PLOTS if any(plot.has(stage.charts) for stage in stages)]
    if not plots:
        return
    yield heading("Pictures", grid.measure)
    if len(stages) == 2:
        for plot in plots:
            yield _pair_row(plot, stages, grid, stretch)
        return
    for at in range(0, len(plots), 2):
        yield _single_row(plots[at : at + 2], stages[0].charts, grid, stretch)


ROW = mm(82)
TITLE = 15.0
NOTE = 12.0


def _single_row(plots: Sequence[Plot], charts: Charts, grid: Grid, stretch: float) -> Block:
    """Two different pictures of one set of readings, or one of full width."""
    height = ROW * stretch * max(plot.share for plot in plots)
    wide = grid.half if len(plots) == 2 else grid.measure

    def draw(pen: Pen, x: float, top: float) -> None:
        for index, plot in enumerate(plots):
            left = x + index * (grid.half + grid.gutter)
            _picture(pen, left, top, wide, height, plot, plot.title, charts, [charts])

    return Block(height, draw, mm(4))


def _pair_row(plot: Plot, stages: Sequence[Stage], grid: Grid, stretch: float) -> Block:
    """The same picture before calibration and after, on the same scales."""
    height = ROW * stretch * plot.share
    if plot.squat is not None:
        height = min(height, grid.half * plot.squat + TITLE + NOTE)
    group = [stage.charts for stage in stages if plot.has(stage.charts)]

    def draw(pen: Pen, x: float, top: float) -> None:
        for index, stage in enumerate(stages):
            left = x + index * (grid.half + grid.gutter)
            title = f"{plot.title}: {stage.name.lower()}"
            if plot.has(stage.charts):
                _picture(pen, left, top, grid.half, height, plot, title, stage.charts, group)
            else:
                pen.text(left, top - 8, fit(title, BOLD, 8.2, grid.half), face=BOLD, size=8.2)
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
    pen.text(x, top - 8, fit(title, BOLD, 8.2, wide), face=BOLD, size=8.2)
    end = plot.draw(pen, x, top - TITLE, wide, height - TITLE - NOTE, charts, group)
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


def _open(content: Content, grid: Grid, size: float) -> Iterable[Block | Columns]:
    remarks = () if shows_all_remarks(content, grid) else content.now.remarks
    before = content.before
    told: list[Block] = []
    for item in content.now.open:
        told += _open_blocks(item, grid.half, size)
    if told:
        yield heading("Missing and not judged", grid.measure)
        yield Columns(tuple(told), grid.half + grid.gutter)
    noted = [
        *remarks,
        *(f"Before calibration: {text}" for text in (before.remarks if before else ())),
    ]
    if noted:
        yield heading("Noted", grid.measure)
        for text in noted:
            yield from paragraph(text, grid.measure, bullet=True)


def _open_blocks(item: Open, measure: float, size: float) -> Iterable[Block]:
    yield subheading(item.title, measure)
    if item.missing:
        yield from paragraph(f"Missing: {', '.join(item.missing)}.", measure, size=size, space=1.5)
    for why, names in item.not_judged:
        yield from paragraph(
            f"Not judged, {why}: {', '.join(names)}.", measure, size=size, space=1.5
        )


def _changes(changes: Sequence[Change], grid: Grid) -> Iterable[Block]:
    if not changes:
        return
    yield heading("Where the house rule departs from its parent", grid.measure)
    for change in changes:
        what = f"{change.subject}, withdrawn" if change.withdrawn else change.subject
        yield subheading(what, grid.measure)
        said = f"{change.reason} (agreed by {change.agreed_by}, {format_date(change.date)})"
        yield from paragraph(said, grid.measure, space=1.0)


def _decision(content: Content, grid: Grid, size: float) -> Iterable[Block | Columns]:
    yield heading("How it was decided", grid.measure)
    yield from paragraph(content.method, grid.measure)
    yield from paragraph(content.decision, grid.measure)
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


# ---------------------------------------------------------------- pages

STRETCHES = (1.0, 1.07, 0.94, 1.15, 0.88, 1.24, 0.82, 1.34)
AIRS = (1.0, 0.85, 1.2, 0.7, 1.45, 1.8)
SIZES = (7.6, 7.3, 7.9)
HALF = 0.42
GOOD = 0.04


def set_body(content: Content, grid: Grid) -> list[Page]:
    """The pages after the first, at the ease that leaves the least of them blank."""
    best: list[Page] = []
    least = math.inf
    for size, air, stretch in product(SIZES, AIRS, STRETCHES):
        pages = place(body_items(content, grid, Ease(stretch, air, size)), grid.depth)
        strain = abs(stretch - 1) + abs(air - 1) * 0.6 + abs(size / SIZES[0] - 1) * 2
        cost = _blank(pages, grid.depth) + 0.15 * strain
        if cost < least:
            best, least = pages, cost
        if cost < GOOD:
            break
    return best


def _blank(pages: Sequence[Page], depth: float) -> float:
    """What is left blank, one large gap weighing more than many small."""
    gaps = [max(0.0, 1 - page.filled / depth) for page in pages]
    half_empty = sum(gap > HALF for gap in gaps)
    return sum(max(0.0, gap - 0.06) ** 2 * 4 for gap in gaps) + 2.0 * half_empty


def render(
    content: Content, page: str, *, signed: bool, moment: datetime, author: str, subject: str
) -> Drawing:
    """The PDF; same content, same bytes. `moment` becomes its creation date."""
    if page not in PAGES:
        raise SheetError(f"page '{page}': expected one of {', '.join(PAGES)}")
    register()
    grid = PAGES[page]
    buffer = BytesIO()
    canvas = _canvas(buffer, grid, moment)
    canvas.setTitle(content.front.title)
    canvas.setAuthor(author)
    canvas.setSubject(subject)
    pen = Pen(canvas)
    pages = set_body(content, grid)
    total = len(pages) + 1
    _frame(pen, grid, content, 1, total, signed)
    boxes = draw_front(pen, grid, content, signed=signed)
    canvas.showPage()
    for number, body in enumerate(pages, 2):
        _frame(pen, grid, content, number, total, signed)
        for placed in body.placed:
            placed.block.draw(pen, grid.left + placed.left, grid.height - grid.top - placed.top)
        canvas.showPage()
    canvas.save()
    return Drawing(buffer.getvalue(), {name: (0, *box) for name, box in boxes.items()})


def _canvas(buffer: BytesIO, grid: Grid, moment: datetime) -> Any:
    from reportlab.pdfgen.canvas import Canvas

    canvas = Canvas(
        buffer,
        pagesize=(grid.width, grid.height),
        invariant=1,
        pageCompression=1,
        initialFontName=SANS,
        lang="en",
    )
    stamp = canvas._doc._timeStamp
    moment = moment.astimezone(UTC)
    stamp.t = moment.timestamp()
    stamp.lt = moment.timetuple()
    stamp.YMDhms = tuple(moment.timetuple())[:6]
    stamp.dhh = stamp.dmm = 0
    stamp.tzname = "UTC"
    return canvas


def _frame(pen: Pen, grid: Grid, content: Content, number: int, total: int, signed: bool) -> None:
    """Head and foot: what it is, its number, page x of y, NOT SIGNED where it is not."""
    right = grid.width - grid.right
    head = grid.height - mm(14)
    pen.text(grid.left, head, "Compliance sheet", face=BOLD, size=8.4)
    if number > 1:
        start = grid.left + width("Compliance sheet", BOLD, 8.4) + mm(4)
        room = grid.measure * 0.5
        pen.text(start, head, fit(content.running, SANS, 8.4, room), size=8.4, ink=INK.QUIET)
    else:
        start = grid.left + width("Compliance sheet", BOLD, 8.4) + mm(4)
        room = grid.measure * 0.5
        shown = "" if content.front.facility == NOT_STATED else content.front.facility
        pen.text(start, head, fit(shown, SANS, 8.4, room), size=8.4, ink=INK.QUIET)
    if not signed:
        _not_signed(pen, right, head)
    foot = mm(11)
    pen.line(grid.left, foot + 11, right, foot + 11, ink=INK.HAIR)
    room = grid.measure - mm(30)
    face = able(content.number, MONO)
    size = max(5.4, min(7.4, 7.4 * room / width(clean(content.number), face, 7.4)))
    label = fit_middle(content.number, face, size, room)
    pen.text(grid.left, foot, label, face=face, size=size)
    pen.text(right, foot, f"Page {number} of {total}", size=8.0, align="right")


def _not_signed(pen: Pen, right: float, base: float) -> None:
    extent = width("NOT SIGNED", BOLD, 8.4) + 9 * 0.8
    pen.box(right - extent - 10, base - 3.2, extent + 10, 13, fill=INK.TEXT)
    pen.text(
        right - 5,
        base,
        "NOT SIGNED",
        face=BOLD,
        size=8.4,
        ink=INK.PAPER,
        align="right",
        spacing=0.8,
    )
