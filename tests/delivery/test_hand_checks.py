"""What sheets, deliveries and docs say that anyone can check with other programs: it works so."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Mapping
from pathlib import Path

import pytest
from helpers.deliveries import as_folder, delivery, first, verify
from helpers.signing import byte_ranges, identity, run, tool
from helpers.tampering import new_text, updated

from compliance.report.words.en import hand_checks

ROOT = Path(__file__).resolve().parents[2]
ALL = (*hand_checks.OF_SHEETS, *hand_checks.OF_DELIVERIES)
FINGERPRINT, SIGNERS, SIGNED_BYTES, ATTACHED = (
    hand_checks.OF_CERTIFICATES, *(each for each in hand_checks.OF_SHEETS
                                   if each is not hand_checks.OF_CERTIFICATES)
)  # fmt: skip
LISTS, _, LISTS_SIGNED = hand_checks.OF_DELIVERIES


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A delivery, unpacked, with one of its sheets and the facility's certificate beside."""
    for name in ("bash", "openssl", "pdfsig", "pdfdetach", "sha256sum"):
        tool(name)
    as_folder(delivery(), tmp_path)
    (tmp_path / "SHEET.pdf").write_bytes(first())
    (tmp_path / "FACILITY.pem").write_bytes(identity().pem)
    return tmp_path


def told(
    check: hand_checks.HandCheck, folder: Path, numbers: Mapping[str, int] | None = None
) -> str:
    """Run the commands as printed, with numbers for their letters; all that they print."""
    script = "set -e\n" + "\n".join(check.commands)
    for letter, number in (numbers or {}).items():
        script = re.sub(rf"\b{letter}\b(?!\.)", str(number), script)
    done = subprocess.run(
        ["bash", "-c", script],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        env={"PATH": "/usr/bin:/bin:/usr/local/bin", "LC_ALL": "C.UTF-8"},
    )
    if done.returncode:
        raise AssertionError(done.stdout + done.stderr)
    return done.stdout + done.stderr


def text_of(sheet: Path) -> str:
    """All text of a sheet without spaces and line ends, as pdftotext reads it."""
    return re.sub(r"\s", "", run([tool("pdftotext"), "-raw", sheet, "-"]).stdout)


def ranges(folder: Path) -> dict[str, int]:
    """A, B and C as pdfsig prints them for the first signature; as in the file itself."""
    found = re.search(r"Ranges: \[0 - (\d+)\], \[(\d+) - (\d+)\]", told(SIGNERS, folder))
    assert found is not None
    a, b, c = map(int, found.groups())
    (_, length, after, rest), *_ = byte_ranges((folder / "SHEET.pdf").read_bytes())
    assert (a, b, c) == (length, after, after + rest)
    return {"A": a, "B": b, "C": c}


def test_whose_certificate_it_is(folder: Path) -> None:
    printed = told(FINGERPRINT, folder).partition("=")[2].strip()
    assert printed.replace(":", "").lower() == identity().signer.fingerprint


def test_the_facility_signed_these_bytes(folder: Path) -> None:
    assert "CMS Verification successful" in told(SIGNED_BYTES, folder, ranges(folder))


def test_other_bytes_are_refused(folder: Path) -> None:
    numbers = ranges(folder)
    data = bytearray((folder / "SHEET.pdf").read_bytes())
    at = data.index(b"stream\n") + 12
    data[at] ^= 1
    (folder / "SHEET.pdf").write_bytes(data)
    with pytest.raises(AssertionError, match="CMS Verification failure"):
        told(SIGNED_BYTES, folder, numbers)


def test_what_is_attached_has_the_digests_that_the_sheet_states(folder: Path) -> None:
    digests = re.findall(r"^([0-9a-f]{64}) ", told(ATTACHED, folder), re.M)
    assert len(digests) == 2
    text = text_of(folder / "SHEET.pdf").replace("SHA-256", "")
    assert all(digest in text for digest in digests)


def test_the_lists_of_a_delivery(folder: Path) -> None:
    assert told(LISTS, folder).count(": OK") == len(delivery()) - 2
    assert "CMS Verification successful" in told(LISTS_SIGNED, folder)
    page = folder / "index.html"
    page.write_bytes(page.read_bytes() + b" ")
    with pytest.raises(AssertionError, match=r"index\.html: FAILED"):
        told(LISTS, folder)


def test_a_viewer_calls_a_painted_page_validly_signed(folder: Path) -> None:
    """The reason why a viewer is not enough: pdfsig's *valid* of a page that shows nothing."""
    painted = updated(first(), new_text)
    (folder / "SHEET.pdf").write_bytes(painted)
    text = told(SIGNERS, folder)
    assert text.count("Signature is Valid") == 2
    assert "Not total document signed" in text
    assert "Total document signed\n" not in text.replace("Not total document signed", "")
    numbers = ranges(folder)
    assert "CMS Verification successful" in told(SIGNED_BYTES, folder, numbers)
    assert verify(painted).exit_code == 1


def test_they_are_printed_wherever_someone_looks(folder: Path) -> None:
    page = (ROOT / "docs" / "clients.md").read_text("utf-8").replace("\\|", "|")
    index = delivery()["index.html"].decode().replace("&gt;", ">").replace("&#39;", "'")
    sheet = text_of(folder / "SHEET.pdf")
    for check in ALL:
        for command in check.commands:
            assert f"`{command}`" in page
            assert command in index
            assert (re.sub(r"\s", "", command) in sheet) is (check in hand_checks.OF_SHEETS)
