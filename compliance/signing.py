"""Sign a PDF: a PAdES baseline certification that allows a countersignature only.

Bytes in, signed bytes out; knows nothing of colour or of sheets. Two fields are
made: one that the facility signs now, and an empty one for its client. The file
stays PDF 1.7 (ISO 32000-1), as PDF/A-3 asks.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import Any

from asn1crypto import keys, x509
from pyhanko.pdf_utils.content import ImportedPdfPage
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.layout import (
    AxisAlignment,
    InnerScaling,
    Margins,
    SimpleBoxLayoutRule,
)
from pyhanko.sign import fields
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner, SimpleSigner, constants
from pyhanko.stamp.static import StaticStampStyle
from pyhanko_certvalidator.registry import SimpleCertificateStore

from compliance.errors import IdentityError
from compliance.identity import Identity, load_identity, new_identity

__all__ = [
    "COUNTER_FIELD",
    "FACILITY_FIELD",
    "Box",
    "Identity",
    "countersign",
    "load_identity",
    "new_identity",
    "sign",
]

FACILITY_FIELD = "FacilitySignature"
COUNTER_FIELD = "Countersignature"


@dataclass(frozen=True, slots=True)
class Box:
    """Where a signature shows."""

    page: int
    """Counted from 0."""
    x0: float
    y0: float
    x1: float
    y1: float
    """PDF points from the lower left corner of the page."""

    @property
    def corners(self) -> tuple[int, int, int, int]:
        """Rounded to whole points, as the field's rectangle has them."""
        return round(self.x0), round(self.y0), round(self.x1), round(self.y1)


def sign(
    pdf: bytes,
    identity: Identity,
    *,
    when: datetime,
    box: Box,
    counter_box: Box,
    appearance: bytes,
    reason: str,
    location: str | None = None,
) -> bytes:
    """Certify a PDF and leave an empty field for a countersignature.

    `when` (aware) is the time that the signer claims. `appearance` is a one-page PDF of
    the size of `box`, all fonts embedded, that the box shows. The result begins with
    `pdf`, byte for byte. Raises IdentityError if the certificate is not valid at `when`.
    """
    writer = IncrementalPdfFileWriter(BytesIO(pdf))
    for name, place, told in (
        (FACILITY_FIELD, box, "Signature of the facility"),
        (COUNTER_FIELD, counter_box, "Countersignature of the client"),
    ):
        specification = fields.SigFieldSpec(
            name, on_page=place.page, box=place.corners, readable_field_name=told
        )
        fields.append_signature_field(writer, specification)
    metadata = PdfSignatureMetadata(
        field_name=FACILITY_FIELD,
        md_algorithm="sha256",
        subfilter=fields.SigSeedSubFilter.PADES,
        certify=True,
        docmdp_permissions=fields.MDPPerm.FILL_FORMS,
        reason=reason,
        location=location,
    )
    return _write(writer, identity, metadata, appearance, when)


def countersign(
    pdf: bytes, identity: Identity, *, when: datetime, appearance: bytes, reason: str
) -> bytes:
    """Sign the empty field of a certified PDF; the same terms as `sign`."""
    metadata = PdfSignatureMetadata(
        field_name=COUNTER_FIELD,
        md_algorithm="sha256",
        subfilter=fields.SigSeedSubFilter.PADES,
        reason=reason,
    )
    return _write(IncrementalPdfFileWriter(BytesIO(pdf)), identity, metadata, appearance, when)


class _Signer(PdfSigner):
    """Signs at a given time and keeps the file at PDF 1.7.

    The library reads the clock, and for elliptic curves it writes /Version /2.0, which
    PDF/A-3 does not allow.
    """

    def __init__(self, *arguments: Any, when: datetime, **named: Any) -> None:
        super().__init__(*arguments, **named)
        self._when = when

    def init_signing_session(self, *arguments: Any, **named: Any) -> Any:
        session = super().init_signing_session(*arguments, **named)
        session.system_time = self._when
        return session

    def register_extensions(self, pdf_out: Any, *, md_algorithm: str) -> None:
        pdf_out.ensure_output_version((1, 7))
        pdf_out.register_extension(constants.ESIC_EXTENSION_1)


def _write(
    writer: IncrementalPdfFileWriter,
    identity: Identity,
    metadata: PdfSignatureMetadata,
    appearance: bytes,
    when: datetime,
) -> bytes:
    moment = when.astimezone(UTC).replace(microsecond=0)
    _check_validity(identity, moment)
    with tempfile.TemporaryDirectory() as folder:
        # The library imports a page from a named file only, and only while it signs.
        drawn = Path(folder, "appearance.pdf")
        drawn.write_bytes(appearance)
        signer = _Signer(
            metadata, _key_holder(identity), stamp_style=_shown_as_drawn(drawn), when=moment
        )
        signed: BytesIO = signer.sign_pdf(writer, existing_fields_only=True)
    return signed.getvalue()


def _check_validity(identity: Identity, moment: datetime) -> None:
    signer = identity.signer
    if not signer.valid_at(moment):
        state = "is not yet valid" if moment < signer.not_before else "has expired"
        raise IdentityError(
            f"the certificate of {signer.name} {state} on {moment:%Y-%m-%d}: valid from "
            f"{signer.not_before:%Y-%m-%d %H:%M} to {signer.not_after:%Y-%m-%d %H:%M} UTC; "
            f"sign with another identity, or make one: compliance identity new"
        )


def _key_holder(identity: Identity) -> SimpleSigner:
    # The signing certificate stays out of the registry, or it would be embedded twice.
    others = SimpleCertificateStore()  # type: ignore[no-untyped-call]
    others.register_multiple([x509.Certificate.load(der) for der in identity.chain])
    return SimpleSigner(
        signing_cert=x509.Certificate.load(identity.signer.certificate),
        signing_key=keys.PrivateKeyInfo.load(identity.key),
        cert_registry=others,
    )


def _shown_as_drawn(page: Path) -> StaticStampStyle:
    return StaticStampStyle(
        background=ImportedPdfPage(str(page)),  # type: ignore[no-untyped-call]
        border_width=0,
        background_opacity=1.0,
        background_layout=SimpleBoxLayoutRule(
            AxisAlignment.ALIGN_MIN,
            AxisAlignment.ALIGN_MIN,
            Margins.uniform(0),  # type: ignore[no-untyped-call]
            InnerScaling.NO_SCALING,
        ),
    )
