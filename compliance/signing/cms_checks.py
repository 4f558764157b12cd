"""The container of a signature (CMS, RFC 5652): what of it is not signed or is damaged.

A digest covers the signed bytes, and the signature covers its signed attributes; around
them stand headers, certificates and filling that no arithmetic protects. Each of them
has to be what the signer's program wrote, or it is a fault.
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
from compliance.signing.keys import is_root, issued, issuers_of

DAMAGED = "it is damaged or cut off"
"""Of a file."""

T = TypeVar("T")


class UnsoundError(ValueError):
    """What is wrong with the signatures or attachments of a file, as its reader is told."""


def friendly_errors(do: Callable[[], T], otherwise: str) -> T:
    """What `do` gives. UnsoundError with `otherwise` where it ends as only a library can say."""
    try:
        return do()
    except (UnsoundError, ComplianceError):
        raise
    except Exception as fault:
        # The libraries raise what they like on a damaged file.
        raise UnsoundError(otherwise) from fault


STAMP = "signature_time_stamp_token"
"""The only unsigned attribute that may be there (PAdES B-T)."""


def container_faults(data: bytes, embedded: EmbeddedPdfSignature) -> Iterable[str]:
    """What of a signature's container is not as it was made, a sentence each."""
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
    if not has_no_slack(message, signed):
        yield "the signature has more inside than its parts"
    yield from unsigned_faults(signed)


def _spellings(content: bytes) -> tuple[bytes, bytes]:
    digits = content.hex().encode()
    return digits, digits.upper()


def has_no_slack(*structures: Any) -> bool:
    """Whether sequences, and the signer's part, are as long as their parts.

    The reader skips what comes after the parts that it knows.
    """
    signer = structures[-1]["signer_infos"][0]
    return all(
        len(each.contents) == sum(len(each[name].dump()) for name in each)
        for each in (*structures, signer)
    )


def unsigned_faults(signed: cms.SignedData) -> Iterable[str]:
    """The parts of the container around the signed attributes say the same as these."""
    information = signed["signer_infos"][0]
    digest = information["digest_algorithm"]
    if [each.dump() for each in signed["digest_algorithms"]] != [digest.dump()]:
        yield "the signature names another digest than its signer"
    if signed["version"].native != "v1" or information["version"].native != "v1":
        yield "the signature is of another version than it was made"
    if signed["crls"].native is not None or not _plain(digest):
        yield "the signature carries what it was not made with"
    attributes = information["unsigned_attrs"]
    kinds = [attribute["type"].native for attribute in attributes]
    if kinds not in ([], [STAMP]):
        yield f"the signature has unsigned additions: {', '.join(kinds)}"
    elif kinds:
        tokens = attributes[0]["values"]
        if len(tokens) != 1:
            yield f"it has {len(tokens)} time stamps in one place"
        else:
            yield from token_faults(tokens[0])
    yield from _certificate_faults(signed, information)


def token_faults(token: cms.ContentInfo) -> Iterable[str]:
    """Of the container of a time stamp; each authority's program writes it a little otherwise."""
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
        yield "its time stamp has more around it than it was made with"


def _certificate_faults(signed: cms.SignedData, information: Any) -> Iterable[str]:
    """The certificates are the signer's, and the authorities' above it, and no others."""
    named = information["sid"].chosen
    certificates = _as_written(signed["certificates"].contents)
    signers = [
        each
        for each in certificates
        if (holder := asn1.Certificate.load(each)).issuer.dump() == named["issuer"].dump()
        and holder.serial_number == named["serial_number"].native
    ]
    if len(signers) != 1:
        yield "the signature does not name exactly one of its certificates as the signer's"
        return
    own, others = signers[0], [each for each in certificates if each != signers[0]]
    stated = _stated(information)
    if stated and stated[0] != _digest(own):
        yield "the signature is by another certificate than it carries"
    bound = len(stated) > 1
    if sorted(stated[1:]) != sorted(map(_digest, others)) if bound else _strangers(own, others):
        yield "the signature carries certificates that did not issue its signer's, or changed ones"


def _as_written(certificates: bytes) -> list[bytes]:
    """Each certificate byte for byte: the library's own `dump` writes some of them anew."""
    found = []
    while certificates:
        length = parser.peek(certificates)
        found.append(certificates[:length])
        certificates = certificates[length:]
    return found


def _stated(information: Any) -> list[bytes]:
    """Digests of certificates that a signature binds: the signer's, in ours also those above it.

    (RFC 5035, with SHA-256.)
    """
    for attribute in information["signed_attrs"]:
        if attribute["type"].native == "signing_certificate_v2":
            named = attribute["values"][0]["certs"]
            if {each["hash_algorithm"]["algorithm"].native for each in named} == {"sha256"}:
                return [each["cert_hash"].native for each in named]
    return []


def _strangers(own: bytes, certificates: Sequence[bytes]) -> bool:
    """Whether some are not above the signer's, or not as they were issued, as far as that shows."""
    others = [x509.load_der_x509_certificate(each) for each in certificates]
    above = issuers_of(x509.load_der_x509_certificate(own), others)
    forged = any(is_root(each) and not issued(each, each) for each in others)
    return forged or sorted(certificates) != sorted(above)


def _digest(certificate: bytes) -> bytes:
    return hashlib.sha256(certificate).digest()


def _plain(algorithm: Any) -> bool:
    """Without parameters, or with the NULL that some writers put there."""
    return algorithm["parameters"].native is None
