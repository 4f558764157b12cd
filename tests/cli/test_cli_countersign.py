"""`compliance countersign`: the second signature, and when there is none."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator
from datetime import timedelta
from functools import cache
from pathlib import Path

import pytest
from helpers.authorities import clock
from helpers.evidence_of_a_slot import assessment
from helpers.signing import MADE, PASSWORD, SIGNED, countersigned, identity, run, signed, tool
from helpers.timeserver import Answer, serving

from compliance.report.verification import step_details, step_text
from compliance.sheet.make_sheet import archival_sheet, write_sheet
from compliance.signing.keys import new_identity
from compliance.signing.read import read_signatures
from compliance.signing.timestamps import REPLY
from compliance.verification import verify_sheet

Run = Callable[..., subprocess.CompletedProcess[str]]
NOW = ("--now", f"{SIGNED + timedelta(hours=2):%Y-%m-%dT%H:%M:%SZ}")


@cache
def sheet() -> bytes:
    return write_sheet(assessment(), identity=identity())


@cache
def clients_key() -> bytes:
    return new_identity("Cleo Client", "Tidal Pictures", "cleo@example.org", PASSWORD, MADE)


@pytest.fixture
def client(compliance: Run, tmp_path: Path) -> Run:
    """`countersign` with the client's key, in a folder with a sheet."""
    (tmp_path / "sheet.pdf").write_bytes(sheet())
    (tmp_path / "client.p12").write_bytes(clients_key())
    (tmp_path / "password.txt").write_text(PASSWORD + "\n")

    def call(*more: str, name: str = "sheet.pdf") -> subprocess.CompletedProcess[str]:
        key = ("--identity", "client.p12", "--password-file", "password.txt")
        return compliance("countersign", name, *key, *(() if "--now" in more else NOW), *more)

    return call


def test_in_place_with_a_role(client: Run, compliance: Run, tmp_path: Path) -> None:
    done = client("--as", "Supervising engineer")
    assert (done.returncode, done.stderr) == (0, "")
    said, made = done.stdout.splitlines()
    assert said == (
        f"{assessment().number} says: conditionally compliant; "
        "signed by Ada Quill as facility on 2026-11-20 16:00 UTC; "
        "measure again by 2026-12-20 10:00 UTC"
    )
    assert made == "sheet.pdf: countersigned by Cleo Client as Supervising engineer"
    data = (tmp_path / "sheet.pdf").read_bytes()
    assert data.startswith(sheet())
    assert not list(tmp_path.glob(".*.part"))
    (tmp_path / "me.pem").write_bytes(identity().pem)
    shown = compliance("verify", "sheet.pdf", "--trust", "me.pem")
    assert shown.returncode == 3
    text = " ".join(shown.stdout.split())
    for words in (
        "file intact: unchanged since signing: 2 signatures, the last covers the whole file",
        "Countersignature, Supervising engineer: only this signature was added since the one",
        "facility: Ada Quill, Low House, ada@example.org (self-issued): its certificate is among",
        "Supervising engineer: Cleo Client, Tidal Pictures, cleo@example.org (self-issued): count",
        "facility: 2026-11-20 16:00 UTC as the signer claims",
        "Supervising engineer: 2026-11-20 18:00 UTC as the signer claims",
    ):
        assert words in text


def test_to_another_file(client: Run, tmp_path: Path) -> None:
    done = client("--out", "signed/twice.pdf")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.endswith("\nsigned/twice.pdf: countersigned by Cleo Client as client\n")
    assert (tmp_path / "sheet.pdf").read_bytes() == sheet()
    assert (tmp_path / "signed" / "twice.pdf").read_bytes().startswith(sheet())
    done = client("--out", "signed/twice.pdf")
    assert done.returncode == 2
    assert done.stderr == (
        "compliance: signed/twice.pdf: already exists; use --replace to overwrite\n"
    )
    assert client("--out", "signed/twice.pdf", "--replace").returncode == 0


def test_the_box_shows_who_signed_as_whom(client: Run, tmp_path: Path) -> None:
    assert client("--as", "Supervising engineer").returncode == 0
    shown = run([tool("pdftotext"), "-layout", tmp_path / "sheet.pdf", "-"]).stdout
    for words in ("Signed by Ada Quill", "Signed by Cleo Client", "Supervising engineer, Tidal"):
        assert words in shown


@pytest.mark.parametrize("how", [["-png"], ["-png", "-gray"]])
def test_the_page_shows_both_boxes_in_colour_and_grey(
    client: Run, tmp_path: Path, how: list[str]
) -> None:
    """Drawn by poppler: ink in the client's box that was not there before."""
    page = str(archival_sheet(assessment()).boxes["Countersignature"][0] + 1)
    drawn = []
    for name in ("before", "after"):
        out = tmp_path / name
        done = run(
            [
                tool("pdftoppm"),
                *how,
                "-r",
                "60",
                "-f",
                page,
                "-l",
                page,
                tmp_path / "sheet.pdf",
                out,
            ]
        )
        assert done.returncode == 0, done.stderr
        assert "error" not in done.stderr.lower()
        (picture,) = tmp_path.glob(f"{name}-*.png")
        drawn.append(picture.read_bytes())
        if name == "before":
            assert client().returncode == 0
    assert len(drawn[1]) > len(drawn[0]) + 200


def without_certification() -> bytes:
    return write_sheet(assessment())


def flipped() -> bytes:
    return sheet()[:3000] + bytes([sheet()[3000] ^ 1]) + sheet()[3001:]


def with_false_evidence() -> bytes:
    return signed({"assessment.json": b"{}", "rule.json": b"{}", "job.json": b"{}"})


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: countersigned(sheet()), "is already countersigned by Cleo Client as client on "),
        (
            without_certification,
            "not countersigned: the sheet is not valid: file intact: NOT SIGNED",
        ),
        (flipped, "not countersigned: the sheet is not valid: file intact: changed after it was"),
        (with_false_evidence, "not countersigned: the sheet is not valid: attachments: not what"),
        (
            lambda: b"hello",
            "not countersigned: the sheet is not valid: file intact: cannot be read",
        ),
        (lambda: sheet() + b"%", "not countersigned: the sheet is not valid"),
    ],
)
def test_nobody_puts_a_name_to_what_does_not_hold(
    client: Run, tmp_path: Path, make: Callable[[], bytes], words: str
) -> None:
    data = make()
    (tmp_path / "other.pdf").write_bytes(data)
    done = client(name="other.pdf")
    assert (done.returncode, done.stdout) == (2, "")
    assert f"compliance: other.pdf: {words}" in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert (tmp_path / "other.pdf").read_bytes() == data


def test_whoever_signed_first_does_not_sign_again(
    compliance: Run, tmp_path: Path, desk: Callable[..., Path]
) -> None:
    desk("good")
    (tmp_path / "client.p12").write_bytes(clients_key())
    (tmp_path / "password.txt").write_text(PASSWORD + "\n")
    key = ("--identity", "client.p12", "--password-file", "password.txt", *NOW)
    assert compliance("assess", "job.yaml", "--out", ".", *key).returncode == 0
    before = (tmp_path / "KX-7-1-tiny.pdf").read_bytes()
    done = compliance("countersign", "KX-7-1-tiny.pdf", *key)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "compliance: KX-7-1-tiny.pdf: was signed by Cleo Client as facility on 2026-11-20 18:00 "
        "UTC with this same key; the second signature needs another person's key: give "
        "--identity FILE\n"
    )
    assert (tmp_path / "KX-7-1-tiny.pdf").read_bytes() == before


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--as", " "), "--as: '' is not a role; expected e.g. 'Supervising engineer'"),
        (("--as", "a\nb"), r"--as: 'a\nb' is not a role"),
        (("--as", "x" * 65), "--as: has 65 characters; expected at most 64"),
        (
            ("--now", "2026-11-20T15:00:00Z"),
            "time of signing: 2026-11-20 16:00 UTC, in the future: by",
        ),
        (("--now", "2036-11-20T15:00:00Z"), "the certificate of Cleo Client has expired on 2036-"),
        (("--timestamp-optional",), "--timestamp-optional requires --timestamp URL"),
        (("--timestamp", "clock.example"), "--timestamp: 'clock.example' is not an address"),
        (("--identity", "none.p12"), "none.p12: cannot be read: no such file or directory"),
    ],
)
def test_bad_calls_are_one_line(
    client: Run, tmp_path: Path, more: tuple[str, ...], words: str
) -> None:
    done = client(*more)
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert (tmp_path / "sheet.pdf").read_bytes() == sheet()


def test_without_an_identity_it_says_how_to_make_one(compliance: Run, tmp_path: Path) -> None:
    (tmp_path / "sheet.pdf").write_bytes(sheet())
    done = compliance("countersign", "sheet.pdf")
    assert done.returncode == 2
    assert "no identity; give --identity FILE, or create one: compliance iden" in done.stderr
    assert compliance("countersign", "none.pdf").returncode == 2


def test_a_sheet_that_somebody_else_signed_is_not_made_again(
    compliance: Run, tmp_path: Path, desk: Callable[..., Path]
) -> None:
    """Of a folder to be written over nothing is, not even what bears one signature or none."""
    desk("good", "good", "good")
    out = tmp_path / "out"
    out.mkdir()
    (out / "KX-7-1-tiny.pdf").write_bytes(sheet())
    (out / "KX-7-2-tiny.pdf").write_bytes(countersigned(sheet()))
    (out / "KX-7-3-tiny.pdf").write_bytes(b"hello")
    before = {path: path.read_bytes() for path in out.iterdir()}
    call = ("assess", "job.yaml", "--out", "out", "--replace", *NOW)
    done = compliance(*call)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "compliance: out/KX-7-2-tiny.pdf: has 2 signatures that --replace would remove; "
        "move it, or choose another folder with --out\n"
    )
    assert {path: path.read_bytes() for path in out.iterdir()} == before
    (out / "KX-7-2-tiny.pdf").rename(tmp_path / "kept.pdf")
    done = compliance(*call)
    assert done.returncode == 0
    assert "NOT SIGNED" in done.stderr + done.stdout
    assert len(list(out.iterdir())) == 6


# ---------------------------------------------------------------- stamps


@pytest.fixture
def server() -> Iterator[Callable[..., str]]:
    """The address of a clock that shows the time of signing, or that is out of order."""
    answers: list[Answer] = []

    def answer(query: bytes) -> Answer:
        if answers:
            return answers[0]
        return 200, REPLY, clock().answer(query, SIGNED + timedelta(hours=2))

    with serving(answer) as url:

        def get(*wrong: Answer) -> str:
            answers.extend(wrong)
            return url

        yield get


def test_with_a_time_stamp(client: Run, tmp_path: Path, server: Callable[..., str]) -> None:
    assert client("--timestamp", server()).returncode == 0
    data = (tmp_path / "sheet.pdf").read_bytes()
    first, second = read_signatures(data).signatures
    assert first.stamp is None and second.stamp is not None
    found = verify_sheet(data, any_signer=True, timestamp_trust=[clock().root.pem])
    assert found.steps[2].status == "unknown"
    assert step_text(found.steps[2]).startswith("facility: no time stamp: ")
    assert "2026-11-20 18:00 UTC by a trusted time stamp, Clock" in step_details(found.steps[2])[0]


def test_a_server_out_of_order(client: Run, tmp_path: Path, server: Callable[..., str]) -> None:
    url = server((503, "text/plain", b""))
    done = client("--timestamp", url)
    assert (done.returncode, done.stdout) == (4, "")
    assert done.stderr == (
        f"compliance: no time stamp from {url}: it answered 503 Service Unavailable; "
        "to sign without one: --timestamp-optional\n"
    )
    assert (tmp_path / "sheet.pdf").read_bytes() == sheet()
    done = client("--timestamp", url, "--timestamp-optional")
    assert done.returncode == 0
    assert done.stderr == (
        f"compliance: signed without a time stamp: no time stamp from {url}: it answered 503 "
        "Service Unavailable\n"
    )
    (_, second) = read_signatures((tmp_path / "sheet.pdf").read_bytes()).signatures
    assert second.stamp is None
