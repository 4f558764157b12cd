"""Somebody without any key that counts, with a sheet or a delivery in hand.

| attack | line that refuses it |
|---|---|
| anything added to a signed sheet, bytes behind its end, another range | fail file intact |
| signature taken off | there is no signature |
| signed again under the facility's name | signed with another key under the same name |
| .zip with two names for an entry | has another name, ..., before its content |
| .zip with bytes between entries | does not follow the file before it |
| .zip with extra fields, bit 3, comments | which 'deliver' does not write |
| .zip with a name twice, compressed | is in the .zip twice; is compressed |
| a sheet left out, one twice, one under another's name | is missing; stated but not found; ... |
| another index under another version's name | index.html; the delivery itself is not signed |
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Callable, Mapping
from pathlib import Path

import pikepdf
import pytest
from adversary import zips
from adversary.forging import (
    Desk,
    Files,
    changed,
    delivery,
    drawn,
    failing,
    failing_sheet,
    honest,
    other_sheet,
    refused,
    sealed,
    words,
)
from helpers.deliveries import as_folder, resealed
from helpers.signing import MADE, PASSWORD, byte_ranges, identity
from helpers.tampering import updated
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

from compliance.delivery.stored_zip import zip_bytes
from compliance.signing.keys import load_identity, new_identity

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


# ---------------------------------------------------------------- the file and its signature


def test_bytes_behind_the_end(desk: Desk) -> None:
    refused(desk.verify(failing_sheet() + b"\n% compliant\n"), "fail file intact:")


def test_the_signature_taken_off(desk: Desk) -> None:
    """The pages and the evidence of the honest sheet, without fields."""

    def bare(pdf: pikepdf.Pdf) -> None:
        del pdf.Root.AcroForm
        del pdf.pages[0].Annots

    found = desk.verify(changed(honest(), bare))
    refused(found, "2 fail signer: unknown: there is no signature")
    assert "computed again: every" not in words(found)


def test_signed_again_under_the_facilitys_name(desk: Desk) -> None:
    signer = identity().signer
    data = new_identity(signer.name, signer.organisation, "ada@example.org", PASSWORD, MADE)
    forged = sealed(drawn(failing()), who=load_identity(data, PASSWORD))
    refused(desk.verify(forged), "signed with another key under the same name")


def test_another_range_is_signed(desk: Desk) -> None:
    """The container is moved behind bytes that nothing signs."""
    data = failing_sheet()
    before, length, after, rest = byte_ranges(data)[0]
    assert before == 0
    stated = f"{length} {after} {rest}".encode()
    moved = f"{length} {after + 10} {rest - 10}".encode()
    at = data.index(b"/ByteRange")
    place = data.index(stated, at)
    forged = data[:place] + moved + data[place + len(stated) :]
    refused(desk.verify(forged), "fail file intact:")


# ---------------------------------------------------------------- archives

THREE, SEVEN = "sheets/three.pdf", "sheets/seven.pdf"


def in_archive(name: str) -> bytes:
    return f"{zips.FOLDER}/data/{name}".encode()


def zipped(desk: Desk, data: bytes) -> Path:
    place = desk.folder / "delivery.zip"
    place.write_bytes(data)
    return place


def test_control_of_an_archive(desk: Desk) -> None:
    """The forger's own archive, byte for byte as `deliver` writes it."""
    data = zips.archive(zips.entries(delivery()))
    assert data == zip_bytes(delivery(), zips.FOLDER)
    found = desk.verify(zipped(desk, data))
    assert found.returncode == 0
    assert "1 conditionally compliant; 1 not compliant" in words(found)


def two_names(given: list[zips.Entry]) -> bytes:
    """Two sheets under each other's names in the headers that programs unpack by."""
    swapped = zips.with_entry(given, THREE, local_name=in_archive(SEVEN))
    swapped = zips.with_entry(swapped, SEVEN, local_name=in_archive(THREE))
    return zips.archive(swapped)


def compressed(given: list[zips.Entry]) -> bytes:
    data = next(each.data for each in given if each.name == in_archive(THREE))
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    small = packer.compress(data) + packer.flush()
    return zips.archive(
        zips.with_entry(given, THREE, data=small, method=8, size=len(data), crc=zlib.crc32(data))
    )


def changed_entry(**changes: object) -> Callable[[list[zips.Entry]], bytes]:
    return lambda given: zips.archive(zips.with_entry(given, THREE, **changes))


def twice(given: list[zips.Entry]) -> bytes:
    return zips.archive([*given, zips.Entry(in_archive(THREE), other_sheet())])


BETWEEN = "does not follow the file before it: something is between them, or they overlap"
WRITES = "has flags, extra fields or a comment, which 'deliver' does not write"
AFTER = "the .zip: is cut off, or has data added after its end"
ARCHIVES: Mapping[str, tuple[Callable[[list[zips.Entry]], bytes], str]] = {
    "two names": (
        two_names,
        "has another name, delivery/data/sheets/three.pdf, before its content",
    ),
    "bytes behind an entry": (changed_entry(behind=b"compliant"), BETWEEN),
    "extra field": (changed_entry(extra=b"up\x04\0name"), WRITES),
    "extra field before the data": (changed_entry(local_extra=b"up\x04\0name"), BETWEEN),
    "comment of an entry": (changed_entry(comment=b"compliant"), WRITES),
    "sizes behind the data": (changed_entry(descriptor=True), WRITES),
    "compressed": (compressed, "is compressed; expected a stored file"),
    "comment": (lambda given: zips.archive(given, comment=b"compliant"), AFTER),
    "bytes before": (
        lambda given: zips.archive(given, before=b"compliant"),
        "does not follow the file before it",
    ),
    "bytes behind": (lambda given: zips.archive(given) + b"compliant", AFTER),
    "a name twice": (twice, "data/sheets/three.pdf: is in the .zip twice"),
}


@pytest.mark.parametrize("what", ARCHIVES)
def test_an_archive_that_unpacks_to_something_else(desk: Desk, what: str) -> None:
    change, line = ARCHIVES[what]
    forged = zipped(desk, change(zips.entries(delivery())))
    refused(desk.verify(forged), line)


# ---------------------------------------------------------------- folders, sealed by a careful hand


def without_the_failing_sheet() -> Files:
    return {name: data for name, data in delivery().items() if "three" not in name}


def twice_in_a_folder() -> Files:
    return {**delivery(), "data/sheets/again.pdf": other_sheet()}


def under_each_others_names() -> Files:
    files = delivery()
    return {
        **files,
        f"data/{THREE}": files[f"data/{SEVEN}"],
        f"data/{SEVEN}": files[f"data/{THREE}"],
    }


def with_another_index() -> Files:
    """The page is changed, and another version is said to have made it."""
    files = delivery()
    page = re.sub(rb"(?i)not compliant", b"compliant", files["index.html"])
    info = files["bag-info.txt"].replace(b"compliance 0.", b"compliance 9.")
    assert page != files["index.html"] and info != files["bag-info.txt"]
    return {**files, "index.html": page, "bag-info.txt": info}


FOLDERS: Mapping[str, tuple[Callable[[], Files], str, str]] = {
    "a sheet left out": (
        without_the_failing_sheet,
        "data/sheets/three.pdf: is missing",
        "stated but not found: data/sheets/three.pdf",
    ),
    "a number twice": (
        twice_in_a_folder,
        "data/sheets/again.pdf",
        "2 sheets have the number",
    ),
    "other names": (
        under_each_others_names,
        "data/sheets/seven.pdf: has the content of data/sheets/three.pdf",
        "data/evidence/seven/readings.csv: is not the file attached to the sheet",
    ),
}


@pytest.mark.parametrize("what", FOLDERS)
def test_a_delivery_with_other_sheets(desk: Desk, what: str) -> None:
    """As it is, the manifests refuse it; with manifests of his own, what the bag says of itself."""
    make, line, sealed_line = FOLDERS[what]
    plain = as_folder(make(), desk.folder / "plain" / "delivery")
    refused(desk.verify(plain), line)
    own = as_folder(resealed(make()), desk.folder / "sealed" / "delivery")
    found = desk.verify(own)
    refused(found, sealed_line)
    assert "the delivery itself is not signed" in words(found)


def test_a_delivery_with_another_index(desk: Desk) -> None:
    plain = as_folder(with_another_index(), desk.folder / "plain" / "delivery")
    refused(desk.verify(plain), "index.html")
    own = as_folder(resealed(with_another_index()), desk.folder / "sealed" / "delivery")
    found = desk.verify(own)
    assert found.returncode in (1, 3)
    assert "the delivery itself is not signed" in words(found)
    assert "1 not compliant" in words(found)
