"""Head and foot of each page, and the signature boxes of page 1."""

from __future__ import annotations

from compliance.pictures.canvas import INK, Canvas
from compliance.pictures.fonts import (
    BOLD,
    MONO,
    SANS,
    ellipsize,
    face_with_glyphs,
    fit_middle,
    normalise,
    width,
    wrap,
)
from compliance.pictures.structure import Element
from compliance.report.report import Report
from compliance.report.words.en import headings
from compliance.sheet.elements import LEAST, SMALL
from compliance.sheet.pagination import Grid, mm

Box = tuple[float, float, float, float]

SIGNATURE = mm(23)
"""Height of a signature box."""
BOX = mm(59)
"""Its width."""
GAP = mm(5)
"""Space beside it."""
FRAME = 8.4
"""Type size of head and foot."""
WIDEST = 0.6
"""The largest share of the measure for the number at the upper right of page 1."""
LINE = 9.4
"""Leading of the lines at the upper right of page 1 and beside the signatures."""


def draw_frame(
    canvas: Canvas, grid: Grid, report: Report, number: int, total: int, signed: bool
) -> None:
    """Draw head and foot: kind of document, number, page x of y, NOT SIGNED if it is not."""
    with canvas.silent("Header"):
        _draw_head(canvas, grid, report, number, signed)
    with canvas.silent("Footer"):
        _draw_foot(canvas, grid, report, number, total)
    if number == 1:
        _draw_issue(canvas, grid, report, headings.page_of(number, total))


def _draw_head(canvas: Canvas, grid: Grid, report: Report, number: int, signed: bool) -> None:
    head = grid.height - mm(14)
    left = grid.left
    canvas.text(left, head, headings.SHEET, face=BOLD, size=FRAME)
    left += width(headings.SHEET, BOLD, FRAME) + mm(4)
    if not signed:
        extent = width(headings.NOT_SIGNED, BOLD, FRAME) + 9 * 0.8
        canvas.box(left, head - 3.2, extent + 10, 13, fill=INK.TEXT)
        canvas.text(
            left + 5,
            head,
            headings.NOT_SIGNED,
            face=BOLD,
            size=FRAME,
            ink=INK.PAPER,
            spacing=0.8,
        )
        left += extent + 10 + mm(4)
    facility = report.facility
    first = facility.value if facility.known else ""
    running = report.running if number > 1 else first
    right = grid.width - grid.right
    if number == 1:
        right -= _issue_width(grid, report) + mm(4)
    canvas.text(
        left, head, ellipsize(running, SANS, FRAME, right - left), size=FRAME, ink=INK.QUIET
    )


def _draw_issue(canvas: Canvas, grid: Grid, report: Report, page: str) -> None:
    """Draw number, time of issue, page, and what is replaced at the upper right of page 1."""
    number, issued, *replaced = report.heading_lines
    right, y = grid.width - grid.right, grid.height - mm(14)
    for text in (number, f"{issued} · {page}", *replaced):
        shown = fit_middle(text, SANS, SMALL, WIDEST * grid.measure)
        with canvas.tagged(Element("P")):
            canvas.text(right, y, shown, size=SMALL, align="right")
        y -= LINE


def _issue_width(grid: Grid, report: Report) -> float:
    """Return how wide the number at the upper right of page 1 is."""
    return min(WIDEST * grid.measure, width(normalise(report.heading_lines[0]), SANS, SMALL))


def _draw_foot(canvas: Canvas, grid: Grid, report: Report, number: int, total: int) -> None:
    right = grid.width - grid.right
    foot = mm(11)
    canvas.line(grid.left, foot + 11, right, foot + 11)
    room = grid.measure - mm(30)
    face = face_with_glyphs(report.number, MONO)
    size = max(LEAST, min(7.4, 7.4 * room / width(normalise(report.number), face, 7.4)))
    label = fit_middle(report.number, face, size, room)
    canvas.text(grid.left, foot, label, face=face, size=size)
    canvas.text(right, foot, headings.page_of(number, total), size=8.0, align="right")


def draw_boxes(canvas: Canvas, grid: Grid, report: Report, signed: bool) -> dict[str, Box]:
    """Draw two boxes at the foot of page 1, with captions above; return them by field."""
    bottom = grid.bottom + mm(1)
    facility = report.facility
    captions = (
        ("FacilitySignature", facility.label, facility.value),
        ("Countersignature", headings.COUNTERSIGNATURE, ""),
    )
    boxes: dict[str, Box] = {}
    for index, (name, caption, signer) in enumerate(captions):
        left = grid.left + index * (BOX + GAP)
        canvas.box(left, bottom, BOX, SIGNATURE, ink=INK.QUIET, weight=0.6)
        caption_width = width(caption, BOLD, 8) + mm(2.5)
        y = bottom + SIGNATURE + 4
        with canvas.tagged(Element("P")):
            canvas.text(left, y, caption, face=BOLD, size=8)
            shown = ellipsize(signer, SANS, 8, BOX - caption_width)
            canvas.text(left + caption_width, y, shown, size=8, ink=INK.QUIET)
        if signed:
            with canvas.tagged(Element("Form", text=name)):
                pass
        elif index == 0:
            with canvas.tagged(Element("P")):
                canvas.text(
                    left + BOX / 2,
                    bottom + SIGNATURE / 2 - 5,
                    headings.NOT_SIGNED,
                    face=BOLD,
                    size=15,
                    ink=INK.FAINT,
                    align="centre",
                    spacing=2.0,
                )
        boxes[name] = (left, bottom, left + BOX, bottom + SIGNATURE)
    _draw_check(canvas, grid, bottom + SIGNATURE)
    return boxes


def _draw_check(canvas: Canvas, grid: Grid, top: float) -> None:
    """Draw how to check the sheet, beside the signatures."""
    left = grid.left + 2 * (BOX + GAP)
    room = grid.width - grid.right - left
    with canvas.tagged(Element("H2", text=headings.HOW_TO_CHECK)):
        canvas.text(left, top + 4, headings.HOW_TO_CHECK, face=BOLD, size=8)
    y = top - 5
    for text in headings.TO_CHECK:
        element = Element("P")
        for line in wrap(text, SANS, SMALL, room):
            with canvas.tagged(element):
                canvas.text(left, y, line, size=SMALL)
            y -= LINE - 0.6
        y -= 1.5
