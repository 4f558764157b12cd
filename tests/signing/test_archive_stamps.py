"""Archive stamps: what may follow a signature, revocation at the time of signing, years later."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from functools import cache
from typing import Any

import pytest
from asn1crypto import crl, x509
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.x509.oid import ExtendedKeyUsageOID
from helpers import many_stamps
from helpers.authorities import (
    YEAR,
    Clock,
    Holder,
    Within,
    issued,
    leaf,
    middle,
    revocation_list,
    root,
)
from helpers.signing import MADE, SIGNED, countersigned, signed
from helpers.tampering import (
    new_annotation,
    new_attachment,
    new_packet,
    new_text,
    new_title,
    nothing_but_written,
    updated,
)
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

from compliance.model.signatures import Detached, Signer
from compliance.signing.archive import add_archive_stamp
from compliance.signing.certificates import read_certificates
from compliance.signing.detached import read_detached, sign_detached
from compliance.signing.read import PdfSignatures, read_signatures
from compliance.signing.revocation import NOTHING, Material

DAY = timedelta(days=1)


@cache
def short_clock() -> Clock:
    """A clock whose certificates expire after two years."""
    top, own = (rsa.generate_private_key(65537, 2048) for _ in range(2))
    first = issued("Short Clocks", ca=True, key=top, life=2 * YEAR)
    stamping = [ExtendedKeyUsageOID.TIME_STAMPING]
    return Clock(first, issued("Short Clock", first, key=own, life=2 * YEAR, extended=stamping))


def material(
    revoked: Mapping[Holder, datetime] | None = None, *, at: datetime = SIGNED
) -> Material:
    """The authorities' certificates and lists as of a time."""
    return Material(
        tuple(x509.Certificate.load(each.identity.signer.certificate) for each in (middle(),)),
        tuple(
            crl.CertificateList.load(revocation_list(each, revoked, at=at))
            for each in (middle(), root(), short_clock().root)
        ),
    )


def archived(
    data: bytes, found: Material | None = None, when: datetime = SIGNED, by: Clock | None = None
) -> bytes:
    return add_archive_stamp(data, found or material(), Within(when, by or short_clock()))


@cache
def once() -> bytes:
    return signed(who=leaf().identity, stamper=Within(SIGNED, short_clock()))


@cache
def kept() -> bytes:
    return archived(once())


@cache
def kept_twice() -> bytes:
    """Signed, stamped, countersigned, stamped again later."""
    data = countersigned(kept(), when=SIGNED + DAY)
    return archived(data, material(at=SIGNED + 2 * DAY), SIGNED + 2 * DAY)


def trusting(*holders: Holder) -> list[Signer]:
    return [signer for each in holders for signer in read_certificates(each.pem)]


def read(data: bytes, *lists: bytes) -> PdfSignatures:
    """As a verifier reads it who trusts both roots."""
    return read_signatures(data, trusting(root()), trusting(short_clock().root), lists=lists)


def faults(data: bytes) -> tuple[str, ...]:
    try:
        return read_signatures(data).all_faults
    except Exception as error:
        return (f"{type(error).__name__}: {error}",)


# ---------------------------------------------------------------- what may follow


def test_an_archive_stamp_is_no_change() -> None:
    seal = read(kept())
    assert seal.all_faults == ()
    assert [each.field for each in seal.signatures] == ["FacilitySignature"]
    (stamp,) = seal.stamps
    assert (stamp.field, stamp.stamp.time, stamp.covers) == ("ArchiveStamp1", SIGNED, 1)
    assert stamp.stamp.authority.name == "Short Clock"
    assert kept().startswith(once())


def test_signatures_may_follow_archive_stamps() -> None:
    seal = read(kept_twice())
    assert seal.all_faults == ()
    assert [each.field for each in seal.signatures] == ["FacilitySignature", "Countersignature"]
    assert [(each.field, each.covers) for each in seal.stamps] == [
        ("ArchiveStamp1", 1),
        ("ArchiveStamp2", 2),
    ]


@pytest.mark.parametrize(("make", "flips"), [(kept, 60), (kept_twice, 20)])
def test_a_flipped_byte_anywhere_is_refused(make: Callable[[], bytes], flips: int) -> None:
    chance = random.Random(7)
    data = make()
    for _ in range(flips):
        place, change = chance.randrange(len(once()), len(data)), chance.randrange(1, 256)
        broken = bytearray(data)
        broken[place] ^= change
        assert faults(bytes(broken)), f"byte {place} of {len(data)} changed by {change}"


Change = Callable[[Any], None]


@pytest.mark.parametrize(
    "change",
    [new_title, new_packet, nothing_but_written, new_annotation, new_attachment, new_text],
)
@pytest.mark.parametrize("make", [kept, kept_twice])
def test_an_incremental_update_is_refused(make: Callable[[], bytes], change: Change) -> None:
    told = "; ".join(faults(updated(make(), change)))
    assert "it was changed without being signed" in told
    assert "data was added after it" in told


def archived_with(change: Change, data: bytes | None = None) -> bytes:
    """With a change that the archive stamp's own revision makes, under its time stamp."""
    before = data or once()
    with pytest.MonkeyPatch.context() as patch:
        begin = IncrementalPdfFileWriter.__init__

        def changing(self: Any, *arguments: Any, **named: Any) -> None:
            begin(self, *arguments, **named)
            change(self)

        patch.setattr(IncrementalPdfFileWriter, "__init__", changing)
        return archived(before, Material())


def name(text: str) -> generic.NameObject:
    return generic.NameObject(text)


def plain(data: bytes, **entries: Any) -> generic.StreamObject:
    found = generic.StreamObject(stream_data=data)
    for key, value in entries.items():
        found[name(f"/{key}")] = value
    return found


def catalog(key: str, value: Any) -> Change:
    def change(writer: Any) -> None:
        writer.root[name(key)] = value
        writer.update_root()

    return change


def in_store(key: str, value: Callable[[Any], Any]) -> Change:
    def change(writer: Any) -> None:
        store = generic.DictionaryObject({name(key): value(writer)})
        writer.root[name("/DSS")] = writer.add_object(store)
        writer.update_root()

    return change


def streams(*made: generic.StreamObject) -> Callable[[Any], Any]:
    return lambda writer: generic.ArrayObject([writer.add_object(each) for each in made])


def new_object(writer: Any) -> None:
    writer.add_object(plain(b"hidden"))


def other_box(writer: Any) -> None:
    box = writer.root["/AcroForm"]["/Fields"][1]
    box[name("/TU")] = generic.TextStringObject("Approved")
    writer.update_container(box)


def other_page(writer: Any) -> None:
    page = writer.root["/Pages"]["/Kids"][0]
    page[name("/Rotate")] = generic.NumberObject(180)
    writer.update_container(page)


def other_form(writer: Any) -> None:
    form = writer.root["/AcroForm"]
    form[name("/DA")] = generic.TextStringObject("/Helv 0 Tf")
    writer.update_container(form)


LIST = revocation_list
WITHIN: Mapping[str, tuple[Change, str]] = {
    "title": (new_title, "the file's title was changed"),
    "metadata": (new_packet, "the file's metadata were changed"),
    "note": (new_annotation, "adds more than it should: the page"),
    "text": (new_text, "adds more than it should: the page"),
    "attachment": (new_attachment, "adds more than it should: object"),
    "hidden object": (new_object, "adds more than it should: object"),
    "box": (other_box, "adds more than it should: object"),
    "page": (other_page, "adds more than it should: the page"),
    "form": (other_form, "adds more than it should: the form"),
    "action": (
        catalog("/OpenAction", generic.DictionaryObject({name("/S"): name("/Named")})),
        "adds more than it should: the catalog",
    ),
    "language": (
        catalog("/Lang", generic.TextStringObject("fr")),
        "adds more than it should: the catalog",
    ),
    "other key in the store": (
        in_store("/VRI", lambda _: generic.DictionaryObject()),
        "/DSS contains more than certificates and revocation data",
    ),
    "text in the store": (
        in_store("/CRLs", streams(plain(b"hello"))), "/CRLs contains something else",
    ),
    "a list in the wrong place": (
        in_store("/Certs", streams(plain(LIST(root())))), "/Certs contains something else",
    ),
    "more behind a list": (
        in_store("/CRLs", streams(plain(LIST(root()) + b"x"))), "/CRLs contains something else",
    ),
    "a stream with entries": (
        in_store("/CRLs", streams(plain(LIST(root()), Note=generic.NumberObject(1)))),
        "/CRLs contains something else",
    ),
    "a number in the store": (
        in_store("/CRLs", lambda _: generic.NumberObject(1)), "/CRLs is not a list",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", WITHIN)
def test_an_archive_stamp_covers_no_other_change(case: str) -> None:
    change, words = WITHIN[case]
    told = "; ".join(faults(archived_with(change)))
    assert words in told


def test_a_store_may_not_lose_what_it_had() -> None:
    def emptied(writer: Any) -> None:
        writer.root["/DSS"][name("/CRLs")] = generic.ArrayObject()
        writer.update_container(writer.root["/DSS"])

    told = "; ".join(faults(archived_with(emptied, kept())))
    assert "/CRLs does not continue the earlier one" in told


def test_a_signature_does_not_touch_the_store() -> None:
    def stored(writer: Any) -> None:
        if "/DSS" not in writer.root:
            in_store("/CRLs", streams(plain(LIST(root()))))(writer)

    before = once()
    with pytest.MonkeyPatch.context() as patch:
        begin = IncrementalPdfFileWriter.__init__

        def changing(self: Any, *arguments: Any, **named: Any) -> None:
            begin(self, *arguments, **named)
            stored(self)

        patch.setattr(IncrementalPdfFileWriter, "__init__", changing)
        data = countersigned(before)
    assert "/DSS was added to the file's catalog" in "; ".join(faults(data))
    told = "; ".join(faults(archived(data)))
    assert "Countersignature: its revision adds more than it should: it changes /DSS" in told


# ---------------------------------------------------------------- revocation, years later


def test_an_archived_sheet_is_judged_by_what_it_contains() -> None:
    """The first archive stamp still existed when the second was made: it is judged up to then."""
    seal = read(kept_twice())
    first = seal.signatures[0]
    assert first.trusted_as == (
        "its certificate was issued under Kelp Authority, which is trusted (not revoked on "
        "2026-11-20)"
    )
    assert first.revocation is not None
    assert first.revocation.checked
    assert first.revocation.proven
    assert first.moment == SIGNED
    assert [each.stamp.trusted_as for each in seal.stamps] == [
        "its certificate was issued under Short Clocks, which is trusted (not revoked on "
        "2026-11-22)",
        "its certificate was issued under Short Clocks, which is trusted (not revoked on "
        "2026-11-22)",
    ]


def test_without_lists_revocation_is_not_checked() -> None:
    seal = read(archived(once(), Material()))
    assert seal.all_faults == ()
    assert seal.signatures[0].revocation is None
    assert "(revocation not checked)" in str(seal.signatures[0].trusted_as)


def first_of(data: bytes, *lists: bytes) -> Any:
    seal = read(data, *lists)
    assert seal.all_faults == ()
    return seal.signatures[0]


def test_a_certificate_revoked_before_it_signed_is_not_trusted() -> None:
    when = SIGNED - timedelta(hours=1)
    for data, lists in (
        (archived(once(), material({leaf(): when})), ()),
        (once(), (revocation_list(middle(), {leaf(): when}), revocation_list(root()))),
        (kept(), (revocation_list(middle(), {leaf(): when}, at=SIGNED + 900 * DAY),)),
    ):
        found = first_of(data, *lists)
        assert found.trusted_as is None
        assert found.why_not == "its certificate was revoked on 2026-11-20"
        assert found.revocation.bad
        assert found.revocation.revoked == when


def test_an_authority_revoked_before_is_told_apart() -> None:
    found = first_of(archived(once(), material({middle(): SIGNED - DAY / 24})))
    assert found.why_not == "the certificate of an authority above it was revoked on 2026-11-20"


def test_a_certificate_revoked_later_holds_where_a_stamp_proves_the_time() -> None:
    later = revocation_list(middle(), {leaf(): SIGNED + 9 * DAY}, at=SIGNED + 10 * DAY)
    found = first_of(kept(), later)
    assert "(not revoked on 2026-11-20; revoked on 2026-11-29)" in found.trusted_as
    assert not found.revocation.bad
    assert not found.revocation.doubtful
    claimed = signed(who=leaf().identity)
    doubtful = first_of(claimed, later, revocation_list(root()))
    assert doubtful.revocation.doubtful
    assert not doubtful.revocation.bad
    assert not first_of(archived(claimed), later).revocation.doubtful


def test_a_list_that_was_out_of_date_checks_nothing() -> None:
    old = material(at=SIGNED - 8 * DAY)
    found = first_of(archived(once(), old))
    assert not found.revocation.checked
    assert "revocation not checked: " in found.trusted_as
    young = first_of(archived(once(), material(at=SIGNED + DAY)))
    assert young.revocation.checked


def test_a_list_of_another_authority_of_that_name_checks_nothing() -> None:
    other = issued("Kelp Signers", ca=True)
    found = first_of(once(), revocation_list(other, {leaf(): MADE}), revocation_list(root()))
    assert not found.revocation.checked
    assert found.trusted_as is not None


def test_a_revoked_authority_of_time_proves_nothing() -> None:
    revoked = material({short_clock().stamping: SIGNED - DAY / 24})
    seal = read(archived(once(), revoked))
    assert [each.stamp.trusted_as for each in seal.stamps] == [None]
    stamp = seal.signatures[0].stamp
    assert stamp is not None
    assert stamp.trusted_as is None
    assert stamp.why_not == "its certificate was revoked on 2026-11-20"


def test_a_certificate_trusted_as_it_is_can_be_revoked() -> None:
    data = archived(once(), material({leaf(): SIGNED - DAY / 24}))
    (found,) = read_signatures(data, trusting(leaf())).signatures
    assert found.trusted_as is None
    (good,) = read_signatures(kept(), trusting(leaf())).signatures
    assert good.trusted_as == "its certificate is among the trusted (not revoked on 2026-11-20)"


def test_a_store_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    data = kept()
    monkeypatch.setattr("compliance.signing.later_revisions.LARGEST_STORE", 1 << 10)
    assert "/DSS has more than" in "; ".join(faults(data))


def test_lists_of_the_verifier_judge_detached_signatures_too() -> None:
    data = b"a delivery's list"
    signature = sign_detached(data, leaf().identity, when=SIGNED)

    def judged(*revoked: Holder, when: datetime) -> Detached:
        lists = [revocation_list(middle(), dict.fromkeys(revoked, when)), revocation_list(root())]
        return read_detached(data, signature, trusting(root()), lists=lists)

    good = judged(when=SIGNED)
    assert "(not revoked on 2026-11-20)" in str(good.trusted_as)
    bad = judged(leaf(), when=SIGNED - DAY / 24)
    assert bad.trusted_as is None
    assert bad.revocation is not None
    assert bad.revocation.bad
    late = judged(leaf(), when=SIGNED + DAY / 24)
    assert late.revocation is not None
    assert late.revocation.doubtful


def test_a_file_of_as_many_signatures_as_there_may_be(monkeypatch: pytest.MonkeyPatch) -> None:
    """A file of 20 revisions is in `tests/bench/worst_sheets.py`; here 4 are the most."""
    monkeypatch.setattr("compliance.signing.pdf_file.MOST_REVISIONS", 4)
    data = many_stamps.stamped(2)
    seal = read_signatures(data)
    assert (len(seal.signatures), len(seal.stamps)) == (1, 2)
    assert seal.all_faults == ()
    more = add_archive_stamp(data, NOTHING, Within(SIGNED + 3 * DAY))
    with pytest.raises(ValueError, match="more than 4 revisions"):
        read_signatures(more)
