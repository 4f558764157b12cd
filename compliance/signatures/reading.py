"""The signatures of a PDF, each with its faults, and the faults of the file as a whole."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from typing import Any, BinaryIO

from cryptography import x509 as pyca
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign import fields
from pyhanko.sign.validation import async_validate_pdf_signature
from pyhanko.sign.validation.pdf_embedded import EmbeddedPdfSignature, read_certification_data
from pyhanko.sign.validation.settings import KeyUsageConstraints
from pyhanko.sign.validation.status import PdfSignatureStatus, SignatureCoverageLevel

from compliance.identity import Signer
from compliance.identity.usage import usage_fault
from compliance.loops import apart
from compliance.signatures.container import container_faults
from compliance.signatures.history import later_faults
from compliance.signatures.stamps import Stamp, judged_at, stamp_in
from compliance.signatures.unsound import DAMAGED, in_words
from compliance.signing import COUNTER_FIELD, FACILITY_FIELD, role_in
from compliance.trust import Standing, context, nearest, standing

__all__ = ["Seal", "Signature", "count_signatures", "read_signatures"]

USAGE = KeyUsageConstraints(
    key_usage={"digital_signature", "non_repudiation"}, match_all_key_usages=False
)


@dataclass(frozen=True, slots=True)
class Signature:
    """One signature of a file."""

    field: str
    signer: Signer
    claimed: datetime | None
    """When the signer says it was made."""
    stamp: Stamp | None
    """What a time-stamping authority says about that."""
    reason: str | None
    trusted_as: str | None
    """How it is among the trusted certificates; None if it is not."""
    why_not: str
    """Where there is more to say than that it is not."""
    faults: tuple[str, ...]

    @property
    def role(self) -> str:
        """As whom the signer signed."""
        return "facility" if self.field == FACILITY_FIELD else role_in(self.reason)

    @property
    def moment(self) -> datetime | None:
        """The time at which its certificate is judged: stamped by a trusted authority, or claimed.

        None where neither is there.
        """
        return judged_at(self.claimed, self.stamp)


@dataclass(frozen=True, slots=True)
class Seal:
    """All signatures of a file, in the order in which they were made."""

    signatures: tuple[Signature, ...]
    revisions: int
    faults: tuple[str, ...]
    """Of the file as a whole; those of each signature stand with it."""
    certified: int = 0
    """Length of the file's beginning that the first signature covers."""

    @property
    def all_faults(self) -> tuple[str, ...]:
        """Of the file and of every signature."""
        return self.faults + tuple(
            f"{signature.field}: {fault}"
            for signature in self.signatures
            for fault in signature.faults
        )


def read_signatures(
    data: bytes, trusted: Sequence[Signer] = (), stamping: Sequence[Signer] = ()
) -> Seal:
    """Read and check all signatures of a PDF.

    `trusted` are certificates of signers, taken as they are, or of authorities that may
    have issued a signer's; `stamping` likewise of time-stamping authorities. UnsoundError on
    a file that is damaged or no PDF.
    """
    return in_words(lambda: apart(lambda: _read_all(data, trusted, stamping)), DAMAGED)


def count_signatures(file: BinaryIO) -> int:
    """How many signatures a file carries, whatever they are worth; 0 where it is no PDF."""
    try:
        return len(PdfFileReader(file).embedded_signatures)
    except Exception:
        # The library raises what it likes on a file that is none or is damaged.
        return 0


def _read_all(data: bytes, trusted: Sequence[Signer], stamping: Sequence[Signer]) -> Seal:
    reader = PdfFileReader(BytesIO(data))
    embedded = list(reader.embedded_signatures)
    certified = _covered(embedded[0]) if embedded else 0
    return Seal(
        signatures=tuple(_read(data, each, trusted, stamping) for each in embedded),
        revisions=reader.total_revisions,
        faults=tuple(_file_faults(data[:certified], data, reader, embedded)) if embedded else (),
        certified=certified,
    )


# ---------------------------------------------------------------- the file


def _covered(embedded: EmbeddedPdfSignature) -> int:
    *_, start, length = (int(number) for number in embedded.byte_range)
    return start + length


def _file_faults(
    certified: bytes, data: bytes, reader: PdfFileReader, embedded: list[EmbeddedPdfSignature]
) -> Iterable[str]:
    names = sorted(name for name, _, _ in fields.enumerate_sig_fields(reader))
    if names != sorted((FACILITY_FIELD, COUNTER_FIELD)):
        yield f"signature fields {', '.join(names)}; expected {FACILITY_FIELD}, {COUNTER_FIELD}"
    if embedded[0].field_name != FACILITY_FIELD:
        yield (
            f"signed first in the field {embedded[0].field_name}; expected {FACILITY_FIELD}: "
            "the facility's own signature is gone, or never was"
        )
    if reader.total_revisions != len(embedded) + 1:
        yield (
            f"written {reader.total_revisions} times for {len(embedded)} signature(s); expected "
            f"{len(embedded) + 1}: it was changed without being signed"
        )
    promise = read_certification_data(reader)
    if promise is None or promise.permission != fields.MDPPerm.FILL_FORMS:
        yield "not certified as a file in which only a signature may be added"
    if embedded[-1].evaluate_signature_coverage() != SignatureCoverageLevel.ENTIRE_FILE:
        yield "the last signature does not cover the whole file: something was added after it"
    yield from later_faults(certified, data)


# ---------------------------------------------------------------- one signature


def _read(
    data: bytes,
    embedded: EmbeddedPdfSignature,
    trusted: Sequence[Signer],
    stamping: Sequence[Signer],
) -> Signature:
    """The facts about one signature; its own certificate is taken for trusted at first."""
    own = embedded.signer_cert
    signer = Signer.of(pyca.load_der_x509_certificate(own.dump()))
    claimed = _claimed(embedded)
    stamp = stamp_in(embedded.signer_info, stamping)
    moment = judged_at(claimed, stamp)
    found = Standing(None)
    if moment is not None:
        found = standing(own, embedded.other_embedded_certs, trusted, moment)
    within = context([own], nearest(signer, moment or signer.not_before))
    status = asyncio.run(
        async_validate_pdf_signature(
            embedded,
            signer_validation_context=within,
            ts_validation_context=within,
            key_usage_settings=USAGE,
        )
    )
    return Signature(
        field=embedded.field_name,
        signer=signer,
        claimed=claimed,
        stamp=stamp,
        reason=_text(embedded.sig_object.get("/Reason")),
        trusted_as=found.as_,
        why_not=found.why_not,
        faults=(
            *_status_faults(status),
            *_usage_faults(own.dump()),
            *container_faults(data, embedded),
            *(stamp.faults if stamp is not None else ()),
        ),
    )


def _claimed(embedded: EmbeddedPdfSignature) -> datetime | None:
    for attribute in embedded.signer_info["signed_attrs"]:
        if attribute["type"].native == "signing_time":
            return attribute["values"][0].native  # type: ignore[no-any-return]
    return embedded.self_reported_timestamp


def _status_faults(status: PdfSignatureStatus) -> Iterable[str]:
    if not status.intact:
        yield "the signed bytes were changed"
    if not status.valid:
        yield "the signature was not made with the key of its certificate"
    if status.intact and status.valid and not status.trusted:
        yield f"its certificate cannot sign a document ({status.trust_problem_indic})"
    if status.coverage < SignatureCoverageLevel.ENTIRE_REVISION:
        yield "it covers a part of the file only"
    if not status.docmdp_ok:
        yield "the file was changed after signing in a way that the signature forbids"


def _usage_faults(certificate: bytes) -> Iterable[str]:
    # The library does not look at it where the certificate itself is taken for trusted.
    fault = usage_fault(pyca.load_der_x509_certificate(certificate))
    if fault is not None:
        yield f"its certificate {fault}"


def _text(value: Any) -> str | None:
    return None if value is None else str(value)
