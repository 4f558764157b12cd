"""Bounds of a file, checked before a library opens it, and what no sheet is written with."""

from __future__ import annotations

import random
import re
import tracemalloc
import zlib
from collections.abc import Callable
from io import BytesIO
from itertools import islice
from typing import Any

import pikepdf
import pytest
from helpers.signing import archived, countersigned, signed
from pikepdf import Array, Dictionary, Name, ObjectStreamMode

import compliance.signing.pdf_file
from compliance.signing.pdf_file import (
    FLATE,
    MOST_FIELDS,
    MOST_OBJECTS,
    MOST_PAGES,
    PIECE,
    PdfFile,
    Stored,
    read_file,
)
from compliance.signing.read import read_signatures


def saved(change: Callable[[Any], object], **how: Any) -> bytes:
    """A small archival PDF after a change."""
    with pikepdf.open(BytesIO(archived())) as pdf:
        change(pdf)
        out = BytesIO()
        pdf.save(out, **how)
    return out.getvalue()


def nothing(_: Any) -> None:
    """No change."""


def coded(pdf: Any) -> None:
    pdf.pages[0].obj.Contents.write(b"\1ab\x80", filter=Name.RunLengthDecode)


def kept_outside(pdf: Any) -> None:
    pdf.pages[0].obj.Contents.F = pikepdf.String("/tmp/elsewhere")


def many_objects(pdf: Any) -> None:
    pdf.Root.More = Array([pdf.make_indirect(Dictionary()) for _ in range(MOST_OBJECTS + 1)])


def many_values(pdf: Any) -> None:
    pdf.Root.More = Array([0] * compliance.signing.pdf_file.MOST_TOKENS)


def deep(pdf: Any) -> None:
    pdf.Root.More = Array()
    inner = pdf.Root.More
    for _ in range(30):
        inner.append(Array())
        inner = inner[0]


def many_pages(pdf: Any) -> None:
    page = pdf.pages[0].obj
    pdf.Root.Pages.Kids = Array([page] * (MOST_PAGES + 1))


def pages_within_pages(pdf: Any) -> None:
    inner = pdf.make_indirect(Dictionary(Type=Name.Pages, Kids=pdf.Root.Pages.Kids, Count=1))
    pdf.Root.Pages.Kids = Array([inner])


def many_fields(pdf: Any) -> None:
    field = pdf.make_indirect(Dictionary(FT=Name.Sig))
    pdf.Root.AcroForm = Dictionary(Fields=Array([field] * (MOST_FIELDS + 1)))


def unpacking_to_much(pdf: Any) -> None:
    pdf.Root.More = Array([pdf.make_stream(bytes(40 << 20)) for _ in range(2)])


REFUSED = {
    "object streams": (
        lambda: saved(nothing, object_stream_mode=ObjectStreamMode.generate),
        "has no cross-reference table",
    ),
    "another filter": (
        lambda: saved(coded, stream_decode_level=pikepdf.StreamDecodeLevel.none),
        "is encoded otherwise than with /FlateDecode",
    ),
    "a stream outside": (
        lambda: saved(kept_outside, stream_decode_level=pikepdf.StreamDecodeLevel.none),
        "is encoded otherwise than with /FlateDecode",
    ),
    "many objects": (lambda: saved(many_objects), "more than 5000 objects"),
    "many values": (lambda: saved(many_values), "more objects than any sheet"),
    "deep objects": (lambda: saved(deep), "more than 20 levels of objects"),
    "many pages": (lambda: saved(many_pages), "501 pages; expected at most 500"),
    "a tree of pages": (lambda: saved(pages_within_pages), "its pages are a tree"),
    "many fields": (lambda: saved(many_fields), "21 fields; expected at most 20"),
    "large streams": (lambda: saved(unpacking_to_much), "unpack to more than 67108864 bytes"),
    "encrypted": (
        lambda: saved(nothing, encryption=pikepdf.Encryption(owner="x", user="", R=4)),
        "it is encrypted",
    ),
    "many revisions": (lambda: revised(30), "more than 20 revisions"),
    "a loop of revisions": (lambda: looped(), "damaged or cut off"),
    "one object within another": (lambda: overlapping(), "its objects overlap"),
}


def revised(times: int) -> bytes:
    """With further revisions that write nothing."""
    data = archived()
    size, root = re.search(rb"/Root (\d+ 0 R) /Size (\d+)", data).groups()[::-1]  # type: ignore[union-attr]
    for _ in range(times):
        before = int(data[data.rindex(b"startxref") + 9 :].split()[0])
        table = len(data)
        data += b"xref\n0 1\n0000000000 65535 f \ntrailer\n<</Root %s/Size %s/Prev %d>>\n" % (
            root,
            size,
            before,
        )
        data += b"startxref\n%d\n%%%%EOF\n" % table
    return data


def looped() -> bytes:
    """The table before is the table itself."""
    data = archived()
    table = data[data.rindex(b"startxref") + 9 :].split()[0]
    at = data.rindex(b"trailer <<") + 10
    return data[:at] + b" /Prev " + table + data[at:]


def overlapping() -> bytes:
    """Object 4 is within a string of object 3, which readers that scan the file do not see."""
    objects = [
        b"1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n",
        b"2 0 obj<</Type/Pages/Kids[]/Count 0>>endobj\n",
        b"3 0 obj(",
        b"4 0 obj null endobj)endobj\n",
    ]
    data, table = b"%PDF-1.7\n", b"xref\n0 5\n0000000000 65535 f \n"
    for each in objects:
        table += b"%010d 00000 n \n" % len(data)
        data += each
    trailer = b"trailer<</Root 1 0 R/Size 5>>\nstartxref\n%d\n%%%%EOF\n" % len(data)
    return data + table + trailer


@pytest.mark.parametrize("name", REFUSED)
def test_it_is_refused(name: str) -> None:
    make, words = REFUSED[name]
    with pytest.raises(ValueError, match=words):
        read_file(make())


@pytest.mark.parametrize("name", ["many objects", "large streams", "many fields"])
def test_no_library_opens_it(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    data = REFUSED[name][0]()
    monkeypatch.setattr("compliance.signing.read.PdfFileReader", lambda _: 1 / 0)
    with pytest.raises(ValueError, match=REFUSED[name][1]):
        read_signatures(data)


def test_large_streams_are_counted_and_not_kept() -> None:
    data = saved(unpacking_to_much)
    assert len(data) < 1 << 20
    tracemalloc.start()
    try:
        with pytest.raises(ValueError, match="unpack to more"):
            read_file(data)
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < 4 << 20


@pytest.mark.parametrize("behind", [b"\n", b"\0" * 20])
def test_unpacking_ends_where_something_follows_the_content(behind: bytes) -> None:
    """The library leaves that in its tail, as if there was more to unpack."""
    packed = zlib.compress(random.Random(1).randbytes(PIECE // 2) * 4) + behind
    stored = Stored({"Filter": FLATE}, slice(0, len(packed)), 0, len(packed))
    with pytest.raises(zlib.error, match="more than its content"):
        list(islice(PdfFile(packed, ()).pieces(stored), 100))


def test_revisions_and_objects_of_a_signed_file() -> None:
    data = countersigned(signed())
    file = read_file(data)
    assert [revision.end < len(data) for revision in file.revisions] == [True] * 3
    assert len(file.state(1)) < len(file.state()) <= MOST_OBJECTS
    contents = [
        (file.content(stored, 1 << 20), zlib.decompress(data[stored.stream]))
        for stored in file.state().values()
        if stored.stream is not None and stored.value.get("Filter") == "FlateDecode"
    ]
    assert contents
    assert all(content == expected for content, expected in contents)


@pytest.mark.parametrize("length", [0, 100, 2000])
def test_a_file_cut_off(length: int) -> None:
    with pytest.raises(ValueError, match="damaged or cut off"):
        read_file(signed()[:length])
