"""A canvas that writes a PDF with reportlab."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import cache
from hashlib import md5
from io import BytesIO
from typing import Any, Unpack

import reportlab
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas as ReportlabCanvas

from compliance.pictures.canvas import INK, Canvas, Spot, Style, TextStyle
from compliance.pictures.fonts import FACES, SANS, font_file, require_glyphs, width

LIBRARY = f"reportlab {reportlab.__version__}"


@cache
def _register_faces() -> None:
    """Register the faces with the library, once per process."""
    for face in FACES:
        pdfmetrics.registerFont(TTFont(face, BytesIO(font_file(face))))


class PdfCanvas(Canvas):
    """Pages of one size; the same marks give the same bytes."""

    def __init__(self, width: float, height: float, *, created: datetime) -> None:
        _register_faces()
        self._file = BytesIO()
        self._pdf: Any = ReportlabCanvas(
            self._file,
            pagesize=(width, height),
            invariant=1,
            pageCompression=1,
            initialFontName=SANS,
            lang="en",
        )
        # The library takes time and file identifier from the clock or the environment.
        self._pdf._doc.signature = md5(b"", usedforsecurity=False)
        stamp = self._pdf._doc._timeStamp
        stamp.t = created.timestamp()
        stamp.lt = created.astimezone(UTC).timetuple()
        stamp.YMDhms = tuple(stamp.lt)[:6]
        stamp.dhh = stamp.dmm = 0
        stamp.tzname = "UTC"

    def end_page(self) -> None:
        """Finish a page; the next mark starts a new one."""
        self._pdf.showPage()

    def finish(self) -> bytes:
        """The file with all finished pages."""
        self._pdf.save()
        return self._file.getvalue()

    def text(self, x: float, y: float, text: str, **style: Unpack[TextStyle]) -> None:
        face, size = style.get("face", SANS), style.get("size", 8.5)
        spacing = style.get("spacing", 0.0)
        extent = width(text, face, size) + spacing * max(0, len(text) - 1)
        before = {"left": 0.0, "centre": extent / 2, "right": extent}
        self._pdf.setFillColorRGB(*style.get("ink", INK.TEXT))
        line = self._pdf.beginText(x - before[style.get("align", "left")], y)
        line.setFont(face, size)
        line.setCharSpace(spacing)
        line.textOut(require_glyphs(text, face))
        if spacing:
            line.setCharSpace(0)
        self._pdf.drawText(line)

    def polyline(self, points: Sequence[Spot], **style: Unpack[Style]) -> None:
        self._path(points, style, close=False)

    def polygon(self, points: Sequence[Spot], **style: Unpack[Style]) -> None:
        self._path(points, style, close=True)

    def _path(self, points: Sequence[Spot], style: Style, *, close: bool) -> None:
        if len(points) < 2:
            return
        path = self._pdf.beginPath()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        if close:
            path.close()
        self._pdf.drawPath(path, **self._apply(style))

    def line(self, x0: float, y0: float, x1: float, y1: float, **style: Unpack[Style]) -> None:
        self._apply({"ink": INK.HAIR, **style})
        self._pdf.line(x0, y0, x1, y1)

    def box(self, x: float, y: float, w: float, h: float, **style: Unpack[Style]) -> None:
        self._pdf.rect(x, y, w, h, **self._apply(style))

    def disc(self, x: float, y: float, radius: float, **style: Unpack[Style]) -> None:
        self._pdf.circle(x, y, radius, **self._apply(style))

    def _apply(self, style: Style) -> dict[str, int]:
        """Set inks and pen; returns the library's flags for outline and area."""
        ink, fill = style.get("ink"), style.get("fill")
        if ink is not None:
            self._pdf.setStrokeColorRGB(*ink)
            self._pdf.setLineWidth(style.get("weight", 0.5))
            self._pdf.setDash(list(style.get("dash", ())))
        if fill is not None:
            self._pdf.setFillColorRGB(*fill)
        return {"stroke": int(ink is not None), "fill": int(fill is not None)}

    @contextmanager
    def clipped(self, x: float, y: float, w: float, h: float) -> Iterator[None]:
        with self._saved_state():
            path = self._pdf.beginPath()
            path.rect(x, y, w, h)
            self._pdf.clipPath(path, stroke=0, fill=0)
            yield

    @contextmanager
    def turned(self, x: float, y: float) -> Iterator[None]:
        with self._saved_state():
            self._pdf.translate(x, y)
            self._pdf.rotate(90)
            yield

    @contextmanager
    def _saved_state(self) -> Iterator[None]:
        self._pdf.saveState()
        yield
        self._pdf.restoreState()
