"""Files that are small and cost much: each makes a careless reader unpack, loop or wait.

Somebody without a key makes most of them; the facility signs some, so that nothing else refuses
them. Each verification gets no more memory than 500 MB.

| attack | line that refuses it |
|---|---|
| one stream under fifty names | is described otherwise than in a sheet |
| streams that unpack to 64 MB | its streams unpack to more than |
| pages, objects, revisions without end | it has more than ... |
| deep nesting, tables that come round | levels of objects; damaged or cut off |
| objects in streams | it has no cross-reference table |
| archives of many entries, or of compressed ones | too many files; is compressed |
| a pipe among the files | its name |
| a certificate with a malformed extension | a certificate is malformed |
"""

from __future__ import annotations

import os
import resource
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import pikepdf
import pytest
from adversary import zips
from adversary.forging import Change, Desk, delivery, drawn, honest, passing, refused, sealed
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.x509.oid import ExtensionOID
from helpers.authorities import issued
from helpers.deliveries import as_folder
from pikepdf import Array, Dictionary, Name, Pdf, String

from compliance.signing.keys import Identity

LARGE = 64 << 20
"""Bytes that one stream unpacks to."""
MOST = 500 << 20
"""Bytes that the verification of one file may need."""


@contextmanager
def within(most: int) -> Iterator[None]:
    """No more memory than this process has now, and `most` bytes."""
    before = resource.getrlimit(resource.RLIMIT_AS)
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    resource.setrlimit(resource.RLIMIT_AS, (pages * resource.getpagesize() + most, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_AS, before)


def zeros(pdf: Pdf, count: int = LARGE) -> pikepdf.Stream:
    """A stream of a thousandth of what it unpacks to."""
    packed = zlib.compress(bytes(count), 1)
    return pikepdf.Stream(pdf, packed, Filter=Name.FlateDecode)


def under_fifty_names(pdf: Pdf) -> None:
    """Fifty attachments, named as they should be, of one stream."""
    stream = zeros(pdf, 8 << 20)
    stream.Type = Name.EmbeddedFile
    shared = pdf.make_indirect(stream)
    for number in range(50):
        name = f"z{number:02}.json"
        file = pikepdf.AttachedFileSpec(pdf, b"{}", filename=name, mime_type="application/json")
        file.obj.EF = Dictionary(F=shared, UF=shared)
        pdf.Root.Names.EmbeddedFiles.Names.extend([String(name), pdf.make_indirect(file.obj)])


def large_page(pdf: Pdf) -> None:
    pdf.pages[0].Contents = pdf.make_indirect(zeros(pdf))


def packed_twice(pdf: Pdf) -> None:
    stream = zeros(pdf)
    inner = zlib.compress(zlib.compress(bytes(LARGE), 1), 1)
    stream.write(inner, filter=Array([Name.FlateDecode, Name.FlateDecode]))
    pdf.pages[0].Contents = pdf.make_indirect(stream)


def many_pages(pdf: Pdf) -> None:
    kids = pdf.Root.Pages.Kids
    first = pdf.pages[0].obj
    for _ in range(20_000):
        kids.append(first)
    pdf.Root.Pages.Count = len(kids)


def many_objects(pdf: Pdf) -> None:
    pdf.Root.Many = Array([pdf.make_indirect(Dictionary(T=String("x"))) for _ in range(60_000)])


def deep_arrays(pdf: Pdf) -> None:
    pdf.Root.Deep = pikepdf.Object.parse(b"[" * 400 + b"]" * 400)


def object_streams(sheet: bytes) -> bytes:
    """The sheet's objects packed into streams, where bounds of a file do not see them."""
    out = BytesIO()
    with Pdf.open(BytesIO(sheet)) as pdf:
        pdf.save(out, object_stream_mode=pikepdf.ObjectStreamMode.generate)
    return out.getvalue()


def nested_brackets(sheet: bytes) -> bytes:
    """An update with an object that is nested a hundred thousand deep."""
    deep = b"[" * 100_000 + b"]" * 100_000
    at = len(sheet)
    start = int(sheet.rpartition(b"startxref")[2].split()[0])
    update = b"9999 0 obj\n" + deep + b"\nendobj\n"
    table = b"xref\n9999 1\n%010d 00000 n \n" % at
    trailer = b"trailer\n<</Size 10000/Prev %d/Root 9999 0 R>>\nstartxref\n%d\n%%%%EOF\n"
    return sheet + update + table + trailer % (start, at + len(update))


def coming_round(sheet: bytes) -> bytes:
    """An update whose earlier table is itself."""
    at = len(sheet)
    table = b"xref\n0 0\ntrailer\n<</Size 10/Prev %d/Root 1 0 R>>\nstartxref\n%d\n%%%%EOF\n"
    return sheet + table % (at, at)


def many_revisions(sheet: bytes) -> bytes:
    """Two thousand empty updates."""
    data, start = bytearray(sheet), int(sheet.rpartition(b"startxref")[2].split()[0])
    for _ in range(2_000):
        at = len(data)
        data += b"xref\n0 0\ntrailer\n<</Size 10/Prev %d/Root 1 0 R>>\nstartxref\n%d\n%%%%EOF\n" % (
            start,
            at,
        )
        start = at
    return bytes(data)


def malformed() -> Identity:
    """A self-issued identity whose certificate has an extension that is no DER."""
    holder = issued("Mal Formed", key=None)
    given = holder.certificate
    extension = x509.UnrecognizedExtension(ExtensionOID.SUBJECT_ALTERNATIVE_NAME, b"\x30\x84\xff")
    builder = (
        x509.CertificateBuilder()
        .subject_name(given.subject)
        .issuer_name(given.issuer)
        .public_key(given.public_key())
        .serial_number(given.serial_number)
        .not_valid_before(given.not_valid_before_utc)
        .not_valid_after(given.not_valid_after_utc)
        .add_extension(extension, critical=False)
    )
    certificate = builder.sign(holder.key, hashes.SHA256())
    der = certificate.public_bytes(serialization.Encoding.DER)
    return replace(
        holder.identity, signer=replace(holder.identity.signer, certificate=der), chain=()
    )


def many_entries() -> bytes:
    return zips.archive([zips.Entry(b"delivery/data/%d" % number, b"") for number in range(60_000)])


def packed_entries() -> bytes:
    """A megabyte that unpacks to one gigabyte."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    small = packer.compress(bytes(LARGE)) + packer.flush()
    packed = [
        zips.Entry(b"delivery/data/sheets/%d.pdf" % number, small, method=8, size=LARGE, crc=0)
        for number in range(16)
    ]
    return zips.archive(packed)


UNPACK = "its streams unpack to more than"
LEVELS = "more than 20 levels of objects"
SIGNED_BOMBS: Mapping[str, tuple[Change, str]] = {
    "one stream under fifty names": (
        under_fifty_names,
        "attachment z00.json is described otherwise than in a sheet",
    ),
    "a large page": (large_page, UNPACK),
    "a page packed twice": (packed_twice, UNPACK),
    "twenty thousand pages": (many_pages, "it has 20005 pages; expected at most 500"),
    "sixty thousand objects": (many_objects, "it has more than 5000 objects"),
    "deep arrays": (deep_arrays, LEVELS),
}
UPDATES: Mapping[str, tuple[Callable[[bytes], bytes], str]] = {
    "nested brackets": (nested_brackets, LEVELS),
    "tables that come round": (coming_round, "it is damaged or cut off"),
    "two thousand revisions": (many_revisions, "it has more than 20 revisions"),
    "objects in streams": (object_streams, "it has no cross-reference table, as every sheet has"),
}
ARCHIVES: Mapping[str, tuple[Callable[[], bytes], str]] = {
    "many entries": (many_entries, "has too many files; expected at most 5000"),
    "a megabyte": (packed_entries, "is compressed; expected a stored file"),
}


def test_control(desk: Desk) -> None:
    with within(MOST):
        assert desk.verify(honest()).returncode == 0


@pytest.mark.parametrize("what", SIGNED_BOMBS)
def test_a_sheet_that_the_facility_signed(desk: Desk, what: str) -> None:
    change, line = SIGNED_BOMBS[what]
    forged = sealed(drawn(passing()), change)
    assert len(forged) < 6 << 20
    with within(MOST):
        refused(desk.verify(forged), line)


@pytest.mark.parametrize("what", UPDATES)
def test_a_sheet_with_an_update(desk: Desk, what: str) -> None:
    change, line = UPDATES[what]
    forged = change(honest())
    with within(MOST):
        refused(desk.verify(forged), line)


@pytest.mark.parametrize("what", ARCHIVES)
def test_an_archive(desk: Desk, what: str) -> None:
    make, line = ARCHIVES[what]
    place = desk.folder / "delivery.zip"
    place.write_bytes(make())
    with within(MOST):
        refused(desk.verify(place), line)


def test_a_pipe_in_a_delivery(desk: Desk) -> None:
    """Whoever opens it waits for ever."""
    bag = as_folder(delivery(), desk.folder / "delivery")
    os.mkfifo(bag / "data" / "sheets" / "pipe.pdf")
    refused(desk.verify(bag), "data/sheets/pipe.pdf")


def test_a_pipe_under_a_listed_name(desk: Desk) -> None:
    bag = as_folder(delivery(), desk.folder / "delivery")
    (bag / "index.html").unlink()
    os.mkfifo(bag / "index.html")
    refused(desk.verify(bag), "index.html")


def test_a_malformed_certificate(desk: Desk) -> None:
    forged = sealed(drawn(passing()), who=malformed())
    refused(desk.verify(forged), "a certificate is malformed")
