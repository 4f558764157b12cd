"""`compliance verify`: its words, its JSON, its exit codes."""

from __future__ import annotations

import json
import os
import subprocess
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import pytest
from helpers.evidence_of_a_slot import assessment, mended, with_assessment
from helpers.signing import identity, signed

from compliance.documents import assessment_document
from compliance.sheet.make_sheet import archival_sheet, write_sheet
from compliance.signing.keys import new_identity

AT = datetime(2026, 11, 20, 8, 0, tzinfo=UTC)
Run = Callable[..., subprocess.CompletedProcess[str]]


@cache
def contents() -> Mapping[str, bytes]:
    """A sound sheet, an unsigned one, broken ones, and certificates."""
    data = write_sheet(assessment(), identity=identity())
    flipped = bytearray(data)
    flipped[3000] ^= 1
    store = new_identity("Ada", "Low House", "ada@example.org", "a password", AT)
    document = json.dumps(assessment_document(assessment())).encode()
    stated = with_assessment(lambda document: document.update(verdict="undecided"))
    return {
        "good.pdf": data,
        "unsigned.pdf": write_sheet(assessment()),
        "flipped.pdf": bytes(flipped),
        "forged.pdf": signed(mended(stated)),
        "text.pdf": b"hello",
        "me.pem": identity().pem,
        "other.pem": identity("Mallory").pem,
        "none.pem": b"hello",
        "me.p12": store,
        "alone.p12": store,
        "good.json": document,
        "assessed.json": document,
        "leave.json": b'{"deviation": {}, "signature": ""}',
    }


@pytest.fixture
def sheets(tmp_path: Path) -> Path:
    """The command's folder, with these files in it."""
    for name, content in contents().items():
        (tmp_path / name).write_bytes(content)
    (tmp_path / "empty").mkdir()
    return tmp_path


def test_a_sound_sheet_in_words(compliance: Run, sheets: Path) -> None:
    done = compliance("verify", "good.pdf", "--trust", "me.pem", "--now", "2026-11-21T08:00:00Z")
    assert (done.returncode, done.stderr) == (0, "")
    assert (
        done.stdout
        == f"""\
good.pdf: {assessment().number}
  Measure again by 2026-12-20 10:00 UTC.
  Valid: intact, and computed again as stated. The sheet states: conditionally
  compliant.
  1  ok       file intact: unchanged since signing: 1 signature covers the
     whole file
  2  ok       signer: Ada Quill, Low House, ada@example.org (self-issued):
     its certificate is among the trusted
     SHA-256 {identity().signer.fingerprint}
  3  ok       time of signing: 2026-11-20 16:00 UTC as the signer claims;
     certificate valid 2026-11-20 08:00 UTC to 2031-11-19 08:00 UTC
  4  ok       attachments: assessment.json, before.csv, job.json, meter.json,
     readings.csv, rule.json: as stated
  5  ok       computed again: every value, limit and verdict is as stated
  6  ok       pages: the same as drawn again from the evidence
  7  ok       rule: sdr-broadcast, revision 2, as it is shipped
"""
    )


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("good.pdf",), 3, "Intact as far as it was checked. The sheet states: conditionally "),
        (("good.pdf", "--any-signer"), 0, "Valid: intact, and computed again as stated."),
        (("good.pdf", "--trust", "other.pem"), 1, "Not valid: do not rely on this sheet."),
        (("good.pdf", "--trust", "other.pem", "--trust", "me.pem"), 0, "among the trusted"),
        (("unsigned.pdf", "--any-signer"), 1, "NOT SIGNED: the sheet has no signature"),
        (("flipped.pdf", "--any-signer"), 1, "1  fail     file intact"),
        (("forged.pdf", "--any-signer"), 1, 'verdict: "undecided" stated, "compliant" computed'),
        (("text.pdf",), 1, "it is not a PDF"),
    ],
)
def test_exit_codes(
    compliance: Run, sheets: Path, arguments: tuple[str, ...], code: int, words: str
) -> None:
    done = compliance("verify", *arguments)
    assert (done.returncode, done.stderr) == (code, "")
    assert words in done.stdout
    assert all(len(line) <= 80 for line in done.stdout.splitlines())


@pytest.mark.parametrize(
    ("names", "code"),
    [
        (("good.pdf", "good.pdf"), 0),
        (("good.pdf", "unsigned.pdf"), 1),
        (("unsigned.pdf", "missing.pdf", "good.pdf"), 2),
    ],
)
def test_over_several_sheets_the_worst_code_counts(
    compliance: Run, sheets: Path, names: tuple[str, ...], code: int
) -> None:
    done = compliance("verify", *names, "--any-signer")
    assert done.returncode == code
    assert done.stdout.count("file intact:") == len(names) - ("missing.pdf" in names)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("missing.pdf",), "compliance: missing.pdf: no such file or directory"),
        (("good.pdf", "--trust", "missing.pem"),
         "compliance: missing.pem: cannot be read: no such file or directory"),
        (("good.pdf", "--trust", "none.pem"),
         "compliance: none.pem: holds no certificate; expected PEM "
         "('-----BEGIN CERTIFICATE-----') or DER"),
        (("good.pdf", "--trust", "me.pem", "--any-signer"),
         "compliance: give --trust or --any-signer, not both"),
        (("assessed.json",), "compliance: assessed.json: is an assessment without signature and "
         "evidence, so it cannot be verified; verify its sheet (.pdf)"),
        (("good.json",), "compliance: good.json: is an assessment without signature and "
         "evidence, so it cannot be verified; verify good.pdf"),
        (("leave.json",), "compliance: leave.json: is a deviation; run 'compliance deviation "
         "verify leave.json'"),
        (("empty",), "compliance: empty: is neither a delivery (it has no bagit.txt) nor a "
         "folder of sheets (it has no .pdf)"),
        (("good.pdf", "--trust", "me.p12"), "compliance: me.p12: contains a "
         "password-protected key; expected the certificate alone, me.pem"),
        (("good.pdf", "--trust", "alone.p12"), "compliance: alone.p12: contains a "
         "password-protected key; expected the certificate alone; 'compliance identity show "
         "alone.p12 --pem' prints it"),
        ((), "compliance verify: missing argument 'SHEET|DELIVERY...'; "
         "see 'compliance verify --help'"),
    ],
)  # fmt: skip
def test_bad_calls_are_one_line(
    compliance: Run, sheets: Path, arguments: tuple[str, ...], message: str
) -> None:
    done = compliance("verify", *arguments)
    assert (done.returncode, done.stdout, done.stderr) == (2, "", message + "\n")


def test_json_for_a_program(compliance: Run, sheets: Path) -> None:
    done = compliance("verify", "good.pdf", "missing.pdf", "--any-signer", "--format", "json")
    assert done.returncode == 2
    good, missing = json.loads(done.stdout)["sheets"]
    assert missing == {
        "file": "missing.pdf",
        "exit_code": 2,
        "message": "missing.pdf: no such file or directory",
    }
    assert (good["file"], good["exit_code"]) == ("good.pdf", 0)
    assert (good["number"], good["verdict"]) == (assessment().number, "compliant")
    assert [step["step"] for step in good["steps"]] == [1, 2, 3, 4, 5, 6, 7]
    assert {step["status"] for step in good["steps"]} == {"ok"}
    (signature,) = good["signatures"]
    assert signature == {
        "field": "FacilitySignature",
        "role": "facility",
        "name": "Ada Quill",
        "organisation": "Low House",
        "email": "ada@example.org",
        "issuer": "O=Low House,CN=Ada Quill",
        "sha256": identity().signer.fingerprint,
        "claimed": "2026-11-20T16:00:00Z",
        "stamped": None,
        "stamp_trusted": False,
        "trusted": False,
        "not_before": "2026-11-20T08:00:00Z",
        "not_after": "2031-11-19T08:00:00Z",
        "revocation": None,
    }


def test_of_a_plain_folder_each_sheet_is_checked(compliance: Run, sheets: Path) -> None:
    (sheets / "out").mkdir()
    for name in ("good.pdf", "good.json", "text.pdf", "me.pem"):
        (sheets / name).rename(sheets / "out" / name)
    done = compliance("verify", "out", "--any-signer", "--format", "json")
    assert done.stderr == (
        "compliance: out: is a folder, not a delivery; cannot tell whether sheets are missing\n"
    )
    found = json.loads(done.stdout)["sheets"]
    assert [(row["file"], row["exit_code"]) for row in found] == [
        ("out/good.pdf", 0), ("out/text.pdf", 1)
    ]  # fmt: skip
    assert done.returncode == 1


@pytest.mark.parametrize("left", ["bagit.txt", "manifest-sha256.txt", "data"])
def test_what_is_left_of_a_delivery_is_no_plain_folder(
    compliance: Run, sheets: Path, left: str
) -> None:
    (sheets / "out" / left).mkdir(parents=True)
    (sheets / "good.pdf").rename(sheets / "out" / "good.pdf")
    done = compliance("verify", "out", "--any-signer")
    assert done.returncode == 1
    assert "sheets: it contains no sheet" in done.stdout


def test_a_pipe_among_the_sheets_is_not_waited_for(compliance: Run, tmp_path: Path) -> None:
    """Named, or found in a folder: nothing is opened that could keep the program waiting."""
    os.mkfifo(tmp_path / "pipe.pdf")
    for named in ("pipe.pdf", "."):
        done = compliance("verify", named, "--any-signer")
        assert done.returncode == 2
        assert done.stderr.endswith("pipe.pdf: is not a regular file; expected a sheet\n")


def test_pages_drawn_here_to_compare_by_eye(compliance: Run, sheets: Path) -> None:
    call = ("verify", "good.pdf", "--trust", "me.pem", "--redraw", "ours.pdf")
    done = compliance(*call)
    assert done.returncode == 0
    assert done.stderr.startswith("compliance: ours.pdf: the pages of the same evidence")
    ours = sheets / "ours.pdf"
    assert ours.read_bytes() == archival_sheet(assessment(), signed=False).pdf
    again = compliance(*call)
    assert (again.returncode, "ours.pdf" in again.stderr) == (2, True)


@pytest.mark.parametrize("named", [("good.pdf", "text.pdf"), (".",)])
def test_one_sheet_is_drawn(compliance: Run, sheets: Path, named: tuple[str, ...]) -> None:
    done = compliance("verify", *named, "--any-signer", "--redraw", "ours.pdf")
    assert (done.returncode, done.stdout) == (2, "")
    assert "--redraw: draws one sheet" in done.stderr


def test_a_changed_sheet_is_not_drawn_again(compliance: Run, sheets: Path) -> None:
    for name in ("flipped.pdf", "unsigned.pdf"):
        done = compliance("verify", name, "--any-signer", "--redraw", "ours.pdf")
        assert done.returncode == 1
        assert "its pages cannot be drawn again" in done.stderr
        assert not (sheets / "ours.pdf").exists()
