"""Signatures that stand beside what they sign: CMS (RFC 5652), as `openssl cms` reads them.

Bytes in, a signature out, and the facts about one; knows nothing of what the bytes say.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from asn1crypto import cms, keys, x509
from cryptography import x509 as pyca
from pyhanko.sign.general import SigningError
from pyhanko.sign.signers import SimpleSigner
from pyhanko.sign.signers.pdf_cms import PdfCMSSignedAttributes
from pyhanko.sign.validation.generic_cms import async_validate_detached_cms
from pyhanko.sign.validation.settings import KeyUsageConstraints
from pyhanko_certvalidator import CertificateValidator, ValidationContext
from pyhanko_certvalidator.errors import PathError, ValidationError
from pyhanko_certvalidator.registry import SimpleCertificateStore

from compliance.errors import IdentityError
from compliance.identity import Identity, Signer

__all__ = ["Detached", "read_detached", "sign_detached"]

USAGE = KeyUsageConstraints(
    key_usage={"digital_signature", "non_repudiation"}, match_all_key_usages=False
)
MOST_CERTIFICATES = 20


@dataclass(frozen=True, slots=True)
class Detached:
    """What one signature says of the bytes it was held against."""

    signer: Signer
    claimed: datetime | None
    """When the signer says it was made."""
    trusted_as: str | None
    """How it is among the trusted certificates; None if it is not."""
    faults: tuple[str, ...]
    """None: the bytes are those that were signed."""


def sign_detached(data: bytes, identity: Identity, *, when: datetime) -> bytes:
    """A CMS signature over `data`, DER, that claims the (aware) time `when`.

    Raises IdentityError if the certificate is not valid then.
    """
    moment = when.astimezone(UTC).replace(microsecond=0)
    signer = identity.signer
    if not signer.valid_at(moment):
        raise IdentityError(
            f"the certificate of {signer.name} is not valid on {moment:%Y-%m-%d}: it is from "
            f"{signer.not_before:%Y-%m-%d %H:%M} to {signer.not_after:%Y-%m-%d %H:%M} UTC"
        )
    holder = _key_holder(identity)
    signed = asyncio.run(
        holder.async_sign_general_data(
            data,
            "sha256",
            detached=True,
            use_cades=True,
            signed_attr_settings=PdfCMSSignedAttributes(signing_time=moment),
        )
    )
    found: bytes = signed.dump()
    return found


def _key_holder(identity: Identity) -> SimpleSigner:
    # The signing certificate stays out of the registry, or it would be embedded twice.
    others = SimpleCertificateStore()  # type: ignore[no-untyped-call]
    others.register_multiple([x509.Certificate.load(der) for der in identity.chain])
    return SimpleSigner(
        signing_cert=x509.Certificate.load(identity.signer.certificate),
        signing_key=keys.PrivateKeyInfo.load(identity.key),
        cert_registry=others,
    )


def read_detached(data: bytes, signature: bytes, trusted: Sequence[Signer] = ()) -> Detached:
    """Hold a signature against the bytes it should be of.

    `trusted` are certificates of signers, taken as they are, or of authorities that may have
    issued a signer's. ValueError where `signature` is no CMS signature by one signer.
    """
    signed = _parsed(signature)
    information = signed["signer_infos"][0]
    own, others = _certificates(signed, information)
    signer = Signer.of(pyca.load_der_x509_certificate(own.dump()))
    claimed = _claimed(information)
    moment = claimed or signer.not_before
    return Detached(
        signer=signer,
        claimed=claimed,
        trusted_as=_trusted_as(own, others, signer, trusted, moment),
        faults=tuple(_faults(data, signed, own, signer, claimed)),
    )


def _parsed(signature: bytes) -> Any:
    try:
        message = cms.ContentInfo.load(signature, strict=True)
        if message["content_type"].native != "signed_data":
            raise ValueError("it is another kind of message")
        signed = message["content"]
        if len(signed["signer_infos"]) != 1:
            raise ValueError(f"{len(signed['signer_infos'])} signers; expected 1")
        if signed["encap_content_info"]["content"].native is not None:
            raise ValueError("it holds content of its own")
        signed.native  # noqa: B018  (parses all of it)
    except (ValueError, TypeError, KeyError) as fault:
        raise ValueError(f"is no signature beside a document (CMS, DER): {fault}") from None
    return signed


def _certificates(signed: Any, information: Any) -> tuple[x509.Certificate, list[x509.Certificate]]:
    """The signer's, and those that came with it."""
    found = [each.chosen for each in signed["certificates"]]
    named = information["sid"]
    if named.name != "issuer_and_serial_number" or len(found) > MOST_CERTIFICATES:
        raise ValueError("does not name its signer by a certificate")
    own = [
        each
        for each in found
        if each.issuer.dump() == named.chosen["issuer"].dump()
        and each.serial_number == named.chosen["serial_number"].native
    ]
    if len(own) != 1:
        raise ValueError("does not hold exactly one certificate of its signer")
    return own[0], [each for each in found if each is not own[0]]


def _claimed(information: Any) -> datetime | None:
    for attribute in information["signed_attrs"]:
        if attribute["type"].native == "signing_time":
            return attribute["values"][0].native  # type: ignore[no-any-return]
    return None


def _faults(
    data: bytes,
    signed: Any,
    own: x509.Certificate,
    signer: Signer,
    claimed: datetime | None,
) -> Iterable[str]:
    if claimed is None:
        yield "names no time of signing"
        return
    if not signer.valid_at(claimed):
        yield (
            f"was made on {claimed:%Y-%m-%d}, outside its certificate's dates "
            f"({signer.not_before:%Y-%m-%d} to {signer.not_after:%Y-%m-%d})"
        )
    moment = min(max(claimed, signer.not_before), signer.not_after)
    try:
        status = asyncio.run(
            async_validate_detached_cms(
                data,
                signed,
                signer_validation_context=_context([own], moment),
                key_usage_settings=USAGE,
            )
        )
    except Exception as fault:
        # The library raises what it likes on a damaged one; each means that it does not hold.
        why = str(fault) if isinstance(fault, SigningError) else type(fault).__name__
        yield f"cannot be checked: {why}"
        return
    if not status.intact:
        yield "is of another document: this one was changed"
    elif not status.valid:
        yield "was not made with the key of its certificate"
    information = signed["signer_infos"][0]
    used = [information["digest_algorithm"].dump()]
    if [each.dump() for each in signed["digest_algorithms"]] != used:
        yield "names another digest than its signer"
    if {signed["version"].native, information["version"].native} != {"v1"}:
        yield "is of another version than it was made"
    if signed["crls"].native is not None or len(information["unsigned_attrs"]):
        yield "carries what it was not made with"
    if not status.trusted and status.intact and status.valid:
        yield f"has a certificate that cannot sign a document ({status.trust_problem_indic})"


def _trusted_as(
    own: x509.Certificate,
    others: list[x509.Certificate],
    signer: Signer,
    trusted: Sequence[Signer],
    moment: datetime,
) -> str | None:
    """A signer's own certificate counts as it is; others only as issuing authorities."""
    if any(signer.fingerprint == each.fingerprint for each in trusted):
        return "its certificate is among the trusted"
    loaded = [x509.Certificate.load(each.certificate) for each in trusted]
    authorities = [each for each in loaded if each.ca]
    if not authorities:
        return None
    validator = CertificateValidator(
        own, intermediate_certs=others, validation_context=_context(authorities, moment)
    )
    try:
        path = asyncio.run(validator.async_validate_usage(key_usage=set()))  # type: ignore[no-untyped-call]
    except (PathError, ValidationError):
        return None
    root = path.trust_anchor.authority.name.human_friendly
    return f"its certificate goes back to {root}, a trusted one"


def _context(roots: list[x509.Certificate], moment: datetime) -> ValidationContext:
    return ValidationContext(trust_roots=roots, allow_fetching=False, moment=moment)
