"""Add an archive stamp to a signed file: revocation data and a document time stamp (B-LTA).

What is needed to judge the signatures goes to the document security store (ETSI EN 319 142-1,
5.4.2); a time stamp of the whole file (5.4.3) proves that all of it existed then.
"""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING

from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.signers import PdfTimeStamper
from pyhanko.sign.validation.dss import DocumentSecurityStore

from compliance.signing.later_revisions import ARCHIVE_FIELD, ARCHIVE_LABEL
from compliance.signing.pyhanko_key import run_outside_event_loop
from compliance.signing.sign import KeepingWriter

if TYPE_CHECKING:
    from compliance.signing.revocation import Material
    from compliance.signing.timestamps import Stamper


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
