"""Long-lived signatures: what is collected, from where, and that it holds without the servers."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from datetime import datetime, timedelta
from io import BytesIO

import pytest
from asn1crypto import x509
from helpers.authorities import YEAR, issued, revocation_list
from helpers.authority_server import Desk, People, people, serving_desk
from helpers.signing import SIGNED, countersigned, identity, signed
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.ades.report import AdESPassed
from pyhanko.sign.validation.ades import ades_lta_validation
from pyhanko.sign.validation.policy_decl import (
    PdfSignatureValidationSpec,
    RevinfoOnlineFetchingRule,
    RevocationInfoGatheringSpec,
    SignatureValidationSpec,
)
from pyhanko_certvalidator.context import CertValidationPolicySpec
from pyhanko_certvalidator.ltv.types import ValidationTimingInfo
from pyhanko_certvalidator.policy_decl import (
    CertRevTrustPolicy,
    RevocationCheckingPolicy,
    RevocationCheckingRule,
)
from pyhanko_certvalidator.registry import SimpleTrustManager

from compliance.errors import RevocationError
from compliance.signing.archive import archive
from compliance.signing.certificates import read_certificates
from compliance.signing.fetch import Fetcher
from compliance.signing.later_revisions import read_store
from compliance.signing.read import USAGE, PdfSignatures, read_signatures
from compliance.signing.timestamps import Stamper

DAY = timedelta(days=1)


@pytest.fixture
def desk() -> Iterator[Desk]:
    with serving_desk() as found:
        yield found


def stamper(desk: Desk) -> Stamper:
    return Stamper(f"{desk.url}/tsa")


def once(desk: Desk, who: People) -> bytes:
    return signed(who=who.facility.identity, stamper=stamper(desk))


def kept(desk: Desk, data: bytes, when: datetime | None = None) -> bytes:
    fetcher = Fetcher(allow_private=True)
    return archive(data, when=when or desk.now, stamper=stamper(desk), fetcher=fetcher)


def read(data: bytes, who: People) -> PdfSignatures:
    roots, clocks = (read_certificates(each) for each in who.trust())
    return read_signatures(data, roots, clocks)


def store(data: bytes) -> dict[str, int]:
    found = read_store(PdfFileReader(BytesIO(data)))
    return {key: len(each) for key, each in found.items()}


def test_a_signature_is_kept_with_what_its_certificates_name(desk: Desk) -> None:
    who = people(desk)
    data = kept(desk, once(desk, who))
    seal = read(data, who)
    assert seal.all_faults == ()
    assert seal.signatures[0].trusted_as == (
        "its certificate was issued under Wide Authority, which is trusted (not revoked on "
        "2026-11-20)"
    )
    assert seal.stamps[0].stamp.trusted_as == (
        "its certificate was issued under Clock Authority, which is trusted (not revoked on "
        "2026-11-20)"
    )
    fetched = [each for each in desk.asked if each != "/tsa"]
    assert fetched == [
        "/middle.cer",
        "/root.cer",
        "/root.crl",
        "/ocsp",
        "/clock.cer",
        "/clock.crl",
    ]
    assert store(data) == {"/Certs": 3, "/CRLs": 2, "/OCSPs": 1}


def test_order_and_renewal(desk: Desk) -> None:
    """Signed, stamped, countersigned, stamped again, and years later once more."""
    who = people(desk)
    data = kept(desk, once(desk, who))
    data = kept(desk, countersigned(data, who.client.identity, stamper=stamper(desk)))
    desk.now = SIGNED + 2 * YEAR
    data = kept(desk, data)
    seal = read(data, who)
    assert seal.all_faults == ()
    assert [each.covers for each in seal.stamps] == [1, 2, 2]
    assert all(each.trusted_as for each in seal.signatures)
    for each in seal.signatures:
        assert each.revocation is not None
        assert each.revocation.checked


def test_another_library_validates_it_after_the_signers_certificate_has_expired(
    desk: Desk,
) -> None:
    """(pyHanko's own judgement by ETSI EN 319 102-1, 5.6.3; only the stamp's is still valid.)"""
    who = people(desk)
    data = once(desk, who)
    desk.now = SIGNED + timedelta(hours=1)  # lists and answers younger than the signature
    data = kept(desk, data)
    now = SIGNED + 2 * YEAR
    roots = [x509.Certificate.load(read_certificates(each)[0].certificate) for each in who.trust()]

    def policy(rule: RevocationCheckingRule) -> CertValidationPolicySpec:
        return CertValidationPolicySpec(
            trust_manager=SimpleTrustManager.build(roots),
            revinfo_policy=CertRevTrustPolicy(
                RevocationCheckingPolicy(rule, rule), retroactive_revinfo=True
            ),
        )

    specification = SignatureValidationSpec(
        cert_validation_policy=policy(RevocationCheckingRule.CRL_OR_OCSP_REQUIRED),
        ts_cert_validation_policy=policy(RevocationCheckingRule.NO_CHECK),
        revinfo_gathering_policy=RevocationInfoGatheringSpec(RevinfoOnlineFetchingRule.LOCAL_ONLY),
        key_usage_settings=USAGE,
    )
    found = asyncio.run(
        ades_lta_validation(
            PdfFileReader(BytesIO(data)).embedded_regular_signatures[0],
            PdfSignatureValidationSpec(specification),
            timing_info=ValidationTimingInfo(now, now, point_in_time_validation=True),
        )
    )
    assert found.ades_subindic is AdESPassed.OK
    assert found.best_signature_time == SIGNED


def test_lists_take_the_place_of_answers(desk: Desk) -> None:
    who = people(desk)
    del desk.answers["/ocsp"]
    seal = read(data := kept(desk, once(desk, who)), who)
    assert seal.signatures[0].revocation is not None
    assert seal.signatures[0].revocation.checked
    assert store(data) == {"/Certs": 3, "/CRLs": 3}


def test_what_the_file_has_is_not_fetched_again(desk: Desk) -> None:
    who = people(desk)
    data = kept(desk, once(desk, who))
    desk.asked.clear()
    again = kept(desk, data)
    assert set(desk.asked) == {"/tsa"}
    assert store(again) == store(data)


def test_a_later_archive_stamp_needs_no_more_of_authorities_that_are_gone(desk: Desk) -> None:
    who = people(desk)
    data = kept(desk, once(desk, who))
    desk.now = SIGNED + YEAR
    for gone in ("/middle.crl", "/root.crl"):
        del desk.lists[gone]
    desk.answers.clear()
    desk.files.clear()
    seal = read(kept(desk, data), who)
    assert seal.all_faults == ()
    assert seal.signatures[0].revocation is not None
    assert seal.signatures[0].revocation.checked


def refused(desk: Desk, data: bytes) -> str:
    with pytest.raises(RevocationError) as caught:
        kept(desk, data)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_a_revoked_certificate_is_not_kept(desk: Desk) -> None:
    who = people(desk)
    data = once(desk, who)
    desk.revoked[who.facility] = SIGNED - DAY / 2
    assert refused(desk, data) == ("the certificate of Wide Facility was revoked on 2026-11-20")
    desk.revoked = {who.middle: SIGNED - DAY / 2}
    assert "the certificate of Wide Signers was revoked on" in refused(desk, data)
    desk.revoked = {who.clock.stamping: SIGNED - DAY / 2}
    assert "the certificate of Wide Clock was revoked on" in refused(desk, data)


def test_without_an_answer_or_a_list_nothing_is_kept(desk: Desk) -> None:
    who = people(desk)
    data = once(desk, who)
    desk.answers.clear()
    desk.files["/middle.crl"] = b"hello"
    del desk.lists["/middle.crl"]
    told = refused(desk, data)
    assert told.startswith("no revocation list or answer for the certificate of Wide Facility: ")
    assert told.endswith("/middle.crl: it has no revocation list (RFC 5280, DER)")
    desk.lists["/middle.crl"] = who.root
    del desk.files["/middle.crl"]
    assert refused(desk, data).endswith("its revocation list is another authority's")
    forged = issued("Wide Signers", ca=True)
    desk.lists["/middle.crl"] = forged
    assert "what it answers does not tell" in refused(desk, data)
    del desk.lists["/middle.crl"]
    desk.files["/middle.crl"] = revocation_list(who.middle, at=SIGNED - 30 * DAY)
    assert "what it answers does not tell" in refused(desk, data)


def test_a_sheet_carries_no_more_than_it_can(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    data = once(desk, people(desk))
    monkeypatch.setattr("compliance.signing.archive.LARGEST_STORE", 1 << 10)
    assert "a sheet cannot carry them" in refused(desk, data)


def test_private_addresses_are_not_asked_unless_allowed(desk: Desk) -> None:
    who = people(desk)
    data = once(desk, who)
    with pytest.raises(RevocationError, match=r"127\.0\.0\.1 is not a public address"):
        archive(data, when=SIGNED, stamper=stamper(desk), fetcher=Fetcher())
    assert set(desk.asked) == {"/tsa"}


def test_a_certificate_without_addresses(desk: Desk) -> None:
    who = people(desk)
    bare = issued("Bare", who.middle)
    told = refused(desk, signed(who=bare.identity, stamper=stamper(desk)))
    assert told.startswith("the certificate of Bare names no address of a revocation list (CRL)")
    own = kept(desk, signed(who=identity(), stamper=stamper(desk)))
    seal = read(own, who)
    assert seal.all_faults == ()
    assert seal.signatures[0].revocation is None
    assert seal.stamps[0].stamp.trusted_as is not None
