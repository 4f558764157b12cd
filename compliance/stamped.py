"""Signatures made with a time stamp, or without one where it is only wished for.

What has to be true of the two times, the claimed and the stamped, before a signature is
given out: verification would refuse it otherwise.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from compliance.errors import IdentityError, TimestampError

if TYPE_CHECKING:
    from compliance.identity import Identity
    from compliance.stamping import Stamper

__all__ = ["CLOCKS_APART", "stamped"]

CLOCKS_APART = timedelta(minutes=5)
"""By which a signer's clock may be ahead of a time-stamping authority's."""


def stamped(
    make: Callable[[datetime, Stamper | None], bytes],
    identity: Identity,
    when: datetime,
    stamper: Stamper | None,
) -> bytes:
    """What `make` signs at a time, in whole seconds of UTC, with or without a stamp.

    Made once more without one where `stamper` gives none and is optional. Raises
    IdentityError if the certificate is not valid at `when` (aware), TimestampError if there
    is no time stamp and it is not optional.
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


def _check_validity(identity: Identity, moment: datetime) -> None:
    signer = identity.signer
    if not signer.valid_at(moment):
        state = "is not yet valid" if moment < signer.not_before else "has expired"
        raise IdentityError(
            f"the certificate of {signer.name} {state} on {moment:%Y-%m-%d}: valid from "
            f"{signer.not_before:%Y-%m-%d %H:%M} to {signer.not_after:%Y-%m-%d %H:%M} UTC; "
            f"sign with another identity, or make one: compliance identity new"
        )


def _check_stamp(identity: Identity, moment: datetime, stamper: Stamper) -> None:
    """That the two clocks agree as far as they have to, or verification will refuse them."""
    told, signer = stamper.last, identity.signer
    assert told is not None
    if moment - told > CLOCKS_APART:
        raise TimestampError(
            f"{stamper.url} stamped {told:%Y-%m-%d %H:%M} UTC, before the time of signing, "
            f"{moment:%Y-%m-%d %H:%M} UTC; set the clock, or give --now"
        )
    if not signer.valid_at(told):
        raise TimestampError(
            f"{stamper.url} stamped {told:%Y-%m-%d %H:%M} UTC, outside the dates of the "
            f"certificate of {signer.name}, {signer.not_before:%Y-%m-%d} to "
            f"{signer.not_after:%Y-%m-%d}"
        )
