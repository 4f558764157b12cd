"""The visible box of a signature: who, for whom, when, by which certificate."""

from __future__ import annotations

from datetime import UTC, datetime
from io import BytesIO
from typing import TYPE_CHECKING

from compliance.sheet import fonts
from compliance.sheet.pen import Pen, fit
from compliance.sheet.style import INK

if TYPE_CHECKING:
    from compliance.identity import Signer

__all__ = ["draw_stamp"]

PAD = 5.0
LEAD = 1.32
"""Line height over type size."""


def draw_stamp(signer: Signer, when: datetime, *, width: float, height: float) -> bytes:
    """A one-page PDF of `width` by `height` points that shows who signs and when."""
    from reportlab.pdfgen.canvas import Canvas

    fonts.register()
    out = BytesIO()
    canvas = Canvas(out, pagesize=(width, height), invariant=1, initialFontName=fonts.SANS)
    pen = Pen(canvas)
    canvas.setStrokeColorRGB(*INK.TEAL)
    canvas.setLineWidth(0.75)
    canvas.rect(0.4, 0.4, width - 0.8, height - 0.8)
    y = height - PAD
    room = width - 2 * PAD
    for text, face, size, ink in _lines(signer, when):
        y -= size
        if y < PAD / 2:
            break
        pen.text(PAD, y, fit(text, face, size, room), face=face, size=size, ink=ink)
        y -= size * (LEAD - 1)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _lines(
    signer: Signer, when: datetime
) -> list[tuple[str, str, float, tuple[float, float, float]]]:
    digits = signer.fingerprint
    parts = " ".join(digits[at : at + 8] for at in range(0, 32, 8))
    moment = when.astimezone(UTC)
    lines = [
        (f"Signed by {signer.name}", fonts.BOLD, 8.5, INK.TEXT),
        (signer.organisation or "", fonts.SANS, 7.5, INK.TEXT),
        (f"{moment:%Y-%m-%d %H:%M} UTC, as the signer's clock had it", fonts.SANS, 6.5, INK.QUIET),
        (f"Certificate SHA-256 {parts}…", fonts.SANS, 6.0, INK.QUIET),
    ]
    return [line for line in lines if line[0]]
