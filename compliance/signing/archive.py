"""Add an archive stamp to a signed file: revocation data and a document time stamp (B-LTA).

What is needed to judge the signatures goes to the document security store (ETSI EN 319 142-1,
5.4.2); a time stamp of the whole file (5.4.3) proves that all of it existed then.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from datetime import datetime
from io import BytesIO
from typing import TYPE_CHECKING, Any

from asn1crypto import cms
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.signers import PdfTimeStamper
from pyhanko.sign.validation.dss import DocumentSecurityStore

from compliance.errors import RevocationError
from compliance.signing.cms_checks import STAMP
from compliance.signing.collect import Chain, collect
from compliance.signing.later_revisions import (
    ARCHIVE_FIELD,
    ARCHIVE_LABEL,
    LARGEST_STORE,
    is_stamp,
    read_store,
)
from compliance.signing.pyhanko_key import run_outside_event_loop
from compliance.signing.revocation import Material, material_of
from compliance.signing.sign import KeepingWriter
from compliance.signing.timestamps import stamp_certificates

if TYPE_CHECKING:
    from compliance.signing.fetch import Fetcher
    from compliance.signing.timestamps import Stamper


def archive(pdf: bytes, *, when: datetime, stamper: Stamper, fetcher: Fetcher) -> bytes:
    """Add what is needed to judge the signatures of a PDF later, and a time stamp of it all.

    `when` is the (aware) time now. The result begins with `pdf`, whose signatures the caller has
    to check. Raises RevocationError if a certificate is revoked or nothing tells whether it is,
    TimestampError if there is no time stamp.
    """
    reader = PdfFileReader(BytesIO(pdf))
    chains = [*_chains(reader, when), run_outside_event_loop(lambda: _next(stamper, when))]
    known = material_of(read_store(reader))
    found = collect(chains, fetcher, known)
    if (known + found).size > LARGEST_STORE:
        raise RevocationError(
            f"certificates and revocation lists have more than {LARGEST_STORE >> 20} MiB in all; "
            "a sheet cannot carry them"
        )
    return add_archive_stamp(pdf, found, stamper)


def add_archive_stamp(pdf: bytes, material: Material, stamper: Stamper) -> bytes:
    """Add revocation data and a time stamp to a signed PDF, which is kept byte for byte.

    Raises TimestampError if there is no time stamp.
    """
    count = len(list(PdfFileReader(BytesIO(pdf)).embedded_timestamp_signatures))
    writer = KeepingWriter(BytesIO(pdf))
    if not material.is_empty:
        DocumentSecurityStore.supply_dss_in_writer(
            writer,
            None,
            certs=material.certificates,
            crls=material.lists,
            ocsps=material.answers,
        )
    by = PdfTimeStamper(
        stamper, field_name=f"{ARCHIVE_FIELD}{count + 1}", readable_field_name=ARCHIVE_LABEL
    )
    stamped: BytesIO = run_outside_event_loop(lambda: by.timestamp_pdf(writer, "sha256"))
    return stamped.getvalue()


# ---------------------------------------------------------------- whose certificates


def _chains(reader: PdfFileReader, when: datetime) -> Iterator[Chain]:
    """Yield the chains of all signatures and stamps; a stamp is to be judged up to now."""
    for each in reader.embedded_signatures:
        if is_stamp(each):
            yield _of_stamp(cms.ContentInfo.load(each.pkcs7_content), when)
            continue
        tokens = [
            attribute["values"][0]
            for attribute in each.signer_info["unsigned_attrs"]
            if attribute["type"].native == STAMP
        ]
        made = _time(tokens[0]) if tokens else each.self_reported_timestamp or when
        yield Chain(each.signer_cert, tuple(each.other_embedded_certs), made, made)
        for token in tokens:
            yield _of_stamp(token, when)


def _next(stamper: Stamper, when: datetime) -> Chain:
    """Return the chain of the stamp that the server is about to give."""
    token = asyncio.run(stamper.async_dummy_response("sha256"))
    return _of_stamp(token, when)


def _of_stamp(token: Any, when: datetime) -> Chain:
    own, others = stamp_certificates(token["content"])
    made = _time(token)
    return Chain(own, tuple(others), made, max(made, when))


def _time(token: Any) -> datetime:
    found: datetime = token["content"]["encap_content_info"]["content"].parsed["gen_time"].native
    return found
