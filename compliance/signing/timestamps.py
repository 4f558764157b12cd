"""Time stamps (RFC 3161): request them, add them to signatures, and read them.

Before a signature is returned, its claimed and its stamped time are checked against each
other: verification would refuse it otherwise.
"""

from __future__ import annotations

import asyncio
import http.client
import urllib.error
import urllib.request
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, ClassVar
from urllib.parse import urlsplit

from asn1crypto import cms, core, tsp, x509
from cryptography import x509 as pyca
from cryptography.hazmat.primitives import hashes
from pyhanko.sign.timestamps import TimeStamper
from pyhanko.sign.validation.generic_cms import validate_tst_signed_data

from compliance.errors import IdentityError, TimestampError, UsageError
from compliance.model.signatures import Signer, Stamp
from compliance.signing.certificates import signer_of
from compliance.signing.cms_checks import STAMP, UnsoundError
from compliance.signing.exchange import Deadline, opener
from compliance.signing.trust import NO_PROOF, Proof, clamp_to_validity, context, trust_of

if TYPE_CHECKING:
    from compliance.signing.keys import Identity


DIGESTS: dict[str, Callable[[], hashes.HashAlgorithm]] = {
    "sha256": hashes.SHA256,
    "sha384": hashes.SHA384,
    "sha512": hashes.SHA512,
}
"""Digest algorithms that a stamp may use, by their names in the container."""

Imprint = Callable[[str], bytes]


def embedded_timestamp(
    information: Any, trusted: Sequence[Signer] = (), proof: Proof = NO_PROOF
) -> Stamp | None:
    """Read the time stamp from the information of a signature's one signer; None without one.

    `trusted`, `proof` and errors as for `read_stamp`.
    """
    for attribute in information["unsigned_attrs"]:
        if attribute["type"].native == STAMP:
            stamped = digest_of(information["signature"].native)
            return read_stamp(attribute["values"][0], stamped, trusted, proof)
    return None


def digest_of(stamped: bytes) -> Imprint:
    """Return a function from a digest's name to the imprint that a stamp of these bytes has."""

    def imprint(name: str) -> bytes:
        if name not in DIGESTS:
            raise UnsoundError(f"its time stamp uses {name}; expected {', '.join(DIGESTS)}")
        digest = hashes.Hash(DIGESTS[name]())
        digest.update(stamped)
        return digest.finalize()

    return imprint


def read_stamp(
    token: cms.ContentInfo,
    imprint: Imprint,
    trusted: Sequence[Signer] = (),
    proof: Proof = NO_PROOF,
) -> Stamp:
    """Read a time stamp; `imprint` gives the digest it must have. It is judged at its own time.

    Revocation is judged up to the time that `proof` proves. UnsoundError if the token is not a
    time stamp; any other exception if it is damaged.
    """
    signed = token["content"]
    information = signed["encap_content_info"]["content"].parsed
    if not isinstance(information, tsp.TSTInfo):
        raise UnsoundError("its time stamp is not a time stamp (RFC 3161)")
    own, others = stamp_certificates(signed)
    authority = signer_of(pyca.load_der_x509_certificate(own.dump()))
    time = information["gen_time"].native.astimezone(UTC)
    found = trust_of(own, others, trusted, time, extended={"time_stamping"}, proof=proof)
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
        validate_tst_signed_data(
            signed, context([own], clamp_to_validity(authority, time)), imprint
        )
    )
    if not found["intact"]:
        yield "its time stamp was made for other data or was changed"
    if not found["valid"]:
        yield "its time stamp was not made with the key of its authority"
    usages = own.extended_key_usage_value
    if usages is None or "time_stamping" not in usages.native:
        yield "its time stamp's certificate is not for time stamping"
    if not authority.valid_at(time):
        yield "its time stamp was made outside the validity of its authority's certificate"


def stamp_certificates(signed: Any) -> tuple[x509.Certificate, list[x509.Certificate]]:
    """Return the authority's certificate and the others in the token."""
    named = signed["signer_infos"][0]["sid"].chosen
    certificates = [each.chosen for each in signed["certificates"]]
    own = [
        each
        for each in certificates
        if isinstance(named, cms.IssuerAndSerialNumber)
        and each.issuer.dump() == named["issuer"].dump()
        and each.serial_number == named["serial_number"].native
    ]
    if len(own) != 1:
        raise UnsoundError("its time stamp does not contain its authority's certificate")
    return own[0], [each for each in certificates if each is not own[0]]


PATIENCE = 15.0
"""Seconds that a server has for its whole answer."""
LARGEST = 1 << 18
"""Most bytes of an answer; real ones have some thousand."""
QUERY, REPLY = "application/timestamp-query", "application/timestamp-reply"
GRANTED = ("granted", "granted_with_mods")


class Reply(core.Sequence):  # type: ignore[misc]
    """The answer of a server; a refusal comes without a token (RFC 3161, 2.4.2)."""

    _fields: ClassVar = [
        ("status", tsp.PKIStatusInfo),
        ("time_stamp_token", cms.ContentInfo, {"optional": True}),
    ]


class Stamper(TimeStamper):
    """A client of one server. `optional`: a signature may go without its stamp."""

    def __init__(self, url: str, *, optional: bool = False, patience: float = PATIENCE) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self.url = _checked(url)
        self.optional = optional
        self.last: datetime | None = None
        """The time in the last answer."""
        self.missed: TimestampError | None = None
        """The error because of which a signature has no stamp, if any has none."""
        self._patience = patience

    async def async_timestamp(self, message_digest: bytes, md_algorithm: str) -> cms.ContentInfo:
        """Request a token over the digest. Raises TimestampError, in one line, on failure."""
        nonce, request = self.request_cms(message_digest, md_algorithm)  # type: ignore[no-untyped-call]
        answer = await asyncio.to_thread(self._asked, request.dump())
        try:
            token, problem = _token(answer, message_digest, md_algorithm, nonce)
        except Exception:
            # On an answer in another format the parser raises any exception.
            raise self._none("its answer cannot be read") from None
        if token is None:
            raise self._none(problem)
        faults = await asyncio.to_thread(_reply_faults, token, message_digest)
        if faults:
            raise self._none(f"it would not be valid: {faults[0]}")
        self.last = token["content"]["encap_content_info"]["content"].parsed["gen_time"].native
        return token

    def _asked(self, query: bytes) -> bytes:
        request = urllib.request.Request(
            self.url, data=query, headers={"Content-Type": QUERY, "Accept": REPLY}, method="POST"
        )
        try:
            with opener(Deadline(self._patience)).open(request) as answer:
                kind = answer.headers.get_content_type()
                data: bytes = answer.read(LARGEST + 1)
        except urllib.error.HTTPError as fault:
            raise self._none(f"it answered {fault.code} {fault.reason}".rstrip()) from None
        except TimeoutError:
            raise self._none(f"no answer within {self._patience:g} s") from None
        except urllib.error.URLError as fault:
            late = isinstance(fault.reason, TimeoutError)
            why = f"no answer within {self._patience:g} s" if late else _lower(fault.reason)
            raise self._none(why) from None
        except (OSError, http.client.HTTPException, ValueError) as fault:
            raise self._none(_lower(fault)) from None
        if kind != REPLY:
            raise self._none(f"it answered with {kind}; expected {REPLY}")
        if len(data) > LARGEST:
            raise self._none(f"its answer is larger than {LARGEST >> 10} KiB")
        return data

    def _none(self, why: str) -> TimestampError:
        return TimestampError(
            f"no time stamp from {self.url}: {why}", "to sign without one: --timestamp-optional"
        )


def _token(
    answer: bytes, digest: bytes, algorithm: str, nonce: int
) -> tuple[cms.ContentInfo | None, str]:
    """Return the token in an answer, or what is wrong with the answer."""
    reply = Reply.load(answer, strict=True)
    status = reply["status"]
    if status["status"].native not in GRANTED:
        words = [*(status["status_string"].native or ()), *sorted(status["fail_info"].native or ())]
        why = f" ({'; '.join(words)})" if words else ""
        return None, f"it refused: {status['status'].native.replace('_', ' ')}{why}"
    token = reply["time_stamp_token"]
    information = token["content"]["encap_content_info"]["content"].parsed
    imprint = information["message_imprint"]
    if information["nonce"].native != nonce:
        return None, "its answer is to another request"
    if (
        imprint["hashed_message"].native != digest
        or imprint["hash_algorithm"]["algorithm"].native != algorithm
    ):
        return None, "it stamped other data than requested"
    return token, ""


def _reply_faults(token: cms.ContentInfo, digest: bytes) -> list[str]:
    """List the faults that verification would find in a token, before it is in a sheet."""
    from compliance.signing.cms_checks import token_faults

    try:
        return [*token_faults(token), *read_stamp(token, lambda _: digest).faults]
    except Exception as fault:
        return [str(fault) if isinstance(fault, ValueError) else type(fault).__name__]


def _checked(url: str) -> str:
    try:
        parts = urlsplit(url)
        usable = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        usable = False
    if not usable or any(char.isspace() or not char.isprintable() for char in url):
        raise UsageError(f"--timestamp: {url!r} is not an address; expected http://… or https://…")
    if parts.username is not None or parts.password is not None:
        raise UsageError("--timestamp: a user in the address is not supported; give it without")
    if not url.isascii():
        raise UsageError(f"--timestamp: {url!r} is not in ASCII; give it in its ASCII form")
    return url


def _lower(fault: Any) -> str:
    text = str(getattr(fault, "strerror", None) or fault) or type(fault).__name__
    return text.splitlines()[0].lower()


CLOCKS_APART = timedelta(minutes=5)
"""How far a signer's clock may be ahead of a time-stamping authority's."""
SIGNED_WITHIN = timedelta(hours=72)
"""How long after the assessment a facility may sign it: over a weekend without a key or a server.

A signature of weeks later would vouch anew for what was known of the slot then.
"""


def sign_with_timestamp(
    make: Callable[[datetime, Stamper | None], bytes],
    identity: Identity,
    when: datetime,
    stamper: Stamper | None,
) -> bytes:
    """Call `make` with a time, in whole seconds of UTC, and the `stamper`.

    Called again without it if it gives no stamp and is optional. Raises IdentityError if the
    certificate is not valid at `when` (aware), TimestampError if there is no time stamp and
    it is not optional.
    """
    moment = when.astimezone(UTC).replace(microsecond=0)
    _check_validity(identity, moment)
    try:
        signed = make(moment, stamper)
        if stamper is not None:
            _check_stamp(identity, moment, stamper)
    except TimestampError as fault:
        if stamper is None or not stamper.optional:
            raise
        stamper.missed = fault
        signed = make(moment, None)
    return signed


def check_stamped_in_time(stamper: Stamper, assessed: datetime) -> None:
    """Check that a stamp followed the assessment soon enough for verification.

    Raises TimestampError.
    """
    if stamper.last is not None and stamper.last - assessed > SIGNED_WITHIN:
        raise TimestampError(
            f"{stamper.url} stamped {stamper.last:%Y-%m-%d %H:%M} UTC; expected within "
            f"{SIGNED_WITHIN.total_seconds() / 3600:g} hours of the assessment, "
            f"{assessed.astimezone(UTC):%Y-%m-%d %H:%M} UTC; correct the clock, or leave out --now"
        )


def _check_validity(identity: Identity, moment: datetime) -> None:
    signer = identity.signer
    if not signer.valid_at(moment):
        state = "is not yet valid" if moment < signer.not_before else "has expired"
        raise IdentityError(
            f"the certificate of {signer.name} {state} on {moment:%Y-%m-%d}: valid from "
            f"{signer.not_before:%Y-%m-%d %H:%M} to {signer.not_after:%Y-%m-%d %H:%M} UTC; "
            f"sign with another identity, or create one: compliance identity new"
        )


def _check_stamp(identity: Identity, moment: datetime, stamper: Stamper) -> None:
    """Check that the two clocks agree well enough: verification would refuse them otherwise."""
    stamped, signer = stamper.last, identity.signer
    assert stamped is not None
    if moment - stamped > CLOCKS_APART:
        raise TimestampError(
            f"{stamper.url} stamped {stamped:%Y-%m-%d %H:%M} UTC, before the time of signing, "
            f"{moment:%Y-%m-%d %H:%M} UTC; correct the clock, or give --now"
        )
    if not signer.valid_at(stamped):
        raise TimestampError(
            f"{stamper.url} stamped {stamped:%Y-%m-%d %H:%M} UTC, outside the dates of the "
            f"certificate of {signer.name}, {signer.not_before:%Y-%m-%d} to "
            f"{signer.not_after:%Y-%m-%d}"
        )
