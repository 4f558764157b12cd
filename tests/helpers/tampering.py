"""Changes to a signed file as an editor writes them: correct incremental updates."""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO

from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter


def updated(data: bytes, change: Callable[[IncrementalPdfFileWriter], None]) -> bytes:
    """A correct incremental update, as an honest editor would write it."""
    writer = IncrementalPdfFileWriter(BytesIO(data))
    change(writer)
    out = BytesIO()
    writer.write(out)
    return out.getvalue()


def new_title(writer: IncrementalPdfFileWriter) -> None:
    info = writer.trailer["/Info"]
    info["/Title"] = generic.TextStringObject("Another sheet")
    writer.update_container(info)


def new_packet(writer: IncrementalPdfFileWriter) -> None:
    packet = generic.StreamObject(
        generic.DictionaryObject(
            {
                generic.NameObject("/Type"): generic.NameObject("/Metadata"),
                generic.NameObject("/Subtype"): generic.NameObject("/XML"),
            }
        ),
        stream_data=b"<x:xmpmeta xmlns:x='adobe:ns:meta/'/>",
    )
    writer.root["/Metadata"] = writer.add_object(packet)
    writer.update_root()


def nothing_but_written(writer: IncrementalPdfFileWriter) -> None:
    writer.update_root()


def new_annotation(writer: IncrementalPdfFileWriter) -> None:
    note = generic.DictionaryObject(
        {
            generic.NameObject("/Type"): generic.NameObject("/Annot"),
            generic.NameObject("/Subtype"): generic.NameObject("/Text"),
            generic.NameObject("/Rect"): generic.ArrayObject(
                [generic.NumberObject(each) for each in (10, 10, 30, 30)]
            ),
            generic.NameObject("/Contents"): generic.TextStringObject("passes"),
        }
    )
    page = writer.root["/Pages"]["/Kids"][0]
    page["/Annots"].append(writer.add_object(note))
    writer.update_container(page["/Annots"])


def new_attachment(writer: IncrementalPdfFileWriter) -> None:
    names = writer.root["/Names"]["/EmbeddedFiles"]["/Names"]
    stream = names[1]["/EF"].raw_get("/F").get_object()
    stream._data = b"{}"
    stream._encoded_data = None
    writer.update_container(stream)


def new_text(writer: IncrementalPdfFileWriter) -> None:
    page = writer.root["/Pages"]["/Kids"][0]
    text = generic.StreamObject(stream_data=b"q Q")
    page["/Contents"] = writer.add_object(text)
    writer.update_container(page)


def new_appearance(writer: IncrementalPdfFileWriter) -> None:
    """Another drawing in the box of the first field."""
    field = writer.root["/AcroForm"]["/Fields"][0]
    shown = field["/AP"].raw_get("/N").get_object()
    shown._data = b"0 0 m 10 10 l S"
    shown._encoded_data = None
    writer.update_container(shown)
