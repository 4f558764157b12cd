"""A canvas that writes a PDF with reportlab."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
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
from compliance.pictures.directions import without_marks
from compliance.pictures.fonts import (
    FACES,
    SANS,
    font_file,
    is_plain,
    own_characters,
    require_glyphs,
    width,
)
from compliance.pictures.glyph_font import (
    END_STATED,
    add_font,
    begin_stated,
    show_backwards,
    show_glyphs,
)
from compliance.pictures.letters import Run, Words, current_letters, glyph_extent
from compliance.pictures.structure import Element, Silent, Structure

LIBRARY = f"reportlab {reportlab.__version__}"


@cache
def _register_faces() -> None:
    """Register the faces with the library, once per process."""
    for face in FACES:
        pdfmetrics.registerFont(TTFont(face, BytesIO(font_file(face))))


ARTIFACT: Mapping[Silent, str] = {
    "": "/Artifact BMC",
    "Header": "/Artifact <</Type /Pagination /Subtype /Header>> BDC",
    "Footer": "/Artifact <</Type /Pagination /Subtype /Footer>> BDC",
}
"""What begins marks that are not read (ISO 32000-1, 14.8.2.2)."""


def _resource(number: int) -> str:
    """Return the name of another face's font in the pages."""
    return f"G{number}"


def _extent(run: Run, face: str, size: float) -> float:
    """Return a run's width in points."""
    if run.face is None:
        return width(run.text, face, size)
    return glyph_extent(current_letters().faces[run.face], run.glyphs) * size / 1000


@contextmanager
def _stated(line: Any, text: str | None) -> Iterator[None]:
    """State beside what is drawn in the context which text it stands for, if one is given."""
    if text is not None:
        line._code.append(begin_stated(text))
    yield
    if text is not None:
        line._code.append(END_STATED)


class PdfCanvas(Canvas):
    """Pages of one size; the same marks give the same bytes.

    With a `structure`, all marks belong to an element of it, or are marked as not read.
    """

    def __init__(
        self,
        width: float,
        height: float,
        *,
        created: datetime,
        structure: Structure | None = None,
    ) -> None:
        _register_faces()
        self._file = BytesIO()
        self._faces_used: set[int] = set()
        """Numbers of the faces from outside."""
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
        self._structure = structure
        self._reading: Element | Silent = ""
        """What the next marks belong to."""
        self._silenced = False
        self._open: Element | Silent | None = None
        """What the last marks belonged to; None at the beginning of a page."""

    def end_page(self) -> None:
        """Finish a page; the next mark starts a new one."""
        self._end_stretch()
        self._pdf.showPage()

    def finish(self) -> bytes:
        """The file with all finished pages."""
        letters = current_letters()
        for number in sorted(self._faces_used):
            face = letters.faces[number]
            add_font(self._pdf._doc, _resource(number), face, letters.program(face))
        self._pdf.save()
        return self._file.getvalue()

    def text(self, x: float, y: float, text: str, **style: Unpack[TextStyle]) -> None:
        text = current_letters().marked(require_glyphs(text, style.get("face", SANS)))
        ending = " " if text and not style.get("broken", False) else ""
        if is_plain(text):
            self._line(x, y, text, ending, style)
        else:
            with self._read_as(without_marks(text) + ending):
                self._line(x, y, text, ending, style)

    def _line(self, x: float, y: float, text: str, ending: str, style: TextStyle) -> None:
        """Draw a line of text; if it is read, with what parts it from the next one."""
        face, size = style.get("face", SANS), style.get("size", 8.5)
        spacing = style.get("spacing", 0.0)
        extent = width(text, face, size) + spacing * max(0, len(text) - 1)
        before = {"left": 0.0, "centre": extent / 2, "right": extent}
        left = x - before[style.get("align", "left")]
        self._begin_stretch(y + size)
        if self._structure is not None and isinstance(self._reading, Element):
            box = (left, y - 0.3 * size, left + extent, y + size)
            self._structure.cover(self._reading, self._pdf.getPageNumber() - 1, box)
        self._pdf.setFillColorRGB(*style.get("ink", INK.TEXT))
        line = self._pdf.beginText(left, y)
        line.setFont(face, size)
        line.setCharSpace(spacing)
        if is_plain(text):
            line.textOut(text)
        else:
            for words in current_letters().words(text, own_characters()):
                left += self._words(line, words, (left, y), face, size)
            line.setTextOrigin(left, y)
        if isinstance(self._reading, Element) and ending:
            line.textOut(ending)
        if spacing:
            line.setCharSpace(0)
        self._pdf.drawText(line)

    def _words(self, line: Any, words: Words, place: Spot, face: str, size: float) -> float:
        """Draw words from `place` to the right and return their width.

        What no reader could tell from their letters is stated beside them.
        """
        extents = [_extent(run, face, size) for run in words.runs]
        lefts = [place[0] + sum(extents[:number]) for number in range(len(extents))]
        whole = None if words.as_drawn or words.right_to_left else words.text
        with _stated(line, whole):
            for number in sorted(range(len(extents)), key=lambda each: words.runs[each].turn):
                line.setTextOrigin(lefts[number], place[1])
                self._run(line, words.runs[number], face, size, backwards=words.right_to_left)
        return sum(extents)

    def _run(self, line: Any, run: Run, face: str, size: float, *, backwards: bool) -> None:
        if run.face is None:
            with _stated(line, run.stands_for):
                line.textOut(run.text)
            return
        self._faces_used.add(run.face)
        other = current_letters().faces[run.face]
        line._code.append(f"/{_resource(run.face)} {size:g} Tf")
        if backwards:
            line._code.extend(show_backwards(other, run.glyphs, run.texts, size))
        else:
            line._code.extend(show_glyphs(other, run.glyphs, size))
        line.setFont(face, size)

    def polyline(self, points: Sequence[Spot], **style: Unpack[Style]) -> None:
        self._path(points, style, close=False)

    def polygon(self, points: Sequence[Spot], **style: Unpack[Style]) -> None:
        self._path(points, style, close=True)

    def _path(self, points: Sequence[Spot], style: Style, *, close: bool) -> None:
        if len(points) < 2:
            return
        self._begin_stretch()
        path = self._pdf.beginPath()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        if close:
            path.close()
        self._pdf.drawPath(path, **self._apply(style))

    def line(self, x0: float, y0: float, x1: float, y1: float, **style: Unpack[Style]) -> None:
        self._begin_stretch()
        self._apply({"ink": INK.HAIR, **style})
        self._pdf.line(x0, y0, x1, y1)

    def box(self, x: float, y: float, w: float, h: float, **style: Unpack[Style]) -> None:
        self._begin_stretch()
        self._pdf.rect(x, y, w, h, **self._apply(style))

    def disc(self, x: float, y: float, radius: float, **style: Unpack[Style]) -> None:
        self._begin_stretch()
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
        self._begin_stretch()
        self._pdf.saveState()
        yield
        self._pdf.restoreState()

    # ------------------------------------------------------------ what is read aloud

    @contextmanager
    def tagged(self, element: Element) -> Iterator[None]:
        outer = self._reading
        if not self._silenced:
            self._reading = element
            if self._structure is not None:
                self._structure.enter(element)
        yield
        self._reading = outer

    @contextmanager
    def silent(self, kind: Silent = "") -> Iterator[None]:
        outer = self._reading, self._silenced
        self._reading, self._silenced = kind, True
        yield
        self._reading, self._silenced = outer

    @contextmanager
    def _read_as(self, text: str) -> Iterator[None]:
        """Draw in the context what is read as `text`, whatever the order of its letters."""
        if not isinstance(self._reading, Element):
            yield
            return
        with self.tagged(Element("Span", self._reading, text=text)):
            yield

    def _begin_stretch(self, top: float = 0.0) -> None:
        """Begin a stretch of what is drawn now, unless one is open; `top` as in `Structure`."""
        if self._structure is None or self._open == self._reading:
            return
        self._end_stretch()
        if isinstance(self._reading, Element):
            page = self._pdf.getPageNumber() - 1
            stretch = self._structure.begin(self._reading, page, top)
            mark = f"/{self._reading.role} <</MCID {stretch.number}>> BDC"
        else:
            mark = ARTIFACT[self._reading]
        self._pdf._code.append(mark)
        self._open = self._reading

    def _end_stretch(self) -> None:
        if self._open is not None:
            self._pdf._code.append("EMC")
        self._open = None
