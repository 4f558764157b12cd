"""Shared by tests of signing and verification: identities, small PDFs, manipulation."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from asn1crypto import keys, x509
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import SigSeedSubFilter
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner, SimpleSigner
from pyhanko_certvalidator.registry import SimpleCertificateStore

from compliance.pictures.pdf_canvas import PdfCanvas
from compliance.pictures.structure import Element, Structure
from compliance.sheet.make_sheet import countersign_sheet, draw_stamp
from compliance.sheet.pdfa import archival
from compliance.signing.keys import Identity, load_identity, new_identity
from compliance.signing.sign import COUNTER_FIELD, Box, sign
from compliance.signing.timestamps import Stamper

MADE = datetime(2026, 11, 20, 8, 0, tzinfo=UTC)
SIGNED = datetime(2026, 11, 20, 16, 0, tzinfo=UTC)
PASSWORD = "correct horse battery"
BOX = Box(0, 40, 40, 240, 100)
COUNTER_BOX = Box(0, 300, 40, 500, 100)

ATTACHED = {"assessment.json": b'{"number": "X"}\n', "readings.csv": b"r,g,b,X,Y,Z\n"}


def organisation(name: str) -> str:
    """The organisation of an invented person: the client's, or else the facility."""
    return "Tidal Pictures" if name == "Cleo Client" else "Low House"


@cache
def identity(name: str = "Ada Quill") -> Identity:
    """An identity by that name; the same one in all tests."""
    data = new_identity(name, organisation(name), "ada@example.org", PASSWORD, MADE)
    return load_identity(data, PASSWORD)


def drawn(text: str = "A sheet", structure: Structure | None = None) -> bytes:
    """A drawn page with that text as its heading."""
    canvas = PdfCanvas(595, 842, created=SIGNED, structure=structure)
    with canvas.tagged(Element("H1", text=text)):
        canvas.text(72, 700, text, size=12)
    canvas.end_page()
    return canvas.finish()


def archived(attached: Mapping[str, bytes] | None = None) -> bytes:
    """A drawn page as PDF/A with these files attached."""
    files = ATTACHED if attached is None else attached
    structure = Structure()
    return archival(
        drawn(structure=structure),
        title="Sheet <1> & more",
        subject="A sheet",
        author="Low House",
        attachments={
            name: (data, "text/csv" if name.endswith(".csv") else "application/json", name)
            for name, data in files.items()
        },
        created=SIGNED,
        structure=structure,
        fields={},
    )


def signed(
    attached: Mapping[str, bytes] | None = None,
    who: Identity | None = None,
    when: datetime = SIGNED,
    stamper: Stamper | None = None,
) -> bytes:
    """The same, signed."""
    who = who or identity()
    return sign(
        archived(attached),
        who,
        when=when,
        box=BOX,
        counter_box=COUNTER_BOX,
        appearance=draw_stamp(who.signer, when, width=200, height=60),
        reason="Assessment X",
        location="Low House",
        stamper=stamper,
    )


def countersigned(
    pdf: bytes,
    who: Identity | None = None,
    when: datetime = SIGNED,
    role: str = "client",
    stamper: Stamper | None = None,
) -> bytes:
    """A signed PDF, countersigned by another."""
    who = who or identity("Cleo Client")
    return countersign_sheet(pdf, identity=who, role=role, when=when, stamper=stamper)


def countersigned_elsewhere(pdf: bytes) -> bytes:
    """Countersigned by another program: the plain signing library, with the clock's time."""
    client = identity("Cleo Client")
    signer = SimpleSigner(
        signing_cert=x509.Certificate.load(client.signer.certificate),
        signing_key=keys.PrivateKeyInfo.load(client.key),
        cert_registry=SimpleCertificateStore(),
    )
    metadata = PdfSignatureMetadata(field_name=COUNTER_FIELD, subfilter=SigSeedSubFilter.PADES)
    out = BytesIO()
    PdfSigner(metadata, signer).sign_pdf(
        IncrementalPdfFileWriter(BytesIO(pdf)), existing_fields_only=True, output=out
    )
    return out.getvalue()


def byte_ranges(pdf: bytes) -> list[tuple[int, int, int, int]]:
    """Start and length of the bytes that each signature covers before and after itself."""
    found = re.finditer(rb"/ByteRange ?\[(\d+) (\d+) (\d+) (\d+)", pdf)
    return [tuple(int(number) for number in each.groups()) for each in found]  # type: ignore[misc]


def container(pdf: bytes) -> bytes:
    """The first signature's CMS object, without the zeros after it."""
    _, length, after, _ = byte_ranges(pdf)[0]
    data = bytes.fromhex(pdf[length + 1 : after - 1].decode())
    size = int.from_bytes(data[2:4], "big") + 4
    assert data[:2] == b"\x30\x82" and not any(data[size:])
    return data[:size]


def tool(name: str) -> str:
    """Path of an outside program; the test is skipped if it is not installed."""
    found = shutil.which(name)
    if found is None:
        pytest.skip(f"{name} is not installed")
    return found


def run(
    arguments: Sequence[str | Path], settings: Mapping[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    """Run an outside program, output in English."""
    return subprocess.run(
        [str(argument) for argument in arguments],
        capture_output=True,
        text=True,
        check=False,
        env={"PATH": "/usr/bin:/bin:/usr/local/bin", "LC_ALL": "C.UTF-8", **(settings or {})},
    )


READ_ALOUD = {
    *(
        f"XMP namespace {prefix}=http://www.aiim.org/pdfa/ns/{rest} is not permitted"
        for prefix, rest in (
            ("pdfaExtension", "extension/"),
            ("pdfaProperty", "property#"),
            ("pdfaSchema", "schema#"),
        )
    ),
    "XMP property pdfuaid:part is not permitted",
    "XMP property pdfaExtension:schemas is not permitted",
    "pdfaid:conformance is 'A', expected 'B'",
}
"""What pikepdf's validator, which knows only level B, finds in a file that can be read aloud."""


def findings_of_level_b(path: Path) -> list[Any]:
    """Findings of pikepdf's validator of PDF/A-3b, except those, which must be there."""
    pdfa = pytest.importorskip("pikepdf.pdfa")
    found = list(pdfa.validate_written(path, "3b").findings)
    assert {each.message for each in found} >= READ_ALOUD
    return [each for each in found if each.message not in READ_ALOUD]
