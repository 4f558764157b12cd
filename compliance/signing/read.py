"""Read the signatures of a PDF: coverage, signer, time, and faults.

Libraries accept a new title, new metadata or further entries of the catalog, since an
archive may add them. A certified sheet is finished: none of these may change after it.
Dates of change and the name of the writing program may.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Iterable, Iterator, Sequence, Set
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from io import BytesIO
from typing import Any

from asn1crypto import cms
from cryptography import x509 as pyca
from pyhanko.pdf_utils.generic import parse_pdf_date
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign import fields
from pyhanko.sign.validation import async_validate_pdf_signature
from pyhanko.sign.validation.pdf_embedded import EmbeddedPdfSignature, read_certification_data
from pyhanko.sign.validation.settings import KeyUsageConstraints
from pyhanko.sign.validation.status import PdfSignatureStatus, SignatureCoverageLevel

from compliance.model.signatures import ArchiveStamp, Signature, Signer, judging_time
from compliance.signing.certificates import signer_of, usage_fault
from compliance.signing.cms_checks import (
    DAMAGED,
    container_faults,
    friendly_errors,
    gap_faults,
    token_faults,
)
from compliance.signing.later_revisions import (
    archive_names,
    is_stamp,
    read_store,
    revision_faults,
)
from compliance.signing.pdf_file import PdfFile, read_file
from compliance.signing.pyhanko_key import run_outside_event_loop
from compliance.signing.revocation import Material, material_of
from compliance.signing.sign import COUNTER_FIELD, FACILITY_FIELD, role_in
from compliance.signing.timestamps import CLOCKS_APART, digest_of, embedded_timestamp, read_stamp
from compliance.signing.trust import Proof, Standing, clamp_to_validity, context, trust_of

FREE_INFO = frozenset({"/ModDate", "/Producer"})
FREE_METADATA = frozenset({"ModifyDate", "MetadataDate", "Producer"})
FREE_CATALOG = frozenset({"/Version", "/Extensions"})
"""The entries of information dictionary, metadata and catalog that any program may set."""


def later_faults(certified: bytes, data: bytes, *, stamped: bool = False) -> Iterator[str]:
    """Yield what differs in `data` from its beginning, which the first signature covers.

    `stamped`: it has archive stamps, whose revisions are checked separately.
    """
    if len(certified) == len(data):
        return
    before, after = PdfFileReader(BytesIO(certified)), PdfFileReader(BytesIO(data))
    yield from _catalog(before.root, after.root, FREE_CATALOG | ({"/DSS"} if stamped else set()))
    yield from _information(before.trailer, after.trailer)
    yield from _metadata(before.root, after.root)


def _catalog(before: Any, after: Any, free: Set[str]) -> Iterable[str]:
    if new := sorted(set(after) - set(before) - free):
        yield f"{', '.join(new)} was added to the file's catalog since it was certified"
    if gone := sorted(set(before) - set(after)):
        yield f"{', '.join(gone)} was removed from the file's catalog since it was certified"


def _information(before: Any, after: Any) -> Iterable[str]:
    """(ISO 32000-1, 14.3.3)"""
    first, last = (_entries(_at(each, "/Info") or {}) for each in (before, after))
    for key in sorted((first.keys() | last.keys()) - FREE_INFO):
        if first.get(key) != last.get(key):
            yield f"the file's {key[1:].lower()} was changed since it was certified"


def _entries(information: Any) -> dict[str, str]:
    return {str(key): str(information[key]) for key in information}


def _metadata(before: Any, after: Any) -> Iterable[str]:
    """(ISO 32000-1, 14.3.2)"""
    first, last = (_at(each, "/Metadata") for each in (before, after))
    if first is None or last is None:
        if first is not last:
            yield "the file's metadata were added or removed since it was certified"
    elif first.data != last.data and _statements(first.data) != (_statements(last.data) or ()):
        yield "the file's metadata were changed since it was certified"


def _at(container: Any, key: str) -> Any:
    # The library's own `get` returns a reference; indexing follows it.
    return container[key] if key in container else None  # noqa: SIM401


def _statements(packet: bytes) -> list[dict[Any, Any]] | None:
    """Return the statements of an XMP packet, by part, without those that may change.

    None if it is not XMP. Two packets that are not XMP count as different, as their bytes are.
    """
    from pyhanko.pdf_utils.metadata.xmp_xml import XmpXmlProcessingError, parse_xmp

    try:
        parts = parse_xmp(BytesIO(packet))
    except (XmpXmlProcessingError, ValueError):
        return None
    return [
        {name: value for name, value in part if name.local_name not in FREE_METADATA}
        for part in parts
    ]


FURTHEST_ZONE = timedelta(hours=14)
"""How far a time without a zone may be from UTC."""
USAGE = KeyUsageConstraints(
    key_usage={"digital_signature", "non_repudiation"}, match_all_key_usages=False
)


@dataclass(frozen=True, slots=True)
class PdfSignatures:
    """All signatures of a file, in the order of signing."""

    signatures: tuple[Signature, ...]
    revisions: int
    faults: tuple[str, ...]
    """Faults of the file as a whole; each signature has its own."""
    certified: int = 0
    """Length of the file's beginning that the first signature covers."""
    stamps: tuple[ArchiveStamp, ...] = ()
    """In the order in which they were added, between or after the signatures."""
    file: PdfFile | None = field(default=None, compare=False, repr=False)
    """The objects of the file, if it has signatures."""

    @property
    def all_faults(self) -> tuple[str, ...]:
        """The faults of the file, of every signature and of every archive stamp."""
        signed = [(each.field, each.faults) for each in self.signatures]
        stamped = [(each.field, each.stamp.faults) for each in self.stamps]
        return self.faults + tuple(
            f"{field}: {fault}" for field, faults in signed + stamped for fault in faults
        )


def read_signatures(
    data: bytes,
    trusted: Sequence[Signer] = (),
    stamping: Sequence[Signer] = (),
    clients: Sequence[Signer] | None = None,
    lists: Sequence[bytes] = (),
) -> PdfSignatures:
    """Read and check all signatures of a PDF.

    `trusted` are certificates of signers, taken as they are, or of authorities that may
    have issued a signer's; `stamping` likewise of time-stamping authorities, and `clients` of
    those who countersign (default: as `trusted`). `lists` are further revocation lists (DER).
    UnsoundError if the file is damaged or not a PDF.
    """
    return friendly_errors(
        lambda: run_outside_event_loop(lambda: _read_all(data, trusted, stamping, clients, lists)),
        DAMAGED,
    )


RANGE = re.compile(rb"/ByteRange\s*\[")


def count_signatures(data: bytes) -> int:
    """Count the signatures of a PDF, valid or not; 0 if it is none.

    Each has its range of bytes, which cannot be coded (ISO 32000-1, 12.8.1); nothing is opened.
    """
    return len(RANGE.findall(data)) if b"%PDF-" in data[:1024] else 0


def _read_all(
    data: bytes,
    trusted: Sequence[Signer],
    stamping: Sequence[Signer],
    clients: Sequence[Signer] | None,
    lists: Sequence[bytes],
) -> PdfSignatures:
    file = read_file(data)
    reader = PdfFileReader(BytesIO(data))
    embedded = list(reader.embedded_signatures)
    signed = [each for each in embedded if not is_stamp(each)]
    if not signed:
        return PdfSignatures((), reader.total_revisions, ())
    certified = _covered(signed[0])
    faults = tuple(_file_faults(data[:certified], data, reader, embedded))
    material = material_of({"/CRLs": lists})
    if not faults:
        material += material_of(read_store(reader))
    stamps = _archive_stamps(data, embedded, stamping, material)
    return PdfSignatures(
        signatures=tuple(
            _read(
                data,
                each,
                _trusted_for(each, trusted, clients),
                stamping,
                Proof(material, _proven(each, stamps)),
            )
            for each in signed
        ),
        revisions=reader.total_revisions,
        faults=faults,
        certified=certified,
        stamps=tuple(stamp for _, stamp in stamps),
        file=file,
    )


Stamps = list[tuple[int, ArchiveStamp]]
"""Archive stamps with their revisions, in order."""


def _proven(embedded: EmbeddedPdfSignature, stamps: Stamps) -> datetime | None:
    """Return the time by which a signature existed, as the trusted stamps after it prove."""
    later = [each.stamp for at, each in stamps if at > embedded.signed_revision]
    return min((each.time for each in later if each.trusted_as is not None), default=None)


def _archive_stamps(
    data: bytes,
    embedded: Sequence[EmbeddedPdfSignature],
    stamping: Sequence[Signer],
    material: Material,
) -> Stamps:
    """Read the archive stamps, the last first: each proves when those before it existed."""
    found: Stamps = []
    for each in reversed(embedded):
        if is_stamp(each):
            proof = Proof(material, _proven(each, found))
            stamp = read_stamp(
                cms.ContentInfo.load(each.pkcs7_content),
                digest_of(_signed_bytes(data, each)),
                stamping,
                proof,
            )
            faults = (*stamp.faults, *_stamp_faults(data, each))
            covers = sum(
                not is_stamp(other) and other.signed_revision < each.signed_revision
                for other in embedded
            )
            archive = ArchiveStamp(each.field_name, replace(stamp, faults=faults), covers)
            found.insert(0, (each.signed_revision, archive))
    return found


def _signed_bytes(data: bytes, embedded: EmbeddedPdfSignature) -> bytes:
    start, length, after, rest = (int(number) for number in embedded.byte_range)
    return data[start : start + length] + data[after : after + rest]


def _stamp_faults(data: bytes, embedded: EmbeddedPdfSignature) -> Iterable[str]:
    yield from gap_faults(data, embedded)
    yield from token_faults(cms.ContentInfo.load(embedded.pkcs7_content))
    if embedded.evaluate_signature_coverage() < SignatureCoverageLevel.ENTIRE_REVISION:
        yield "it covers only a part of the file"


# ---------------------------------------------------------------- the file


def _covered(embedded: EmbeddedPdfSignature) -> int:
    *_, start, length = (int(number) for number in embedded.byte_range)
    return start + length


def _file_faults(
    certified: bytes, data: bytes, reader: PdfFileReader, embedded: list[EmbeddedPdfSignature]
) -> Iterable[str]:
    names = sorted(name for name, _, _ in fields.enumerate_sig_fields(reader))
    stamps = archive_names(sum(map(is_stamp, embedded)))
    if names != sorted((FACILITY_FIELD, COUNTER_FIELD, *stamps)):
        expected = ", ".join((FACILITY_FIELD, COUNTER_FIELD, *stamps))
        yield f"signature fields {', '.join(names)}; expected {expected}"
    if embedded[0].field_name != FACILITY_FIELD:
        yield (
            f"the first signature is in the field {embedded[0].field_name}; expected "
            f"{FACILITY_FIELD}: the facility's own signature is missing"
        )
    if reader.total_revisions != len(embedded) + 1:
        yield (
            f"has {reader.total_revisions} revisions for {len(embedded)} signature(s); expected "
            f"{len(embedded) + 1}: it was changed without being signed"
        )
    yield from revision_faults(reader, embedded)
    promise = read_certification_data(reader)
    if promise is None or promise.permission != fields.MDPPerm.FILL_FORMS:
        yield "not certified as a file to which only a signature may be added"
    if embedded[-1].evaluate_signature_coverage() != SignatureCoverageLevel.ENTIRE_FILE:
        yield "the last signature does not cover the whole file: data was added after it"
    yield from later_faults(certified, data, stamped=bool(stamps))


# ---------------------------------------------------------------- one signature


def _trusted_for(
    embedded: EmbeddedPdfSignature, trusted: Sequence[Signer], clients: Sequence[Signer] | None
) -> Sequence[Signer]:
    """Return who is trusted to sign in this field."""
    return trusted if clients is None or embedded.field_name == FACILITY_FIELD else clients


def _read(
    data: bytes,
    embedded: EmbeddedPdfSignature,
    trusted: Sequence[Signer],
    stamping: Sequence[Signer],
    archived: Proof,
) -> Signature:
    """Read the facts about one signature; its own certificate counts as trusted at first."""
    own = embedded.signer_cert
    signer = signer_of(pyca.load_der_x509_certificate(own.dump()))
    claimed = _claimed(embedded)
    stamp = embedded_timestamp(embedded.signer_info, stamping, archived)
    moment = judging_time(claimed, stamp)
    found = Standing(None)
    if moment is not None:
        stamped = stamp is not None and stamp.trusted_as is not None
        proof = Proof(archived.material, moment) if stamped else archived
        found = trust_of(own, embedded.other_embedded_certs, trusted, moment, proof=proof)
    within = context([own], clamp_to_validity(signer, moment or signer.not_before))
    status = asyncio.run(
        async_validate_pdf_signature(
            embedded,
            signer_validation_context=within,
            ts_validation_context=within,
            key_usage_settings=USAGE,
        )
    )
    field, reason = embedded.field_name, _text(embedded.sig_object.get("/Reason"))
    return Signature(
        field=field,
        role="facility" if field == FACILITY_FIELD else role_in(reason),
        signer=signer,
        claimed=claimed,
        stamp=stamp,
        reason=reason,
        trusted_as=found.as_,
        why_not=found.why_not,
        faults=(
            *_status_faults(status),
            *_usage_faults(own.dump()),
            *container_faults(data, embedded),
            *_time_faults(embedded, claimed),
            *(stamp.faults if stamp is not None else ()),
        ),
        revocation=found.revocation,
    )


def _claimed(embedded: EmbeddedPdfSignature) -> datetime | None:
    for attribute in embedded.signer_info["signed_attrs"]:
        if attribute["type"].native == "signing_time":
            return attribute["values"][0].native  # type: ignore[no-any-return]
    return embedded.self_reported_timestamp


def _time_faults(embedded: EmbeddedPdfSignature, claimed: datetime | None) -> Iterable[str]:
    """Yield a second time beside the one claimed: viewers differ in which of them they show."""
    stated = _text(embedded.sig_object.get("/M"))
    if not stated or not claimed:
        return
    other, apart = parse_pdf_date(stated), CLOCKS_APART
    if other.tzinfo is None:
        other, apart = other.replace(tzinfo=UTC), FURTHEST_ZONE
    if abs(other - claimed) > apart:
        yield f"it states two times of signing, {claimed:%Y-%m-%d %H:%M} and {other:%Y-%m-%d %H:%M}"


def _status_faults(status: PdfSignatureStatus) -> Iterable[str]:
    if not status.intact:
        yield "the signed bytes were changed"
    if not status.valid:
        yield "the signature was not made with the key of its certificate"
    if status.intact and status.valid and not status.trusted:
        yield f"its certificate cannot sign a document ({status.trust_problem_indic})"
    if status.coverage < SignatureCoverageLevel.ENTIRE_REVISION:
        yield "it covers only a part of the file"
    if not status.docmdp_ok:
        yield "the file was changed after signing in a way that the signature forbids"


def _usage_faults(certificate: bytes) -> Iterable[str]:
    # The library does not check the usage of a certificate that is itself trusted.
    fault = usage_fault(pyca.load_der_x509_certificate(certificate))
    if fault is not None:
        yield f"its certificate {fault}"


def _text(value: Any) -> str | None:
    return None if value is None else str(value)
