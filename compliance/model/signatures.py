"""Signatures: the signer, the certificate, the time, and whether these are trusted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Signer:
    """The holder of a certificate, as stated in it."""

    name: str
    organisation: str | None
    email: str | None
    issuer: str
    """The issuer's distinguished name, RFC 4514."""
    self_issued: bool
    not_before: datetime
    not_after: datetime
    fingerprint: str
    """SHA-256 of the certificate, lower-case hex."""
    certificate: bytes
    """DER"""

    def valid_at(self, moment: datetime) -> bool:
        """Whether the certificate is within its dates at a time with a time zone."""
        return self.not_before <= moment <= self.not_after


@dataclass(frozen=True, slots=True)
class Revocation:
    """What revocation lists and answers tell of a certificate and those above it."""

    until: datetime
    """The time up to which it was judged."""
    proven: bool
    """A trusted time stamp proves that the signature existed at that time."""
    checked: bool
    revoked: datetime | None = None
    """When it was revoked, before or after `until`; None if it was not, or nothing is known."""
    above: bool = False
    """An authority's certificate was revoked, not the signer's own."""
    why_not: str = ""
    """The reason that it was not checked."""

    @property
    def bad(self) -> bool:
        """Whether it was revoked by then."""
        return self.revoked is not None and self.revoked <= self.until

    @property
    def doubtful(self) -> bool:
        """Whether it was revoked later, and nothing proves that the signature is older."""
        return self.revoked is not None and not self.bad and not self.proven


@dataclass(frozen=True, slots=True)
class Stamp:
    """A time stamp of a time-stamping authority."""

    time: datetime
    """Stated time of the signature."""
    authority: Signer
    trusted_as: str | None
    """The reason that its certificate is trusted; None if it is not."""
    why_not: str
    faults: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ArchiveStamp:
    """A time stamp of the whole file, with what is needed to judge the signatures before it."""

    field: str
    stamp: Stamp
    covers: int
    """The number of signatures before it."""


def judging_time(claimed: datetime | None, stamp: Stamp | None) -> datetime | None:
    """The time at which a signer's certificate is judged: of a trusted stamp, or as claimed.

    None if there is neither.
    """
    return stamp.time if stamp is not None and stamp.trusted_as is not None else claimed


@dataclass(frozen=True, slots=True)
class Detached:
    """A signature of separate bytes, and its check against them."""

    signer: Signer
    claimed: datetime | None
    """Time of signing stated by the signer."""
    stamp: Stamp | None
    """Time stamp of an authority."""
    trusted_as: str | None
    """The reason that its certificate is trusted; None if it is not."""
    faults: tuple[str, ...]
    """Empty: the bytes are the signed ones."""
    revocation: Revocation | None = None
    """None if there are no lists."""

    @property
    def moment(self) -> datetime | None:
        """As `Signature.moment`."""
        return judging_time(self.claimed, self.stamp)


@dataclass(frozen=True, slots=True)
class Signature:
    """One signature of a PDF."""

    field: str
    role: str
    """The role in which the signer signed."""
    signer: Signer
    claimed: datetime | None
    """Time of signing stated by the signer."""
    stamp: Stamp | None
    """Time stamp of an authority."""
    reason: str | None
    trusted_as: str | None
    """The reason that its certificate is trusted; None if it is not."""
    why_not: str
    """The reason that it is not trusted, if there is a special one."""
    faults: tuple[str, ...]
    revocation: Revocation | None = None
    """None if there are no lists or answers."""

    @property
    def moment(self) -> datetime | None:
        """The time at which its certificate is judged: stamped by a trusted authority, or claimed.

        None if there is neither.
        """
        return judging_time(self.claimed, self.stamp)
