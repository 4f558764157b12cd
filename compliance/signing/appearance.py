"""What the box of a signature shows: a drawn page, put in always in the same way."""

from __future__ import annotations

from importlib.metadata import version
from io import BytesIO

from pyhanko.pdf_utils.content import PdfContent
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.layout import (
    AxisAlignment,
    BoxConstraints,
    InnerScaling,
    Margins,
    SimpleBoxLayoutRule,
)
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.stamp.static import StaticStampStyle

from compliance import __version__

PROGRAM = "deliverable-compliance"
BOX_DRAWN_BY = f"{__version__} (reportlab {version('reportlab')}, pyHanko {version('pyHanko')})"
"""Version and libraries, stated in a signature: others may draw its box slightly differently."""
SHOWN = "/Shown"


class _Page(PdfContent):
    """A page of another file under a fixed name; the library's own has a random one."""

    def __init__(self, page: bytes) -> None:
        super().__init__()
        self._page = page

    def render(self) -> bytes:
        reader = PdfFileReader(BytesIO(self._page))
        shown = self._ensure_writer.import_page_as_xobject(reader)
        self.resources.xobject[SHOWN] = shown
        x0, y0, x1, y1 = shown.get_object()["/BBox"]
        self.box = BoxConstraints(width=abs(x1 - x0), height=abs(y1 - y0))
        return SHOWN.encode() + b" Do"


def shown_as_drawn(page: bytes) -> StaticStampStyle:
    """Return the library's style for a box that shows a one-page PDF of its size."""
    return StaticStampStyle(
        background=_Page(page),
        border_width=0,
        background_opacity=1.0,
        background_layout=SimpleBoxLayoutRule(
            AxisAlignment.ALIGN_MIN,
            AxisAlignment.ALIGN_MIN,
            Margins.uniform(0),  # type: ignore[no-untyped-call]
            InnerScaling.NO_SCALING,
        ),
    )


def with_appearance(page: bytes, width: int, height: int) -> bytes:
    """Return a one-page PDF with `/Shown` in its catalog: what a box of that size gets of it.

    For comparing it with the box of a signed file.
    """
    writer = IncrementalPdfFileWriter(BytesIO(page))
    box = BoxConstraints(width=width, height=height)
    writer.root[SHOWN] = shown_as_drawn(page).create_stamp(writer, box, {}).register()
    writer.update_root()  # type: ignore[no-untyped-call]
    out = BytesIO()
    writer.write(out)  # type: ignore[no-untyped-call]
    return out.getvalue()
