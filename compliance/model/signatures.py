"""What signatures say: who signed by which certificate, when, and whether that is trusted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Signer:
    """What a certificate says about its holder."""

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
        """Whether the certificate is within its dates at an aware time."""
        return self.not_before <= moment <= self.not_after


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


def judging_time(claimed: datetime | None, stamp: Stamp | None) -> datetime | None:
    """When a signer's certificate is judged: at the time of a trusted stamp, or as claimed.

    None where neither is there.
    """
    return stamp.time if stamp is not None and stamp.trusted_as is not None else claimed


@dataclass(frozen=True, slots=True)
class Detached:
    """What one signature says of the bytes it was held against."""

    signer: Signer
    claimed: datetime | None
    """When the signer says it was made."""
    stamp: Stamp | None
    """What a time-stamping authority says about that."""
    trusted_as: str | None
    """How it is among the trusted certificates; None if it is not."""
    faults: tuple[str, ...]
    """None: the bytes are those that were signed."""

    @property
    def moment(self) -> datetime | None:
        """As `Signature.moment`."""
        return judging_time(self.claimed, self.stamp)


@dataclass(frozen=True, slots=True)
class Signature:
    """One signature of a PDF."""

    field: str
    role: str
    """As whom the signer signed."""
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
    def moment(self) -> datetime | None:
        """The time at which its certificate is judged: stamped by a trusted authority, or claimed.

        None where neither is there.
        """
        return judging_time(self.claimed, self.stamp)
