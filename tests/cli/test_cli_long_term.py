"""`--long-term` and `archive`: sheets that outlive certificates and authorities; `verify --crl`."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.x509 import load_der_x509_crl
from helpers.authorities import Holder, revocation_list
from helpers.authority_server import Desk, People, people, serving_desk
from helpers.desk import write_desk
from helpers.evidence_of_a_slot import assessment
from helpers.signing import SIGNED

from compliance.sheet.make_sheet import write_sheet
from compliance.signing.timestamps import Stamper

Run = Callable[..., subprocess.CompletedProcess[str]]
NOW = ("--now", f"{SIGNED:%Y-%m-%dT%H:%M:%SZ}")
LATER = ("--now", "2060-01-01T00:00:00Z")
"""When everything but trust has expired."""
PRIVATE = "--allow-private-addresses"


@pytest.fixture
def desk() -> Iterator[Desk]:
    with serving_desk() as found:
        yield found


@pytest.fixture
def who(desk: Desk, tmp_path: Path) -> People:
    """The authority's people, with their keys and roots as files."""
    found = people(desk)
    for name, holder in (("facility", found.facility), ("client", found.client)):
        (tmp_path / f"{name}.pem").write_bytes(holder.key_file() + holder.chain)
        (tmp_path / f"{name}.pem").chmod(0o600)
    (tmp_path / "client-own.pem").write_bytes(found.client.pem)
    for name, root in zip(("root.pem", "clocks.pem"), found.trust(), strict=True):
        (tmp_path / name).write_bytes(root)
    return found


TRUST = (
    *("--trust", "root.pem", "--client-trust", "client-own.pem"),
    *("--timestamp-trust", "clocks.pem"),
)


def sheet(desk: Desk, who: People, folder: Path) -> None:
    stamper = Stamper(f"{desk.url}/tsa")
    data = write_sheet(assessment(), identity=who.facility.identity, stamper=stamper)
    (folder / "sheet.pdf").write_bytes(data)


def words(done: subprocess.CompletedProcess[str]) -> str:
    return " ".join(done.stdout.split())


def test_signed_countersigned_and_stamped_it_holds_when_all_is_gone(
    desk: Desk, who: People, compliance: Run, tmp_path: Path
) -> None:
    sheet(desk, who, tmp_path)
    tsa = ("--timestamp", f"{desk.url}/tsa")
    done = compliance("archive", "sheet.pdf", *tsa, *NOW, PRIVATE)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == f"{assessment().number}: archive stamp 1, which covers the whole sheet\n"
    key = ("--identity", "client.pem")
    done = compliance("countersign", "sheet.pdf", *key, *tsa, *NOW, "--long-term", PRIVATE)
    assert (done.returncode, done.stderr) == (0, "")
    for files in (desk.lists, desk.answers, desk.files, desk.clocks):
        files.clear()
    asked = len(desk.asked)
    done = compliance("verify", "sheet.pdf", *TRUST, *LATER)
    assert done.returncode == 0, done.stdout
    for text in (
        "unchanged since signing: 2 signatures and 2 archive stamps, the last covers the whole",
        "ArchiveStamp2: only a time stamp and revocation data were added",
        "issued under Wide Authority, which is trusted (not revoked on 2026-11-20)",
        "archive stamp: 2026-11-20 16:00 UTC by a trusted time stamp, Wide Clock, whose "
        "certificate is valid to 2029-11-19",
    ):
        assert text in words(done)
    assert len(desk.asked) == asked, "verify fetches nothing"
    done = compliance("verify", "sheet.pdf", *TRUST, *LATER, "--format", "json")
    (data,) = json.loads(done.stdout)["sheets"]
    assert [each["revocation"] for each in data["signatures"]] == 2 * [
        {"checked": True, "until": "2026-11-20T16:00:00Z", "revoked": None}
    ]
    assert [each["field"] for each in data["archive_stamps"]] == ["ArchiveStamp1", "ArchiveStamp2"]
    assert all(each["stamp_trusted"] for each in data["archive_stamps"])
    done = compliance("verify", "sheet.pdf", "--trust", "root.pem", *LATER)
    assert "archive stamp of Wide Clock: 2026-11-20 16:00 UTC, its authority not checked" in words(
        done
    )


def test_assess_long_term(desk: Desk, who: People, compliance: Run, tmp_path: Path) -> None:
    write_desk(tmp_path, "good")
    key = ("--identity", "facility.pem", "--timestamp", f"{desk.url}/tsa")
    done = compliance("assess", "job.yaml", "--out", "out", *key, *NOW, "--long-term", PRIVATE)
    assert (done.returncode, done.stderr) == (0, "")
    (made,) = (tmp_path / "out").glob("*.pdf")
    done = compliance("verify", str(made), *TRUST, *LATER)
    assert "1 signature and 1 archive stamp, the last covers the whole file" in words(done)
    desk.revoked[who.facility] = SIGNED - timedelta(hours=1)
    done = compliance("assess", "job.yaml", "--out", "two", *key, *NOW, "--long-term", PRIVATE)
    assert done.returncode == 4
    assert "the certificate of Wide Facility was revoked on 2026-11-20" in done.stderr
    assert not list((tmp_path / "two").glob("*.pdf"))


def test_without_leave_no_private_address_is_asked(
    desk: Desk, who: People, compliance: Run, tmp_path: Path
) -> None:
    sheet(desk, who, tmp_path)
    before = (tmp_path / "sheet.pdf").read_bytes()
    desk.asked.clear()
    done = compliance("archive", "sheet.pdf", "--timestamp", f"{desk.url}/tsa", *NOW)
    assert done.returncode == 4
    assert "/middle.crl: 127.0.0.1 is not a public address" in done.stderr
    assert set(desk.asked) == {"/tsa"}
    assert (tmp_path / "sheet.pdf").read_bytes() == before


def crl(by: Holder, *revoked: Holder, hours: int) -> bytes:
    """A list of two weeks later, with those revoked so many hours after the signature."""
    when = SIGNED + timedelta(hours=hours)
    return revocation_list(by, dict.fromkeys(revoked, when), at=SIGNED + timedelta(days=14))


def test_lists_of_the_verifier(desk: Desk, who: People, compliance: Run, tmp_path: Path) -> None:
    sheet(desk, who, tmp_path)
    pem = load_der_x509_crl(crl(who.root, hours=0)).public_bytes(serialization.Encoding.PEM)
    (tmp_path / "root.crl").write_bytes(pem)
    trust = ("--trust", "root.pem", "--crl", "root.crl", "--crl", "middle.crl", *LATER)

    def verified(revoked: tuple[Holder, ...], hours: int, *more: str) -> tuple[int, str]:
        (tmp_path / "middle.crl").write_bytes(crl(who.middle, *revoked, hours=hours))
        chain = ("--trust", "middle.pem")
        done = compliance("verify", "sheet.pdf", *trust, *chain, *more)
        return done.returncode, words(done)

    (tmp_path / "middle.pem").write_bytes(who.middle.pem)
    code, told = verified((), 0)
    assert code == 0
    assert "(not revoked on 2026-11-20)" in told
    code, told = verified((who.facility,), -1)
    assert code == 1
    assert "its certificate was revoked on 2026-11-20 15:00 UTC, before 2026-11-20 16:00" in told
    code, told = verified((who.facility,), +1)
    assert code == 3
    assert "no trusted time stamp proves that it was signed before" in told
    code, told = verified((who.facility,), +1, "--timestamp-trust", "clocks.pem")
    assert code == 0
    assert "(not revoked on 2026-11-20; revoked on 2026-11-20)" in told
    (tmp_path / "middle.crl").write_bytes(b"hello")
    done = compliance("verify", "sheet.pdf", *trust)
    assert done.returncode == 2
    assert done.stderr.startswith("compliance: middle.crl: is not a revocation list; expected PEM")


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--long-term",), "--long-term requires --timestamp URL"),
        (
            ("--long-term", "--timestamp", "http://c.example/", "--timestamp-optional"),
            "--long-term requires --timestamp URL, without --timestamp-optional",
        ),
        ((PRIVATE,), "--allow-private-addresses requires --long-term"),
    ],
)
def test_options_that_do_not_fit(
    options: tuple[str, ...], told: str, who: People, compliance: Run
) -> None:
    done = compliance("countersign", "sheet.pdf", "--identity", "client.pem", *options)
    assert done.returncode == 2
    assert told in done.stderr


def test_a_changed_sheet_is_not_stamped(
    desk: Desk, who: People, compliance: Run, tmp_path: Path
) -> None:
    sheet(desk, who, tmp_path)
    data = bytearray((tmp_path / "sheet.pdf").read_bytes())
    data[3000] ^= 1
    (tmp_path / "sheet.pdf").write_bytes(data)
    desk.asked.clear()
    done = compliance("archive", "sheet.pdf", "--timestamp", f"{desk.url}/tsa", *NOW)
    assert done.returncode == 2
    assert "sheet.pdf: not stamped: the sheet is not valid: " in done.stderr
    assert not desk.asked
