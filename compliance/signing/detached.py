"""Detached signatures: CMS (RFC 5652), as `openssl cms` reads them.

Make a signature over bytes, and read the facts about one; the content is not looked at.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from asn1crypto import cms, x509
from cryptography import x509 as pyca
from pyhanko.sign.general import SigningError
from pyhanko.sign.signers.pdf_cms import PdfCMSSignedAttributes
from pyhanko.sign.validation.generic_cms import async_validate_detached_cms
from pyhanko.sign.validation.settings import KeyUsageConstraints

from compliance.errors import IdentityError
from compliance.model.signatures import Detached, Signer
from compliance.signing.certificates import signer_of, usage_fault
from compliance.signing.cms_checks import (
    UnsoundError,
    friendly_errors,
    has_no_slack,
    unsigned_faults,
)
from compliance.signing.keys import Identity
from compliance.signing.pyhanko_key import PyHankoKey, run_outside_event_loop
from compliance.signing.revocation import material_of
from compliance.signing.timestamps import (
    CLOCKS_APART,
    embedded_timestamp,
    sign_with_timestamp,
)
from compliance.signing.trust import Proof, clamp_to_validity, context, trust_of

if TYPE_CHECKING:
    from compliance.signing.timestamps import Stamper


USAGE = KeyUsageConstraints(
    key_usage={"digital_signature", "non_repudiation"}, match_all_key_usages=False
)
MOST_CERTIFICATES = 20
NONE = "is not a detached signature (CMS, DER)"


def sign_detached(
    data: bytes, identity: Identity, *, when: datetime, stamper: Stamper | None = None
) -> bytes:
    """Make a CMS signature (DER) over `data` that claims the (aware) time `when`.

    `stamper` adds the time stamp of an authority. Raises IdentityError if the certificate is
    not valid then, TimestampError if there is no time stamp and it is not optional.
    """

    def make(moment: datetime, by: Stamper | None) -> bytes:
        signed = run_outside_event_loop(
            lambda: asyncio.run(
                PyHankoKey(identity).async_sign_general_data(
                    data,
                    "sha256",
                    detached=True,
                    use_cades=True,
                    timestamper=by,
                    signed_attr_settings=PdfCMSSignedAttributes(signing_time=moment),
                )
            )
        )
        signature: bytes = signed.dump()
        return signature

    return sign_with_timestamp(make, identity, when, stamper)


def read_detached(
    data: bytes,
    signature: bytes,
    trusted: Sequence[Signer] = (),
    stamping: Sequence[Signer] = (),
    lists: Sequence[bytes] = (),
) -> Detached:
    """Check a signature against the bytes that it should sign.

    `trusted` are certificates of signers, taken as they are, or of authorities that may have
    issued a signer's; `stamping` likewise of time-stamping authorities; `lists` are revocation
    lists (DER). UnsoundError if `signature` is not a CMS signature by one signer.
    """
    proof = Proof(material_of({"/CRLs": lists}))

    def read() -> Detached:
        try:
            return run_outside_event_loop(
                lambda: _read(data, _parsed(signature), trusted, stamping, proof)
            )
        except IdentityError as fault:  # of a certificate in the signature
            raise UnsoundError(f"{NONE}: {fault}") from fault

    return friendly_errors(read, f"{NONE}: it is damaged")


def _read(
    data: bytes, signed: Any, trusted: Sequence[Signer], stamping: Sequence[Signer], proof: Proof
) -> Detached:
    information = _information(signed)
    own, others = _certificates(signed, information)
    signer = signer_of(pyca.load_der_x509_certificate(own.dump()))
    stamp = embedded_timestamp(information, stamping, proof)
    found = Detached(signer, _claimed(information), stamp, trusted_as=None, faults=())
    if stamp is not None and stamp.trusted_as is not None:
        proof = replace(proof, until=stamp.time)
    moment = found.moment or signer.not_before
    trust = trust_of(own, others, trusted, moment, proof=proof)
    return replace(
        found,
        trusted_as=trust.as_,
        faults=tuple(_faults(data, signed, own, found)),
        revocation=trust.revocation,
    )


def _parsed(signature: bytes) -> Any:
    message = cms.ContentInfo.load(signature, strict=True)
    if message["content_type"].native != "signed_data":
        raise UnsoundError(f"{NONE}: it is another kind of message")
    signed = message["content"]
    if len(signed["signer_infos"]) != 1:
        raise UnsoundError(f"{NONE}: {len(signed['signer_infos'])} signers; expected 1")
    if signed["encap_content_info"]["content"].native is not None:
        raise UnsoundError(f"{NONE}: it has content of its own")
    if not has_no_slack(message, signed):
        raise UnsoundError(f"{NONE}: it contains more than its parts")
    return signed


def _certificates(signed: Any, information: Any) -> tuple[x509.Certificate, list[x509.Certificate]]:
    """Return the signer's certificate and the others in the signature."""
    certificates = [each.chosen for each in signed["certificates"]]
    named = information["sid"]
    if named.name != "issuer_and_serial_number" or len(certificates) > MOST_CERTIFICATES:
        raise UnsoundError("does not name its signer by a certificate")
    own = [
        each
        for each in certificates
        if each.issuer.dump() == named.chosen["issuer"].dump()
        and each.serial_number == named.chosen["serial_number"].native
    ]
    if len(own) != 1:
        raise UnsoundError("does not have exactly one certificate of its signer")
    return own[0], [each for each in certificates if each is not own[0]]


def _claimed(information: Any) -> datetime | None:
    for attribute in information["signed_attrs"]:
        if attribute["type"].native == "signing_time":
            return attribute["values"][0].native  # type: ignore[no-any-return]
    return None


def _faults(data: bytes, signed: Any, own: x509.Certificate, found: Detached) -> Iterable[str]:
    signer, moment, stamp = found.signer, found.moment, found.stamp
    if found.claimed is None or moment is None:
        yield "the signature has no time"
        return
    if not signer.valid_at(moment):
        yield (
            f"the signature was made on {moment:%Y-%m-%d}, outside its certificate's dates "
            f"({signer.not_before:%Y-%m-%d} to {signer.not_after:%Y-%m-%d})"
        )
    if stamp is not None:
        yield from stamp.faults
        if found.claimed - stamp.time > CLOCKS_APART:
            yield (
                f"the claimed time, {found.claimed:%Y-%m-%d %H:%M} UTC, is later than the time "
                f"stamp, {stamp.time:%Y-%m-%d %H:%M} UTC"
            )
    unfit = usage_fault(pyca.load_der_x509_certificate(signer.certificate))
    if unfit is not None:
        yield f"its certificate {unfit}"
    try:
        status = asyncio.run(
            async_validate_detached_cms(
                data,
                signed,
                signer_validation_context=context([own], clamp_to_validity(signer, moment)),
                key_usage_settings=USAGE,
            )
        )
        if not status.intact:
            yield "the signature does not match: the signed data was changed"
        elif not status.valid:
            yield "the signature was not made with the key of its certificate"
        elif not status.trusted:
            problem = status.trust_problem_indic
            yield f"the certificate of the signature cannot sign a document ({problem})"
        yield from unsigned_faults(signed)
    except Exception as fault:
        # On a damaged signature the library raises any exception; each means: not valid.
        why = str(fault) if isinstance(fault, SigningError) else type(fault).__name__
        yield f"the signature cannot be checked: {why}"


def _information(signed: Any) -> Any:
    """Return the information of the one signer."""
    return signed["signer_infos"][0]
