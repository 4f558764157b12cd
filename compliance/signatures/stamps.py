"""Time stamps in signatures (RFC 3161): what they say, of what, and by whom."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from asn1crypto import cms, tsp, x509
from cryptography import x509 as pyca
from cryptography.hazmat.primitives import hashes
from pyhanko.sign.validation.generic_cms import validate_tst_signed_data

from compliance.identity import Signer
from compliance.signatures.container import STAMP
from compliance.signatures.unsound import UnsoundError
from compliance.trust import context, nearest, standing

__all__ = ["Imprint", "Stamp", "digest_of", "judged_at", "read_stamp", "stamp_in"]

DIGESTS: dict[str, Callable[[], hashes.HashAlgorithm]] = {
    "sha256": hashes.SHA256,
    "sha384": hashes.SHA384,
    "sha512": hashes.SHA512,
}
"""That a stamp may use, by their names in the container."""

Imprint = Callable[[str], bytes]


@dataclass(frozen=True, slots=True)
class Stamp:
    """What a time-stamping authority says."""

    time: datetime
    """When it saw the signature."""
    authority: Signer
    trusted_as: str | None
    """How its certificate is among the trusted ones; None if it is not."""
    why_not: str
    faults: tuple[str, ...]


def judged_at(claimed: datetime | None, stamp: Stamp | None) -> datetime | None:
    """When a signer's certificate is judged: at the time of a trusted stamp, or as claimed.

    None where neither is there.
    """
    return stamp.time if stamp is not None and stamp.trusted_as is not None else claimed


def stamp_in(information: Any, trusted: Sequence[Signer] = ()) -> Stamp | None:
    """The time stamp of a signature, given what its one signer states; None without one.

    `trusted` and errors as for `read_stamp`.
    """
    for attribute in information["unsigned_attrs"]:
        if attribute["type"].native == STAMP:
            stamped = digest_of(information["signature"].native)
            return read_stamp(attribute["values"][0], stamped, trusted)
    return None


def digest_of(stamped: bytes) -> Imprint:
    """What a stamp of these bytes states for them, by the name of its digest."""

    def imprint(name: str) -> bytes:
        if name not in DIGESTS:
            raise UnsoundError(f"its time stamp uses {name}; expected {', '.join(DIGESTS)}")
        digest = hashes.Hash(DIGESTS[name]())
        digest.update(stamped)
        return digest.finalize()

    return imprint


def read_stamp(token: cms.ContentInfo, imprint: Imprint, trusted: Sequence[Signer] = ()) -> Stamp:
    """Read a time stamp; `imprint` gives the digest it has to be of. Judged at its own time.

    UnsoundError where the token is none; on a damaged one any other exception.
    """
    signed = token["content"]
    information = signed["encap_content_info"]["content"].parsed
    if not isinstance(information, tsp.TSTInfo):
        raise UnsoundError("its time stamp is none")
    own, others = _certificates(signed)
    authority = Signer.of(pyca.load_der_x509_certificate(own.dump()))
    time = information["gen_time"].native.astimezone(UTC)
    found = standing(own, others, trusted, time, extended={"time_stamping"})
    return Stamp(
        time=time,
        authority=authority,
        trusted_as=found.as_,
        why_not=found.why_not,
        faults=tuple(_faults(signed, own, authority, time, imprint)),
    )


def _faults(
    signed: Any, own: x509.Certificate, authority: Signer, time: datetime, imprint: Imprint
) -> Iterable[str]:
    found = asyncio.run(
        validate_tst_signed_data(signed, context([own], nearest(authority, time)), imprint)
    )
    if not found["intact"]:
        yield "its time stamp was made for something else or was changed"
    if not found["valid"]:
        yield "its time stamp was not made with the key of its authority"
    usages = own.extended_key_usage_value
    if usages is None or "time_stamping" not in usages.native:
        yield "its time stamp's certificate is not for stamping"
    if not authority.valid_at(time):
        yield "its time stamp was made outside the dates of its authority's certificate"


def _certificates(signed: Any) -> tuple[x509.Certificate, list[x509.Certificate]]:
    """The authority's own, and those that came with it."""
    named = signed["signer_infos"][0]["sid"].chosen
    found = [each.chosen for each in signed["certificates"]]
    own = [
        each
        for each in found
        if isinstance(named, cms.IssuerAndSerialNumber)
        and each.issuer.dump() == named["issuer"].dump()
        and each.serial_number == named["serial_number"].native
    ]
    if len(own) != 1:
        raise UnsoundError("its time stamp does not come with the certificate of its authority")
    return own[0], [each for each in found if each is not own[0]]
