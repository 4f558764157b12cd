"""Sets the sheet: page 1, then requirements, pictures and provenance on as many as it takes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import md5
from io import BytesIO
from itertools import product
from typing import Any

from compliance.errors import SheetError
from compliance.pictures.canvas import PAGES, Grid, Pen
from compliance.pictures.fonts import SANS, register
from compliance.sheet.content import Content
from compliance.sheet.front_page import draw_frame, draw_front
from compliance.sheet.inner_pages import Body
from compliance.sheet.pagination import Page, paginate

Place = tuple[int, float, float, float, float]


@dataclass(frozen=True, slots=True)
class Drawing:
    """A sheet as unsigned PDF."""

    pdf: bytes
    boxes: dict[str, Place]
    """Signature fields: page index, then x0, y0, x1, y1 in points from the lower left."""


STRETCHES = (1.0, 1.07, 0.94, 1.15, 0.88, 1.24, 0.82, 1.34, 0.76, 1.46, 1.6)
AIRS = (1.0, 0.85, 1.2, 0.7, 1.45, 1.8)
SIZES = (7.6, 7.3, 7.9, 7.1, 8.2)
HALF = 0.42
"""A page with a larger share of it blank counts as half empty."""
ENDING = 0.48
"""The same of the last page."""
GOOD = 0.04
"""Cost at which no better setting is looked for."""


def choose_layout(content: Content, grid: Grid) -> list[Page]:
    """The pages after the first, at the ease that leaves the least of them blank."""
    body = Body(content, grid)
    best: list[Page] = []
    least = math.inf
    for size, air, stretch in product(SIZES, AIRS, STRETCHES):
        pages = paginate(body.items(stretch, air, size), grid.depth)
        strain = abs(stretch - 1) + abs(air - 1) * 0.6 + abs(size / SIZES[0] - 1) * 2
        cost = _blank(pages, grid.depth) + 0.15 * strain
        if cost < least:
            best, least = pages, cost
        if cost < GOOD:
            break
    return best


def _blank(pages: Sequence[Page], depth: float) -> float:
    """What is left blank, one large gap weighing more than many small; least at the end."""
    *gaps, last = (max(0.0, 1 - page.filled / depth) for page in pages)
    cost = sum(max(0.0, gap - 0.06) ** 2 * 4 + 2.0 * (gap > HALF) for gap in gaps)
    return cost + max(0.0, last - 0.06) ** 2 + 2.0 * (last > ENDING)


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
    pages = choose_layout(content, grid)
    total = len(pages) + 1
    draw_frame(pen, grid, content, 1, total, signed)
    boxes = draw_front(pen, grid, content, signed=signed)
    canvas.showPage()
    for number, sheet in enumerate(pages, 2):
        draw_frame(pen, grid, content, number, total, signed)
        for placed in sheet.placed:
            placed.block.draw(pen, grid.left + placed.left, grid.height - grid.top - placed.top)
        canvas.showPage()
    canvas.save()
    return Drawing(buffer.getvalue(), {name: (0, *box) for name, box in boxes.items()})


def _canvas(buffer: BytesIO, grid: Grid, moment: datetime) -> Any:
    from reportlab.pdfgen.canvas import Canvas

    # The library takes time and file identifier from the clock or the environment: both are
    # set to what the assessment says.
    canvas = Canvas(
        buffer,
        pagesize=(grid.width, grid.height),
        invariant=1,
        pageCompression=1,
        initialFontName=SANS,
        lang="en",
    )
    canvas._doc.signature = md5(b"", usedforsecurity=False)
    stamp = canvas._doc._timeStamp
    moment = moment.astimezone(UTC)
    stamp.t = moment.timestamp()
    stamp.lt = moment.timetuple()
    stamp.YMDhms = tuple(moment.timetuple())[:6]
    stamp.dhh = stamp.dmm = 0
    stamp.tzname = "UTC"
    return canvas
