"""What frames each page: head, foot, the NOT SIGNED tag; and the signature boxes of page 1."""

from __future__ import annotations

from compliance.sheet.content import Content
from compliance.sheet.cover import Front
from compliance.sheet.fonts import BOLD, MONO, SANS, able, clean, width
from compliance.sheet.pen import Pen, fit, fit_middle
from compliance.sheet.style import INK, Grid, mm
from compliance.wording import NOT_STATED

__all__ = ["SIGNATURE", "Box", "draw_boxes", "draw_frame"]

Box = tuple[float, float, float, float]

SIGNATURE = mm(23)
"""Height of a signature box."""


def draw_frame(
    pen: Pen, grid: Grid, content: Content, number: int, total: int, signed: bool
) -> None:
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


def draw_boxes(pen: Pen, grid: Grid, front: Front, signed: bool) -> dict[str, Box]:
    """Two boxes at the foot of the page, captions above."""
    bottom = grid.bottom + mm(1)
    told = (
        ("FacilitySignature", "For the facility", front.facility),
        ("Countersignature", "Countersignature", ""),
    )
    boxes: dict[str, Box] = {}
    for index, (name, caption, who) in enumerate(told):
        left = grid.left + index * (grid.half + grid.gutter)
        pen.box(left, bottom, grid.half, SIGNATURE, ink=INK.QUIET, weight=0.6)
        caption_width = width(caption, BOLD, 8) + mm(2.5)
        y = bottom + SIGNATURE + 4
        pen.text(left, y, caption, face=BOLD, size=8)
        shown = fit(who, SANS, 8, grid.half - caption_width)
        pen.text(left + caption_width, y, shown, size=8, ink=INK.QUIET)
        if not signed and index == 0:
            middle = bottom + SIGNATURE / 2 - 5
            pen.text(
                left + grid.half / 2,
                middle,
                "NOT SIGNED",
                face=BOLD,
                size=15,
                ink=INK.FAINT,
                align="centre",
                spacing=2.0,
            )
        boxes[name] = (left, bottom, left + grid.half, bottom + SIGNATURE)
    return boxes
