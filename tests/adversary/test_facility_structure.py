"""The facility writes the file so that a viewer shows other pages than those that are compared.

Evidence, pages and signature are honest; readers find other pages, or only a part of them.

| attack | shown otherwise by | line that refuses it |
|---|---|---|
| another node above a page cuts it | mupdf, pdfium | page 1 has another node above it |
| fewer pages are counted than there are | poppler, mupdf, pdfium | the node above its pages |
| the node above the pages is called a page | mupdf | the node above its pages |
| objects behind the end of the file | mupdf, which repairs it | there are bytes after its end |
| a linearized file with a table of its own | poppler | has /Linearized |
| base 85 that ends early for other readers | poppler, mupdf, pdfium | is damaged |
| objects in places that nobody compares | none | other entries than in a sheet |
| a number of objects that is out of range | mupdf repairs it | as the number of its objects |
| another page before the signature | none | was another one before |
| a signature names another program to check it | some refuse it | has other entries than |
| a second time of signing | those that show the entry /M | it states two times of signing |
"""

from __future__ import annotations

import base64
import re
import zlib
from collections.abc import Mapping
from functools import cache

import pytest
from adversary.forging import Desk, failing_sheet, refused, words
from adversary.raw_file import (
    Parts,
    RawChange,
    content,
    places,
    stream,
    table_as_stream,
    written_again,
)

from compliance.signing.pdf_file import read_file, resolved
from compliance.signing.pdf_syntax import Ref

PAINT = b"BT /F1+0 30 Tf 60 700 Td (COMPLIANT) Tj ET"
FREE = 900
"""The first of the numbers that no object has."""


@cache
def number(*keys: str | int) -> int:
    """The number of an object of the sheet, by the way to it from the catalog."""
    file = read_file(failing_sheet())
    state = file.state()
    place = file.revisions[-1].trailer["Root"]
    for key in keys:
        place = resolved(state, place)[key]
    assert isinstance(place, Ref)
    return place.number


def page() -> int:
    return number("Pages", "Kids", 0)


def drawing() -> int:
    return number("Pages", "Kids", 0, "Contents")


def cut_from_above(parts: Parts) -> None:
    tree = number("Pages")
    node = b"<< /Type /Pages /Count 1 /Kids [ %d 0 R ] /CropBox [ 0 500 595 841 ] /Parent %d 0 R >>"
    parts[0].add(FREE, node % (page(), tree))
    parts[0].change(page(), b"/Parent %d 0 R" % tree, b"/Parent %d 0 R" % FREE)


def counted_short(parts: Parts) -> None:
    parts[0].change(number("Pages"), b"/Count 5", b"/Count 1")


def tree_called_a_page(parts: Parts) -> None:
    parts[0].change(number("Pages"), b"/Type /Pages", b"/Type /Page")


def pages_of_another_type(parts: Parts) -> None:
    parts[0].change(number("Pages"), b"/Kids [", b"/Kids [ /Pages")


def ending_early(parts: Parts) -> None:
    """A vertical tab is skipped by Python; other readers take it for the end or for data."""
    stored = zlib.compress(content(parts[0], drawing()), 0)
    text = base64.a85encode(stored)
    data = text[:1500] + b"\v" + text[1500:] + b"~>"
    coding = b"/Filter [/ASCII85Decode /FlateDecode]"
    parts[0].objects[drawing()] = b"%d 0 obj\n%s\nendobj" % (drawing(), stream(data, coding))


def another_before(parts: Parts) -> None:
    """The first revision has another drawing, which the signature's replaces."""
    parts[1].objects[drawing()] = parts[0].objects[drawing()]
    parts[0].objects[drawing()] = b"%d 0 obj\n%s\nendobj" % (drawing(), stream(PAINT))


def shown_before(parts: Parts) -> None:
    """The box of the facility says something before the signature replaces it."""
    state = read_file(failing_sheet()).state(1)
    field = state[number("AcroForm", "Fields", 0)].value
    box = resolved(state, field["AP"])["N"].number
    form = b"/Type /XObject /Subtype /Form /Resources << >> /BBox [ 0 0 238 65 ]"
    parts[0].objects[box] = b"%d 0 obj\n%s\nendobj" % (box, stream(PAINT, form))


def for_another_program(parts: Parts) -> None:
    parts[1].change(number("Perms", "DocMDP"), b"/Adobe.PPKLite", b"/Adobe.PPKMine")


TREE = "the node above its pages has other entries than in a sheet"


def numbered_high(parts: Parts) -> None:
    """An object whose number mupdf takes for a sign of damage; it repairs the file."""
    parts[1].add(9_000_000, b"null")
    parts[1].trailer = parts[1].trailer.replace(b"/ID [", b"/ID [ 9000000 0 R ", 1)


STRUCTURES: Mapping[str, tuple[RawChange, str]] = {
    "cut from above": (cut_from_above, "page 1 has another node above it than the one of all"),
    "counted short": (counted_short, TREE),
    "tree called a page": (tree_called_a_page, TREE),
    "pages of another type": (pages_of_another_type, "is of another type than in a sheet"),
    "ending early": (ending_early, "is damaged, or has more than its content"),
    "numbered high": (numbered_high, "it states 9000001 as the number of its objects"),
    "shown before": (shown_before, "a box of a signature was not empty before the file was"),
    "for another program": (for_another_program, "FacilitySignature has other entries than in"),
    "another before": (another_before, "was another one before the file was signed"),
}


def test_control(desk: Desk) -> None:
    found = desk.verify(written_again(failing_sheet(), lambda parts: None))
    assert found.returncode == 0
    assert "The sheet states: not compliant." in words(found)


@pytest.mark.parametrize("what", STRUCTURES)
def test_a_file_that_viewers_read_otherwise(desk: Desk, what: str) -> None:
    change, line = STRUCTURES[what]
    refused(desk.verify(written_again(failing_sheet(), change)), line)


def test_objects_in_entries_that_nobody_compares(desk: Desk) -> None:
    """Each is in use, since an entry refers to it, and none of them is in a sheet."""
    hidden = {
        number("Names", "EmbeddedFiles"): (0, b"/Names", b"/X 900 0 R /Names"),
        number(): (1, b"/Extensions <<", b"/Extensions << /X 901 0 R "),
        number("Perms", "DocMDP"): (1, b"/App <<", b"/X 902 0 R /App <<"),
        number("AcroForm", "Fields", 1, "AP", "N"): (0, b"/BBox", b"/X 903 0 R /BBox"),
        read_file(failing_sheet()).revisions[0].trailer["Info"].number: (
            0,
            b"/ModDate (D:20261120160000+00'00')",
            b"/ModDate 904 0 R",
        ),
    }

    def change(parts: Parts) -> None:
        for count, (place, (part, before, after)) in enumerate(hidden.items()):
            parts[part].change(place, before, after)
            parts[part].add(FREE + count, stream(PAINT))
        parts[1].add(905, stream(PAINT))
        parts[1].trailer = parts[1].trailer.replace(b"/ID [", b"/ID [ 905 0 R ", 1)

    found = desk.verify(written_again(failing_sheet(), change))
    for line in (
        "the tree of its attachments has other entries than in a sheet",
        "its extensions are not those of a sheet",
        "the signature FacilitySignature has other entries than in a sheet",
        "the box of Countersignature is not empty",
        "its trailer has other entries than in a sheet",
        "its information has other entries than in a sheet",
    ):
        refused(found, line)


def test_permissions_of_another_signature(desk: Desk) -> None:
    """A copy of the signature with more in it, which nobody but the permissions names."""

    def copied(parts: Parts) -> None:
        own = number("Perms", "DocMDP")
        copy = parts[1].objects[own].split(b"obj", 1)[1].removesuffix(b"endobj")
        copy = re.sub(rb"/Contents\s*<[0-9A-Fa-f]*>", b"/X 901 0 R", copy)
        parts[1].objects = {
            FREE: b"900 0 obj" + re.sub(rb"/ByteRange\s*\[[^\]]*\]", b"", copy) + b"endobj",
            901: b"901 0 obj\n" + stream(PAINT) + b"\nendobj",
            **parts[1].objects,
        }
        parts[1].change(number(), b"/DocMDP %d 0" % own, b"/DocMDP %d 0" % FREE)

    found = desk.verify(written_again(failing_sheet(), copied))
    refused(found, "its permissions are not those of a certified sheet")


def test_objects_behind_the_end(desk: Desk) -> None:
    """Just so many that the library still finds the end, and a viewer repairs the file."""
    drawn = b"%d 0 obj\n%s\nendobj\n" % (drawing(), stream(PAINT))
    forged = written_again(failing_sheet(), lambda parts: None, behind=drawn.ljust(1012))
    refused(desk.verify(forged), "there are bytes after its end")


def test_a_table_of_its_own(desk: Desk) -> None:
    """Poppler takes the object behind the first one of a linearized file for its table."""

    def linearized(length: int, table: bytes) -> RawChange:
        def change(parts: Parts) -> None:
            first, *_ = parts
            shown = first.objects[page()].split(b"obj", 1)[1].removesuffix(b"endobj")
            shown = shown.replace(b"/Contents %d 0" % drawing(), b"/Contents 901 0")
            shown = shown.replace(b"/Parent %d 0" % number("Pages"), b"/Parent 903 0")
            first.add(901, stream(PAINT))
            first.add(902, shown)
            first.add(903, b"<< /Type /Pages /Count 1 /Kids [ 902 0 R ] >>")
            first.add(904, b"<< /Type /Catalog /Pages 903 0 R >>")
            first.add(905, table, first=True)
            entries = b"/O 902 /E 2000 /N 1 /T 3000 /H [ 0 0 ] /X [ 904 0 R 905 0 R ]"
            first.add(906, b"<< /Linearized 1 /L %010d %s >>" % (length, entries), first=True)
            for part in parts:
                part.trailer = part.trailer.replace(b"/Info", b"/X 906 0 R /Info")

        return change

    draft = written_again(failing_sheet(), linearized(0, stream(bytes(6 * 907), bytes(40))))
    draft = written_again(failing_sheet(), linearized(0, table_as_stream(draft, 907, 904)))
    table = table_as_stream(draft, 907, 904)
    forged = written_again(failing_sheet(), linearized(len(draft), table))
    assert places(forged) == places(draft)
    refused(desk.verify(forged), "object 906 has /Linearized, as no sheet has")


@pytest.mark.parametrize("zone", [b"Z", b""])
def test_a_second_time_of_signing(desk: Desk, zone: bytes) -> None:
    def later(parts: Parts) -> None:
        parts[1].change(number("Perms", "DocMDP"), b"20261120160000Z", b"20270520160000" + zone)

    forged = written_again(failing_sheet(), later, pades=False)
    refused(desk.verify(forged), "it states two times of signing, 2026-11-20 16:00 and 2027-05-20")


def test_control_of_a_time_in_two_places(desk: Desk) -> None:
    assert desk.verify(written_again(failing_sheet(), lambda _: None, pades=False)).returncode == 0
