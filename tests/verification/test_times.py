"""At what time a certificate is judged, and what of a sheet outlives its signer's certificate.

Nothing here goes by the clock: a sheet signed in time holds for ever, of either kind.
"""

from __future__ import annotations

import asyncio
from datetime import datetime, timedelta
from functools import cache

import pytest
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.x509.oid import ExtendedKeyUsageOID
from helpers.authorities import YEAR, Clock, Holder, Within, clock, issued
from helpers.evidence_of_a_slot import evidence, sealed
from helpers.signing import MADE, SIGNED, countersigned, identity, signed

import compliance.signing.timestamps
from compliance.model.results import Verification
from compliance.report.verification import step_details, step_text
from compliance.signing.timestamps import Stamper
from compliance.verification import verify_sheet

MONTH = timedelta(days=30)
LONG_AGO = datetime(2011, 3, 1, 9, 0, tzinfo=MADE.tzinfo)
"""A certificate of then has expired by any clock."""


@cache
def authority() -> Holder:
    return issued("Kelp Authority", ca=True, start=LONG_AGO - YEAR, life=3 * YEAR)


@cache
def signer(kind: str) -> Holder:
    """Whose certificate is valid for a month, by itself or by an authority."""
    by = authority() if kind == "issued" else None
    return issued("Ada Quill", by, start=LONG_AGO, life=MONTH)


def trust(kind: str) -> list[bytes]:
    return [authority().pem if kind == "issued" else signer(kind).pem]


def unchecked(who: Holder, when: datetime, stamper: Stamper | None = None) -> bytes:
    """Signed whatever the dates, as another program would."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compliance.signing.timestamps, "_check_validity", lambda *_: None)
        patch.setattr(compliance.signing.timestamps, "_check_stamp", lambda *_: None)
        return signed(who=who.identity, when=when, stamper=stamper)


def first_three(found: Verification) -> list[str]:
    return [str(step.status) for step in found.steps[:3]]


KINDS = ("issued", "pinned")
IN_TIME, BEFORE, AFTER = LONG_AGO + MONTH / 2, LONG_AGO - MONTH, LONG_AGO + 2 * MONTH

DATES = [
    # claimed, stamped by a trusted authority, outcome, words
    (IN_TIME, None, "ok", "2011-03-16 09:00 UTC as the signer claims; certificate valid 2011-03"),
    (LONG_AGO, None, "ok", "as the signer claims"),
    (LONG_AGO + MONTH, None, "ok", "as the signer claims"),
    (LONG_AGO - timedelta(seconds=1), None, "fail", "outside its certificate's dates"),
    (LONG_AGO + MONTH + timedelta(seconds=1), None, "fail", "outside its certificate's dates"),
    (BEFORE, None, "fail", "2011-01-30 09:00 UTC as the signer claims, outside its certificate's"),
    (AFTER, None, "fail", "2011-04-30 09:00 UTC as the signer claims, outside its certificate's"),
    (IN_TIME, IN_TIME, "ok", "2011-03-16 09:00 UTC by a trusted time stamp, Old Clock"),
    (BEFORE, IN_TIME, "ok", "2011-03-16 09:00 UTC by a trusted time stamp, Old Clock"),
    (IN_TIME, AFTER, "fail", "2011-04-30 09:00 UTC by a trusted time stamp, outside its cert"),
    (BEFORE, BEFORE, "fail", "by a trusted time stamp, outside its certificate's dates"),
    (
        AFTER,
        IN_TIME,
        "fail",
        "2011-04-30 09:00 UTC, is later than the time stamp, 2011-03-16 09:00",
    ),
]


@cache
def old_clock() -> Within:

    start = LONG_AGO - YEAR
    top = issued("Old Clock Authority", ca=True, start=start, life=3 * YEAR)
    key = rsa.generate_private_key(65537, 2048)
    stamping = [ExtendedKeyUsageOID.TIME_STAMPING]
    own = issued("Old Clock", top, key=key, start=start, life=3 * YEAR, extended=stamping)
    return Within(LONG_AGO, Clock(top, own))


def stamping(when: datetime) -> Within:
    return Within(when, old_clock()._by)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("claimed", "stamped", "outcome", "words"), DATES)
def test_when_a_certificate_is_judged(
    kind: str, claimed: datetime, stamped: datetime | None, outcome: str, words: str
) -> None:
    data = unchecked(signer(kind), claimed, None if stamped is None else stamping(stamped))
    known = [old_clock()._by.root.pem] if stamped is not None else []
    found = verify_sheet(data, trust=trust(kind), timestamp_trust=known)
    assert first_three(found) == ["ok", "ok", outcome]
    assert words in step_text(found.steps[2])


@pytest.mark.parametrize("kind", KINDS)
def test_a_stamp_of_an_unknown_authority_changes_nothing(kind: str) -> None:
    """It is told of; a certificate is judged at the claimed time, and its stamp proves nothing."""
    data = unchecked(signer(kind), IN_TIME, stamping(AFTER))
    found = verify_sheet(data, trust=trust(kind))
    assert first_three(found) == ["ok"] * 3
    assert "time stamp of Old Clock: 2011-04-30 09:00 UTC, its authority not checked" in (
        step_text(found.steps[2])
    )
    found = verify_sheet(data, trust=trust(kind), timestamp_trust=[clock().root.pem])
    assert first_three(found) == ["ok", "ok", "unknown"]
    data = unchecked(signer(kind), AFTER, stamping(IN_TIME))
    assert first_three(verify_sheet(data, trust=trust(kind)))[2] == "fail"


def test_who_names_authorities_of_time_asks_for_stamps() -> None:
    found = verify_sheet(signed(), trust=[identity().pem], timestamp_trust=[clock().root.pem])
    assert first_three(found) == ["ok", "ok", "unknown"]
    assert step_text(found.steps[2]).startswith("no time stamp: 2026-11-20 16:00 UTC as the signer")
    stamped = signed(stamper=Within())
    data = countersigned(stamped)
    found = verify_sheet(
        data,
        trust=[identity().pem],
        client_trust=[identity("Cleo Client").pem],
        timestamp_trust=[clock().root.pem],
    )
    assert first_three(found) == ["ok", "ok", "unknown"]
    assert step_text(found.steps[2]).startswith(
        "facility: 2026-11-20 16:00 UTC by a trusted time stamp"
    )
    assert step_details(found.steps[2])[0].startswith("client: no time stamp")


def test_authorities_of_signers_are_none_of_time() -> None:
    """A facility with an authority of its own does not stamp its own time."""
    own = clock()
    data = signed(stamper=Within(SIGNED, own))
    found = verify_sheet(data, trust=[identity().pem, own.root.pem])
    assert "its authority not checked" in step_text(found.steps[2])


def test_an_authority_that_has_expired_meanwhile_still_vouches() -> None:
    data = unchecked(signer("issued"), IN_TIME)
    found = verify_sheet(data, trust=[authority().pem])
    assert found.steps[1].status == "ok"
    assert "issued under Kelp Authority, which is trusted (revocation not checked)" in (
        step_text(found.steps[1])
    )


@pytest.mark.parametrize(
    ("start", "state"), [(LONG_AGO + YEAR, "was not yet valid"), (LONG_AGO - YEAR, "had expired")]
)
def test_an_authority_between_vouches_while_it_is_valid(start: datetime, state: str) -> None:
    """One that is trusted by name vouches as long as it is; those below it have their dates."""
    between = issued("Between", authority(), ca=True, start=start, life=YEAR / 2)
    early = issued("Early Bird", between, start=LONG_AGO, life=YEAR)
    data = unchecked(early, IN_TIME)
    assert first_three(verify_sheet(data, trust=[between.pem])) == ["ok"] * 3
    found = verify_sheet(data, trust=[authority().pem])
    assert first_three(found) == ["ok", "fail", "ok"]
    assert step_text(found.steps[1]).endswith(
        f"trusted certificates: the certificate of its authority {state} on 2011-03-16"
    )


def test_inside_a_running_event_loop() -> None:
    data = sealed(evidence())

    async def inside() -> tuple[Verification, bytes]:
        return verify_sheet(data, trust=[identity().pem]), signed()

    found, again = asyncio.run(inside())
    assert found.exit_code == 0
    assert again.startswith(b"%PDF")
