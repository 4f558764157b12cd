"""Check the container of a signature (CMS, RFC 5652) for unsigned or damaged parts.

A digest covers the signed bytes, and the signature covers its signed attributes; the
headers, certificates and filling around them are not protected. Each of these has to be as
the signer's program wrote it, or it is a fault.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar

from asn1crypto import cms, parser
from asn1crypto import x509 as asn1
from cryptography import x509
from pyhanko.sign.validation.pdf_embedded import EmbeddedPdfSignature

from compliance.errors import ComplianceError
from compliance.signing.directory_names import compare_both_directions
from compliance.signing.keys import is_root, issued, issuers_of

compare_both_directions()
DAMAGED = "it is damaged or cut off"
"""The fault of an unreadable file."""

T = TypeVar("T")


class UnsoundError(ValueError):
    """A fault in the signatures or attachments of a file, worded for its reader."""


def friendly_errors(do: Callable[[], T], otherwise: str) -> T:
    """Call `do`; turn an exception of a library into UnsoundError with the text `otherwise`."""
    try:
        return do()
    except (UnsoundError, ComplianceError):
        raise
    except Exception as fault:
        # On a damaged file the libraries raise any exception.
        raise UnsoundError(otherwise) from fault


STAMP = "signature_time_stamp_token"
"""The only unsigned attribute allowed (PAdES B-T)."""


def container_faults(data: bytes, embedded: EmbeddedPdfSignature) -> Iterable[str]:
    """Yield each part of a signature's container that is not as it was made, as a sentence."""
    yield from gap_faults(data, embedded)
    message = cms.ContentInfo.load(embedded.pkcs7_content)
    if not has_no_slack(message, message["content"]):
        yield "the signature contains more than its parts"
    yield from unsigned_faults(message["content"])


def gap_faults(data: bytes, embedded: EmbeddedPdfSignature) -> Iterable[str]:
    """Yield what else than one container is between the signed bytes."""
    start, length, after, _ = (int(number) for number in embedded.byte_range)
    hole = data[start + length : after]
    content = embedded.pkcs7_content
    digits = hole[1:-1]
    if hole[:1] != b"<" or hole[-1:] != b">" or digits not in _spellings(content):
        yield "the gap between the signed bytes contains more than the signature"
    message = cms.ContentInfo.load(content)
    used = message.dump()
    if content[: len(used)] != used or any(content[len(used) :]):
        yield "other data follows the signature"


def _spellings(content: bytes) -> tuple[bytes, bytes]:
    digits = content.hex().encode()
    return digits, digits.upper()


def has_no_slack(*structures: Any) -> bool:
    """Return whether sequences, and the signer's part, are as long as their parts.

    The library skips data after the parts that it knows.
    """
    signer = structures[-1]["signer_infos"][0]
    return all(
        len(each.contents) == sum(len(each[name].dump()) for name in each)
        for each in (*structures, signer)
    )


def unsigned_faults(signed: cms.SignedData) -> Iterable[str]:
    """Check that the container's parts around the signed attributes agree with these."""
    information = signed["signer_infos"][0]
    digest = information["digest_algorithm"]
    if [each.dump() for each in signed["digest_algorithms"]] != [digest.dump()]:
        yield "the signature names another digest algorithm than its signer"
    if signed["version"].native != "v1" or information["version"].native != "v1":
        yield "the signature's version was changed"
    if signed["crls"].native is not None or not _plain(digest):
        yield "data was added to the signature after it was made"
    attributes = information["unsigned_attrs"]
    kinds = [attribute["type"].native for attribute in attributes]
    if kinds not in ([], [STAMP]):
        yield f"the signature has unsigned additions: {', '.join(kinds)}"
    elif kinds:
        tokens = attributes[0]["values"]
        if len(tokens) != 1:
            yield f"it has {len(tokens)} time stamps; expected 1"
        else:
            yield from token_faults(tokens[0])
    yield from _certificate_faults(signed, information)


def token_faults(token: cms.ContentInfo) -> Iterable[str]:
    """Check the container of a time stamp; authorities' programs write it with variations."""
    signed = token["content"]
    information = signed["signer_infos"][0]
    known = {each["algorithm"].native for each in signed["digest_algorithms"]}
    sound = (
        has_no_slack(token, signed)
        and known == {information["digest_algorithm"]["algorithm"].native}
        and all(_plain(each) for each in signed["digest_algorithms"])
        and _plain(information["digest_algorithm"])
        and signed["version"].native == "v3"
        and information["version"].native == "v1"
        and signed["crls"].native is None
        and not len(information["unsigned_attrs"])
    )
    if not sound:
        yield "data was added to its time stamp after it was made"


def _certificate_faults(signed: cms.SignedData, information: Any) -> Iterable[str]:
    """Check that the certificates are the signer's and its authorities', and no others."""
    named = information["sid"].chosen
    certificates = _as_written(signed["certificates"].contents)
    signers = [
        each
        for each in certificates
        if (holder := asn1.Certificate.load(each)).issuer.dump() == named["issuer"].dump()
        and holder.serial_number == named["serial_number"].native
    ]
    if len(signers) != 1:
        yield "the signature does not have exactly one certificate of its signer"
        return
    own, others = signers[0], [each for each in certificates if each != signers[0]]
    stated = _stated(information)
    if stated and stated[0] != _digest(own):
        yield "the signature was made with another certificate than it contains"
    bound = len(stated) > 1
    if sorted(stated[1:]) != sorted(map(_digest, others)) if bound else _strangers(own, others):
        yield "the signature contains certificates that were changed or did not issue its signer's"


def _as_written(certificates: bytes) -> list[bytes]:
    """Split certificates byte for byte: the library's own `dump` rewrites some of them."""
    parts = []
    while certificates:
        length = parser.peek(certificates)
        parts.append(certificates[:length])
        certificates = certificates[length:]
    return parts


def _stated(information: Any) -> list[bytes]:
    """Return the digests of the certificates that a signature binds (RFC 5035, with SHA-256).

    The signer's; in this program's signatures also those above it.
    """
    for attribute in information["signed_attrs"]:
        if attribute["type"].native == "signing_certificate_v2":
            named = attribute["values"][0]["certs"]
            if {each["hash_algorithm"]["algorithm"].native for each in named} == {"sha256"}:
                return [each["cert_hash"].native for each in named]
    return []


def _strangers(own: bytes, certificates: Sequence[bytes]) -> bool:
    """Return whether some are not above the signer's, or visibly not as they were issued."""
    others = [x509.load_der_x509_certificate(each) for each in certificates]
    above = issuers_of(x509.load_der_x509_certificate(own), others)
    forged = any(is_root(each) and not issued(each, each) for each in others)
    return forged or sorted(certificates) != sorted(above)


def _digest(certificate: bytes) -> bytes:
    return hashlib.sha256(certificate).digest()


def _plain(algorithm: Any) -> bool:
    """Return whether an algorithm has no parameters, or the NULL that some programs write."""
    return algorithm["parameters"].native is None
