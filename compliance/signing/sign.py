"""Sign a PDF: a PAdES baseline certification that allows only a countersignature.

Takes the bytes of any PDF and returns signed bytes. They have two fields, which are added unless
they are there: one that the facility signs now, and an empty one for its client. The file stays
PDF 1.7 (ISO 32000-1), as PDF/A-3 requires.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from typing import TYPE_CHECKING, Any

from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign import fields
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner, constants
from pyhanko.sign.signers.pdf_byterange import BuildProps

from compliance.signing.appearance import BOX_DRAWN_BY, PROGRAM, shown_as_drawn
from compliance.signing.keys import Identity
from compliance.signing.pyhanko_key import PyHankoKey, run_outside_event_loop
from compliance.signing.timestamps import sign_with_timestamp

if TYPE_CHECKING:
    from compliance.signing.timestamps import Stamper


FACILITY_FIELD = "FacilitySignature"
COUNTER_FIELD = "Countersignature"
LABELS = {
    FACILITY_FIELD: "Signature of the facility",
    COUNTER_FIELD: "Countersignature of the client",
}
"""What readers call the fields."""

AS = "Countersigned as "
"""The beginning of a countersignature's reason; the signer's role follows."""


def role_reason(role: str) -> str:
    """Return the reason that a countersignature states."""
    return AS + role


def role_in(reason: str | None) -> str:
    """Return the role that a countersignature states; `countersigner` if it states none."""
    stated = (reason or "").removeprefix(AS)
    return stated if reason != stated and stated else "countersigner"


@dataclass(frozen=True, slots=True)
class Box:
    """The place of a visible signature."""

    page: int
    """Counted from 0."""
    x0: float
    y0: float
    x1: float
    y1: float
    """PDF points from the lower left corner of the page."""

    @property
    def corners(self) -> tuple[int, int, int, int]:
        """The corners rounded to whole points, as in the field's rectangle."""
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
    stamper: Stamper | None = None,
) -> bytes:
    """Certify a PDF and leave an empty field for a countersignature.

    `when` (aware) is the time that the signer claims; `stamper` adds the time stamp of an
    authority (PAdES B-T). `appearance` is a one-page PDF of the size of `box`, all
    fonts embedded, that the box shows. The result begins with `pdf`, byte for byte. Raises
    IdentityError if the certificate is not valid at `when`, TimestampError if there is no
    time stamp and it is not optional.
    """
    metadata = PdfSignatureMetadata(
        field_name=FACILITY_FIELD,
        md_algorithm="sha256",
        subfilter=fields.SigSeedSubFilter.PADES,
        certify=True,
        docmdp_permissions=fields.MDPPerm.FILL_FORMS,
        reason=reason,
        location=location,
        app_build_props=DRAWN_BY,
    )

    def begin() -> IncrementalPdfFileWriter:
        writer = KeepingWriter(BytesIO(pdf))
        known = {name for name, *_ in fields.enumerate_sig_fields(writer)}
        for name, place in ((FACILITY_FIELD, box), (COUNTER_FIELD, counter_box)):
            if name in known:
                continue
            specification = fields.SigFieldSpec(
                name, on_page=place.page, box=place.corners, readable_field_name=LABELS[name]
            )
            fields.append_signature_field(writer, specification)
        return writer

    def make(moment: datetime, by: Stamper | None) -> bytes:
        return _write(begin(), identity, metadata, appearance, moment, by)

    return sign_with_timestamp(make, identity, when, stamper)


def countersign(
    pdf: bytes,
    identity: Identity,
    *,
    when: datetime,
    appearance: bytes,
    reason: str,
    stamper: Stamper | None = None,
) -> bytes:
    """Sign the empty field of a certified PDF; arguments and errors as for `sign`."""
    metadata = PdfSignatureMetadata(
        field_name=COUNTER_FIELD,
        md_algorithm="sha256",
        subfilter=fields.SigSeedSubFilter.PADES,
        reason=reason,
        app_build_props=DRAWN_BY,
    )

    def make(moment: datetime, by: Stamper | None) -> bytes:
        return _write(KeepingWriter(BytesIO(pdf)), identity, metadata, appearance, moment, by)

    return sign_with_timestamp(make, identity, when, stamper)


def field_size(pdf: bytes, name: str) -> tuple[int, int]:
    """Return width and height of a field's box, in points; KeyError if there is no such field."""
    reader = IncrementalPdfFileWriter(BytesIO(pdf))
    for field, _, reference in fields.enumerate_sig_fields(reader):
        if field == name:
            x0, y0, x1, y1 = (float(each) for each in reference.get_object()["/Rect"])
            return round(abs(x1 - x0)), round(abs(y1 - y0))
    raise KeyError(name)


class KeepingWriter(IncrementalPdfFileWriter):
    """A writer that leaves title, metadata and their dates as they are.

    The library would write the clock's time there, but only a signature may be added to a
    finished sheet.
    """

    def _update_meta(self) -> None:
        return


class _Signer(PdfSigner):
    """A signer at a given time that keeps the file at PDF 1.7.

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
    moment: datetime,
    stamper: Stamper | None,
) -> bytes:
    signer = _Signer(
        metadata,
        PyHankoKey(identity),
        stamp_style=shown_as_drawn(appearance),
        timestamper=stamper,
        when=moment,
    )
    signed: BytesIO = run_outside_event_loop(
        lambda: signer.sign_pdf(writer, existing_fields_only=True)
    )
    return signed.getvalue()


DRAWN_BY = BuildProps(PROGRAM, revision=BOX_DRAWN_BY)
