"""Read the signatures of a PDF: what they cover, who made them, when, and their faults.

Stricter than a plain validation, which lets pass bytes after the end of the file,
rewritten metadata, and whatever of the signature container is not signed itself.
A fault is a sentence; no faults means that the file is as it was when signed last,
and that nothing but the expected signatures came after the first.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from typing import Any

from asn1crypto import cms, x509
from cryptography import x509 as pyca
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign import fields
from pyhanko.sign.diff_analysis import SuspiciousModification
from pyhanko.sign.validation import async_validate_pdf_signature
from pyhanko.sign.validation.pdf_embedded import EmbeddedPdfSignature, read_certification_data
from pyhanko.sign.validation.settings import KeyUsageConstraints
from pyhanko.sign.validation.status import PdfSignatureStatus, SignatureCoverageLevel
from pyhanko_certvalidator import CertificateValidator, ValidationContext
from pyhanko_certvalidator.errors import PathError, ValidationError

from compliance.identity import Signer
from compliance.signing import COUNTER_FIELD, FACILITY_FIELD

__all__ = ["Seal", "Signature", "read_attachments", "read_signatures"]

MOST_NODES = 100
"""Of the tree that names the attachments; ours has one."""
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
    stamped: datetime | None
    """When a time-stamping authority saw it."""
    stamp_trusted: bool
    reason: str | None
    trusted_as: str | None
    """How it is among the trusted certificates; None if it is not."""
    faults: tuple[str, ...]

    @property
    def moment(self) -> datetime | None:
        """The stamped time, or else the claimed one."""
        return self.stamped or self.claimed


@dataclass(frozen=True, slots=True)
class Seal:
    """All signatures of a file, in the order in which they were made."""

    signatures: tuple[Signature, ...]
    revisions: int
    faults: tuple[str, ...]
    """Of the file as a whole; those of each signature stand with it."""

    @property
    def all_faults(self) -> tuple[str, ...]:
        """Of the file and of every signature."""
        return self.faults + tuple(
            f"{signature.field}: {fault}"
            for signature in self.signatures
            for fault in signature.faults
        )


def read_signatures(data: bytes, trusted: Sequence[Signer] = ()) -> Seal:
    """Read and check all signatures of a PDF.

    `trusted` are certificates of signers, taken as they are, or of authorities that may
    have issued a signer's. May raise any exception on a damaged file: for the caller each
    of them means that the file is not intact.
    """
    reader = PdfFileReader(BytesIO(data))
    embedded = list(reader.embedded_signatures)
    signatures = tuple(_read(data, signature, trusted) for signature in embedded)
    return Seal(
        signatures=signatures,
        revisions=reader.total_revisions,
        faults=tuple(_file_faults(reader, embedded)) if embedded else (),
    )


def read_attachments(data: bytes, *, largest: int) -> dict[str, bytes]:
    """The files attached to a PDF, by name; each of at most `largest` bytes.

    May raise any exception on a damaged file, as `read_signatures` does.
    """
    reader = PdfFileReader(BytesIO(data))
    found: dict[str, bytes] = {}
    for name, specification in _leaves(reader.root.get("/Names", {}).get("/EmbeddedFiles")):
        if name in found:
            raise ValueError(f"two attachments are named {name}")
        if str(specification.get("/UF", name)) != name:
            raise ValueError(f"attachment {name} calls itself {specification['/UF']}")
        content = specification["/EF"]["/F"].data
        if len(content) > largest:
            raise ValueError(f"attachment {name} has {len(content)} bytes, more than {largest}")
        found[name] = content
    return found


def _leaves(tree: Any) -> Iterable[tuple[str, Any]]:
    """Names and file specifications of a name tree (ISO 32000-1, 7.9.6)."""
    nodes = [] if tree is None else [tree]
    seen = 0
    while nodes:
        node = nodes.pop().get_object()
        seen += 1
        if seen > MOST_NODES:
            raise ValueError("the tree of attachments is too large")
        nodes += node.get("/Kids", ())
        flat = [part.get_object() for part in node.get("/Names", ())]
        yield from ((str(name), leaf) for name, leaf in zip(flat[::2], flat[1::2], strict=True))


# ---------------------------------------------------------------- the file


def _file_faults(reader: PdfFileReader, embedded: list[EmbeddedPdfSignature]) -> Iterable[str]:
    names = sorted(name for name, _, _ in fields.enumerate_sig_fields(reader))
    if names != sorted((FACILITY_FIELD, COUNTER_FIELD)):
        yield f"signature fields {', '.join(names)}; expected {FACILITY_FIELD}, {COUNTER_FIELD}"
    if embedded[0].field_name != FACILITY_FIELD:
        yield f"signed first in the field {embedded[0].field_name}; expected {FACILITY_FIELD}"
    if reader.total_revisions != len(embedded) + 1:
        yield (
            f"written {reader.total_revisions} times for {len(embedded)} signature(s); expected "
            f"{len(embedded) + 1}: it was changed without being signed"
        )
    certified = read_certification_data(reader)
    if certified is None or certified.permission != fields.MDPPerm.FILL_FORMS:
        yield "not certified as a file in which only a signature may be added"
    if embedded[-1].evaluate_signature_coverage() != SignatureCoverageLevel.ENTIRE_FILE:
        yield "the last signature does not cover the whole file: something was added after it"


# ---------------------------------------------------------------- one signature


def _read(data: bytes, embedded: EmbeddedPdfSignature, trusted: Sequence[Signer]) -> Signature:
    """The facts about one signature; its own certificate is taken for trusted at first."""
    own = embedded.signer_cert
    signer = Signer.of(pyca.load_der_x509_certificate(own.dump()))
    claimed = _claimed(embedded)
    moment = claimed or signer.not_before
    status = asyncio.run(
        async_validate_pdf_signature(
            embedded,
            signer_validation_context=_context([own], _within(signer, moment)),
            ts_validation_context=_context(_authorities(trusted), None),
            key_usage_settings=USAGE,
        )
    )
    stamp = status.timestamp_validity
    stamped = stamp.timestamp if stamp is not None else None
    return Signature(
        field=embedded.field_name,
        signer=signer,
        claimed=claimed,
        stamped=stamped,
        stamp_trusted=stamp is not None and bool(stamp.trusted),
        reason=_text(embedded.sig_object.get("/Reason")),
        trusted_as=_trusted_as(embedded, signer, trusted, stamped or moment),
        faults=(*_status_faults(status), *_container_faults(data, embedded)),
    )


def _claimed(embedded: EmbeddedPdfSignature) -> datetime | None:
    for attribute in embedded.signer_info["signed_attrs"]:
        if attribute["type"].native == "signing_time":
            return attribute["values"][0].native  # type: ignore[no-any-return]
    return embedded.self_reported_timestamp


def _within(signer: Signer, moment: datetime) -> datetime:
    """The nearest moment at which the certificate is valid: its dates are judged elsewhere."""
    return min(max(moment, signer.not_before), signer.not_after)


def _context(roots: list[x509.Certificate], moment: datetime | None) -> ValidationContext:
    return ValidationContext(trust_roots=roots, allow_fetching=False, moment=moment)


def _status_faults(status: PdfSignatureStatus) -> Iterable[str]:
    if not status.intact:
        yield "the signed bytes were changed"
    if not status.valid:
        yield "the signature was not made with the key of its certificate"
    if not status.trusted:
        yield f"its certificate cannot sign a document ({status.trust_problem_indic})"
    if status.coverage < SignatureCoverageLevel.ENTIRE_REVISION:
        yield "it covers a part of the file only"
    if not status.docmdp_ok:
        change = status.diff_result
        why = f": {change}" if isinstance(change, SuspiciousModification) and str(change) else ""
        yield f"the file was changed after signing in a way that the signature forbids{why}"
    stamp = status.timestamp_validity
    if stamp is not None and not (stamp.valid and stamp.intact):
        yield "its time stamp was made for something else or was changed"


def _authorities(trusted: Sequence[Signer]) -> list[x509.Certificate]:
    """Those of the trusted that may issue certificates to others."""
    found = [x509.Certificate.load(each.certificate) for each in trusted]
    return [each for each in found if each.ca]


def _trusted_as(
    embedded: EmbeddedPdfSignature, signer: Signer, trusted: Sequence[Signer], moment: datetime
) -> str | None:
    """A signer's own certificate counts as it is; others only as issuing authorities."""
    if any(signer.fingerprint == each.fingerprint for each in trusted):
        return "its certificate is among the trusted"
    authorities = _authorities(trusted)
    if not authorities:
        return None
    validator = CertificateValidator(
        embedded.signer_cert,
        intermediate_certs=embedded.other_embedded_certs,
        validation_context=_context(authorities, moment),
    )
    try:
        path = asyncio.run(validator.async_validate_usage(key_usage=set()))  # type: ignore[no-untyped-call]
    except (PathError, ValidationError):
        return None
    root = path.trust_anchor.authority.name.human_friendly
    return f"its certificate goes back to {root}, a trusted one"


# ---------------------------------------------------------------- the container


def _container_faults(data: bytes, embedded: EmbeddedPdfSignature) -> Iterable[str]:
    """Whatever of the container (CMS, RFC 5652) is not signed and yet could be changed."""
    start, length, after, _ = (int(number) for number in embedded.byte_range)
    hole = data[start + length : after]
    content = embedded.pkcs7_content
    digits = hole[1:-1]
    if hole[:1] != b"<" or hole[-1:] != b">" or digits not in _spellings(content):
        yield "the gap between the signed bytes holds something else than the signature"
    message = cms.ContentInfo.load(content)
    used = message.dump()
    if content[: len(used)] != used or any(content[len(used) :]):
        yield "the signature is followed by something"
    signed = message["content"]
    if not all(_tight(each) for each in (message, signed, signed["signer_infos"][0])):
        yield "the signature has more inside than its parts"
    yield from _unsigned_faults(signed)


def _spellings(content: bytes) -> tuple[bytes, bytes]:
    digits = content.hex().encode()
    return digits, digits.upper()


def _tight(structure: Any) -> bool:
    """Whether a sequence is as long as its parts: the reader skips what comes after them."""
    return len(structure.contents) == sum(len(structure[name].dump()) for name in structure)


def _unsigned_faults(signed: cms.SignedData) -> Iterable[str]:
    """The parts of the container around the signed attributes say the same as these."""
    information = signed["signer_infos"][0]
    digest = information["digest_algorithm"]
    if [each.dump() for each in signed["digest_algorithms"]] != [digest.dump()]:
        yield "the signature names another digest than its signer"
    if signed["version"].native != "v1" or information["version"].native != "v1":
        yield "the signature is of another version than it was made"
    if signed["crls"].native is not None or not _plain(digest):
        yield "the signature carries what it was not made with"
    kinds = [attribute["type"].native for attribute in information["unsigned_attrs"]]
    if kinds not in ([], ["signature_time_stamp_token"]):
        yield f"the signature has unsigned additions: {', '.join(kinds)}"
    certificates = [each.chosen for each in signed["certificates"]]
    named = information["sid"].chosen
    signers = [
        each
        for each in certificates
        if each.issuer.dump() == named["issuer"].dump()
        and each.serial_number == named["serial_number"].native
    ]
    if len(signers) != 1:
        yield "the signature does not name exactly one of its certificates as the signer's"


def _plain(algorithm: Any) -> bool:
    """Without parameters, or with the NULL that some writers put there."""
    return algorithm["parameters"].native is None


def _text(value: Any) -> str | None:
    return None if value is None else str(value)
