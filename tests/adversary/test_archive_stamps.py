"""Changes that ride along with what may follow a signature: an archive stamp, a countersignature.

| attack | line that refuses it |
|---|---|
| a change before, after or between archive stamps | changed after it was signed |
| a change in the very update of an archive stamp or a countersignature | fail file intact |
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from io import BytesIO
from unittest.mock import patch

import pytest
from adversary.forging import HOUR, Desk, failing_sheet, refused, words
from asn1crypto import keys, x509
from helpers.authorities import Within, clock
from helpers.signing import SIGNED, identity
from helpers.tampering import new_annotation, new_attachment, new_text, new_title, updated
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import SigSeedSubFilter
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner, SimpleSigner
from pyhanko_certvalidator.registry import SimpleCertificateStore

from compliance.signing.archive import KeepingWriter, add_archive_stamp
from compliance.signing.collect import Material
from compliance.signing.sign import COUNTER_FIELD

LATER = SIGNED + HOUR
CHANGED = "fail file intact: changed after it was signed, or not a compliance sheet"
Update = Callable[[IncrementalPdfFileWriter], None]
UPDATES: Mapping[str, Update] = {
    "text": new_text,
    "annotation": new_annotation,
    "attachment": new_attachment,
    "title": new_title,
}


def stamped(pdf: bytes) -> bytes:
    return add_archive_stamp(pdf, Material(), Within(LATER))


@cache
def archived() -> bytes:
    return stamped(failing_sheet())


def test_control(desk: Desk) -> None:
    (desk.folder / "clock.pem").write_bytes(clock().root.pem)
    found = desk.verify(archived())
    assert found.returncode == 0
    assert "only a time stamp and revocation data were added" in words(found)


ORDERS: Mapping[str, Callable[[Update], bytes]] = {
    "before": lambda change: stamped(updated(failing_sheet(), change)),
    "after": lambda change: updated(archived(), change),
    "between": lambda change: stamped(updated(archived(), change)),
}


@pytest.mark.parametrize("order", ORDERS)
def test_a_change_beside_an_archive_stamp(desk: Desk, order: str) -> None:
    refused(desk.verify(ORDERS[order](new_text)), CHANGED)


def stamped_with(change: Update) -> bytes:
    """An archive stamp with a change in the same update."""

    class Smuggler(KeepingWriter):
        def __init__(self, *given: object, **named: object) -> None:
            super().__init__(*given, **named)
            change(self)

    with patch("compliance.signing.archive.KeepingWriter", Smuggler):
        return stamped(failing_sheet())


def countersigned_with(change: Update) -> bytes:
    """A countersignature by another program, with a change in the same update."""
    client = identity("Cleo Client")
    signer = SimpleSigner(
        signing_cert=x509.Certificate.load(client.signer.certificate),
        signing_key=keys.PrivateKeyInfo.load(client.key),
        cert_registry=SimpleCertificateStore(),
    )
    metadata = PdfSignatureMetadata(field_name=COUNTER_FIELD, subfilter=SigSeedSubFilter.PADES)
    writer = IncrementalPdfFileWriter(BytesIO(failing_sheet()))
    change(writer)
    out = BytesIO()
    PdfSigner(metadata, signer).sign_pdf(writer, existing_fields_only=True, output=out)
    return out.getvalue()


@pytest.mark.parametrize("program", [stamped_with, countersigned_with])
def test_control_of_another_program(desk: Desk, program: Callable[[Update], bytes]) -> None:
    """Without the change its update is one that may follow."""
    assert "1 ok file intact:" in words(desk.verify(program(lambda _: None)))


@pytest.mark.parametrize("what", UPDATES)
def test_a_change_in_the_update_of_an_archive_stamp(desk: Desk, what: str) -> None:
    refused(desk.verify(stamped_with(UPDATES[what])), "fail file intact:")


@pytest.mark.parametrize("what", UPDATES)
def test_a_change_in_the_update_of_a_countersignature(desk: Desk, what: str) -> None:
    refused(desk.verify(countersigned_with(UPDATES[what])), "fail file intact:")
