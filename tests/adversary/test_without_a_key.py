"""Somebody without any key that counts, with a sheet or a delivery in hand.

| attack | line that refuses it |
|---|---|
| anything added to a signed sheet by an update, bytes behind its end | changed after signing |
| the bytes between the signature and its container, another range | cannot be read; changed |
| signature taken off | not signed |
| signed again under the facility's name | signed with another key under the same name |
| .zip with two names for an entry, bytes between, extra fields, bit 3 | not as deliver wrote it |
| a sheet left out, one twice, one under another's name, another index | manifests, signature |
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import pytest
from adversary.forging import (
    Desk,
    failing_sheet,
    refused,
    words,
)
from helpers.tampering import updated
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

Writer = IncrementalPdfFileWriter


def test_control_of_a_sheet(desk: Desk) -> None:
    found = desk.verify(failing_sheet())
    assert found.returncode == 0
    assert "The sheet states: not compliant." in words(found)


# ---------------------------------------------------------------- updates of a signed sheet


def name(text: str) -> generic.NameObject:
    return generic.NameObject(text)


def dictionary(**entries: object) -> generic.DictionaryObject:
    return generic.DictionaryObject({name(f"/{key}"): value for key, value in entries.items()})


def script() -> generic.DictionaryObject:
    return dictionary(S=name("/JavaScript"), JS=generic.TextStringObject("app.alert('compliant')"))


def first_page(writer: Writer) -> generic.DictionaryObject:
    page: generic.DictionaryObject = writer.root["/Pages"]["/Kids"][0]
    return page


def painted_over(writer: Writer) -> None:
    page = first_page(writer)
    paint = generic.StreamObject(stream_data=b"q 1 1 1 rg 40 600 500 200 re f Q")
    page["/Contents"] = generic.ArrayObject([page.raw_get("/Contents"), writer.add_object(paint)])
    writer.update_container(page)


def hidden_note(writer: Writer) -> None:
    note = dictionary(
        Type=name("/Annot"),
        Subtype=name("/Text"),
        F=generic.NumberObject(2),
        Rect=generic.ArrayObject([generic.NumberObject(each) for each in (10, 10, 30, 30)]),
        Contents=generic.TextStringObject("compliant"),
    )
    first_page(writer)["/Annots"].append(writer.add_object(note))
    writer.update_container(first_page(writer)["/Annots"])


def open_action(writer: Writer) -> None:
    writer.root["/OpenAction"] = writer.add_object(script())
    writer.update_root()


def script_of_the_document(writer: Writer) -> None:
    names = generic.ArrayObject([generic.TextStringObject("x"), writer.add_object(script())])
    writer.root["/Names"]["/JavaScript"] = dictionary(Names=names)
    writer.update_container(writer.root["/Names"])
    writer.update_root()


def layers(writer: Writer) -> None:
    group = writer.add_object(
        dictionary(Type=name("/OCG"), Name=generic.TextStringObject("verdict"))
    )
    shown = dictionary(OFF=generic.ArrayObject([group]))
    writer.root["/OCProperties"] = dictionary(OCGs=generic.ArrayObject([group]), D=shown)
    writer.update_root()


def other_box(writer: Writer) -> None:
    """The facility's box shows another name."""
    (field, *_) = writer.root["/AcroForm"]["/Fields"]
    widget = field.get_object() if hasattr(field, "get_object") else field
    stream = generic.StreamObject(
        dict_data=dictionary(
            Type=name("/XObject"),
            Subtype=name("/Form"),
            BBox=generic.ArrayObject([generic.NumberObject(each) for each in (0, 0, 200, 60)]),
        ),
        stream_data=b"1 0 0 rg 0 0 200 60 re f",
    )
    widget["/AP"] = dictionary(N=writer.add_object(stream))
    writer.update_container(widget)


def other_readings(writer: Writer) -> None:
    names = writer.root["/Names"]["/EmbeddedFiles"]["/Names"]
    stream = names[1]["/EF"].raw_get("/F").get_object()
    stream._data, stream._encoded_data = b"{}", None
    writer.update_container(stream)


def other_description(writer: Writer) -> None:
    file = writer.root["/Names"]["/EmbeddedFiles"]["/Names"][1]
    file["/Desc"] = generic.TextStringObject("All values are within their limits")
    writer.update_container(file)


def unused_object(writer: Writer) -> None:
    writer.add_object(generic.TextStringObject("compliant"))


def one_page_less(writer: Writer) -> None:
    pages = writer.root["/Pages"]
    pages["/Kids"].pop()
    pages["/Count"] = generic.NumberObject(len(pages["/Kids"]))
    writer.update_container(pages)


UPDATES: Mapping[str, Callable[[Writer], None]] = {
    each.__name__: each
    for each in (
        painted_over,
        hidden_note,
        open_action,
        script_of_the_document,
        layers,
        other_box,
        other_readings,
        other_description,
        unused_object,
        one_page_less,
    )
}


@pytest.mark.parametrize("what", UPDATES)
def test_an_update_of_a_signed_sheet(desk: Desk, what: str) -> None:
    forged = updated(failing_sheet(), UPDATES[what])
    assert forged.startswith(failing_sheet())
    refused(desk.verify(forged), "fail file intact:")
    said = words(desk.verify(forged))
    assert "pages: the same" not in said
