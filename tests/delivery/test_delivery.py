"""Deliveries: sound ones, and each way in which one can be otherwise than it was packed."""

from __future__ import annotations

import os
import stat
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import bagit
import pytest
from helpers import deliveries, near_limit
from helpers.deliveries import (
    Files,
    as_folder,
    as_zip,
    checked,
    delivery,
    packed,
    resealed,
    sheets,
    told,
)
from helpers.near_limit import AGAIN
from helpers.signing import identity, run, tool

from compliance.delivery.bag import TAG_MANIFEST, path_fault
from compliance.delivery.build import AGENT, build_delivery, check_sheets, sign_delivery
from compliance.documents import read_document, written
from compliance.errors import DeliveryError
from compliance.report.verification import step_text
from compliance.sheet.make_sheet import write_sheet

SHEET = "data/sheets/one.pdf"
READINGS = "data/evidence/one/readings.csv"


@pytest.fixture(params=["folder", "zip"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[Files], Path]:
    """Puts files into a folder, or a .zip, that is alone in the folder it lies in."""

    def write(files: Files) -> Path:
        (tmp_path / "in").mkdir()
        if request.param == "folder":
            return as_folder(files, tmp_path / "in" / "delivery")
        return as_zip(files, tmp_path / "in" / "delivery.zip")

    return write


# ---------------------------------------------------------------- sound


def test_a_delivery_holds(place: Callable[[Files], Path]) -> None:
    found = checked(place(delivery()))
    assert found.exit_code == 0, [step_text(step) for step in found.steps]
    assert list(found.sheets) == ["data/sheets/one.pdf", "data/sheets/two.pdf"]
    assert "2 sheets with 3 signatures" in told(found, 4)


def test_trust_decides_as_for_one_sheet(tmp_path: Path) -> None:
    folder = as_folder(delivery(), tmp_path / "d")
    assert checked(folder, trusted=[]).exit_code == 3
    assert checked(folder, trusted=[near_limit.client().signer]).exit_code == 1
    assert checked(folder, trusted=[], any_signer=True).exit_code == 0


def test_unsigned_as_a_whole_is_left_open(tmp_path: Path) -> None:
    found = checked(as_folder(build_delivery(packed()), tmp_path / "d"))
    assert found.exit_code == 3
    assert "the delivery itself is not signed" in told(found, 2)


def test_same_sheets_same_bytes() -> None:
    again, turned = build_delivery(packed()), build_delivery(packed()[::-1])
    assert again == turned
    assert again == {name: data for name, data in delivery().items() if name != "signature.p7s"}
    names = [("delivery/" + name) for name in sorted(again)]
    from compliance.delivery.stored_zip import zip_bytes

    assert zip_bytes(again, "delivery") == zip_bytes(dict(reversed(again.items())), "delivery")
    assert sorted(names) == names


def test_another_program_finds_a_bag_in_it(tmp_path: Path) -> None:
    """The Library of Congress's bagit (RFC 8493) validates what is written."""
    assert bagit.Bag(str(as_folder(delivery(), tmp_path / "d"))).validate()
    packed_up = as_zip(delivery(), tmp_path / "d.zip")
    with zipfile.ZipFile(packed_up) as archive:
        assert archive.testzip() is None
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        archive.extractall(tmp_path / "z")
    assert bagit.Bag(str(tmp_path / "z" / "delivery")).validate()


def test_openssl_agrees_on_the_whole(tmp_path: Path) -> None:
    folder = as_folder(delivery(), tmp_path / "d")
    (tmp_path / "c.pem").write_bytes(identity().pem)
    call = [tool("openssl"), "cms", "-verify", "-binary", "-inform", "DER", "-out", "/dev/null"]
    call += ["-attime", str(int(AGAIN.timestamp())), "-in", str(folder / "signature.p7s")]
    call += ["-CAfile", str(tmp_path / "c.pem"), "-content"]
    assert run([*call, folder / TAG_MANIFEST]).returncode == 0
    assert run([*call, folder / "manifest-sha256.txt"]).returncode != 0


def test_it_states_each_sheet_and_its_signatures() -> None:
    info = delivery()["bag-info.txt"].decode()
    number = near_limit.assessment(near_limit.both(), now=AGAIN).number
    assert f"Compliance-Sheet: {SHEET} {number} not compliant, accepted with deviations\n" in info
    lines = [
        line for line in info.splitlines() if line.startswith(f"Compliance-Signature: {SHEET}")
    ]
    first, second = lines
    assert f"FacilitySignature sha256={identity().signer.fingerprint}" in first
    assert f"Countersignature sha256={near_limit.client().signer.fingerprint}" in second
    assert second.endswith("Cleo Client as Client")
    assert f"data/certificates/{near_limit.client().signer.fingerprint}.pem" in delivery()


# ---------------------------------------------------------------- not as it was packed


def without(files: Files) -> Files:
    del files[READINGS]
    return files


def added(files: Files) -> Files:
    return {**files, "data/sheets/three.txt": b"hello"}


def added_at_the_top(files: Files) -> Files:
    return {**files, "read me.txt": b"hello"}


def changed(files: Files) -> Files:
    return {**files, READINGS: files[READINGS].replace(b"112.5", b"102.5")}


def page_changed(files: Files) -> Files:
    return {**files, "index.html": files["index.html"].replace(b"Not compliant", b"Compliant")}


def renamed(files: Files) -> Files:
    files["data/evidence/one/Readings.csv"] = files.pop(READINGS)
    return files


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (without, f"{READINGS}: is missing"),
        (added, "data/sheets/three.txt: was added: not in any manifest"),
        (added_at_the_top, "read me.txt: was added: not in any manifest"),
        (changed, f"{READINGS}: was changed: SHA-256"),
        (page_changed, "index.html: was changed: SHA-256"),
        (renamed, "data/evidence/one/Readings.csv: was added"),
    ],
)
def test_not_as_packed(
    place: Callable[[Files], Path], change: Callable[[Files], Files], expected: str
) -> None:
    found = checked(place(change(delivery())))
    assert found.exit_code == 1
    assert told(found, 1).startswith("fail\nnot as it was packed")
    assert expected in told(found, 1)


@pytest.mark.parametrize("change", [without, added, changed, page_changed])
def test_with_manifests_that_fit_it_is_found_all_the_same(
    tmp_path: Path, change: Callable[[Files], Files]
) -> None:
    """The signature over all is gone, or of another manifest; and the sheets say otherwise."""
    files = resealed(change(delivery()))
    found = checked(as_folder(files, tmp_path / "d"))
    assert [str(step.status) for step in found.steps] == ["ok", "unknown", "ok", "fail"]
    files["signature.p7s"] = delivery()["signature.p7s"]
    found = checked(as_folder(files, tmp_path / "e"))
    assert "the signed data was changed" in told(found, 2)


def test_a_stripped_countersignature_is_missed(tmp_path: Path) -> None:
    """The sheet without it is sound by itself: the delivery states what has to be there."""
    files = resealed({**delivery(), SHEET: near_limit.sheet(accepted=True)})
    found = checked(as_folder(files, tmp_path / "d"))
    assert str(found.steps[2].status) == "ok"
    assert f"stated but not found: {SHEET} Countersignature" in told(found, 4)


def test_a_sheet_changed_for_another_of_the_job(tmp_path: Path) -> None:
    other = write_sheet(near_limit.assessment(now=AGAIN), identity=identity())
    found = checked(as_folder(resealed({**delivery(), SHEET: other}), tmp_path / "d"))
    assert f"stated but not found: {SHEET} KX-7-1-tiny-" in told(found, 4)
    assert "is not the file attached to the sheet" in told(found, 4)


def test_two_sheets_with_one_number(tmp_path: Path) -> None:
    twice = sheets(one=deliveries.second(), two=deliveries.second())
    with pytest.raises(DeliveryError, match=r"2 sheets have the number KX-7-2-tiny-\w{32}: data"):
        check_sheets(twice, "in")
    files = build_delivery(packed(one=deliveries.second(), two=deliveries.second()))
    found = checked(as_folder(files, tmp_path / "d"))
    assert "2 sheets have the number" in told(found, 4)
    with pytest.raises(DeliveryError, match=r"2 sheets have the number KX-7-1-tiny-\w{32}: data"):
        check_sheets(sheets(once=near_limit.sheet(accepted=True), again=deliveries.first()), "in")


def test_sheets_of_two_jobs_do_not_go_out_together() -> None:
    other = write_sheet(near_limit.assessment(reference="KX-8"), identity=identity())
    with pytest.raises(DeliveryError, match='sheets of 2 jobs: "KX-7", "KX-8"'):
        check_sheets(sheets(one=deliveries.second(), two=other), "in")


@pytest.mark.parametrize(
    ("make", "expected"),
    [
        (lambda: write_sheet(near_limit.assessment()), "file intact: NOT SIGNED"),
        (lambda: near_limit.sheet()[:-200], "file intact: cannot be read as a signed PDF"),
        (lambda: b"hello", "file intact: cannot be read as a signed PDF"),
    ],
)
def test_what_does_not_hold_is_not_delivered(make: Callable[[], bytes], expected: str) -> None:
    with pytest.raises(DeliveryError, match=expected):
        check_sheets(sheets(one=make()), "in")


OTHER_AGENTS = [
    (b"Bag-Software-Agent: other 0.9\n", "written by other 0.9; this is deliverable-comp"),
    (b"", "written by an unnamed program"),
    (
        b"Bag-Software-Agent: other 0.9\nBag-Software-Agent: other 1.0\n",
        "written by an unnamed program",
    ),
]


def by_another(files: Files, agent: bytes) -> Files:
    own = f"Bag-Software-Agent: {AGENT}\n".encode()
    assert own in files["bag-info.txt"]
    files["bag-info.txt"] = files["bag-info.txt"].replace(own, agent)
    return resealed(files)


@pytest.mark.parametrize(("agent", "words"), OTHER_AGENTS)
def test_a_page_that_another_version_wrote_is_not_called_right(
    tmp_path: Path, agent: bytes, words: str
) -> None:
    """The name of the program switches no check off: what was not compared is left open."""
    found = checked(as_folder(by_another(page_changed(delivery()), agent), tmp_path / "d"))
    assert str(found.steps[3].status) == "unknown"
    assert found.exit_code == 3
    assert f"index.html: not compared with the sheets: {words}" in told(found, 4)
    assert "not compared" not in told(checked(as_folder(delivery(), tmp_path / "e")), 4)


def test_the_same_words_of_another_version_are_compared(tmp_path: Path) -> None:
    files = by_another(delivery(), b"Bag-Software-Agent: other 0.9\n")
    assert str(checked(as_folder(files, tmp_path / "d")).steps[3].status) == "ok"


def test_another_version_excuses_no_false_list(tmp_path: Path) -> None:
    files = delivery()
    info = files["bag-info.txt"]
    files["bag-info.txt"] = info.replace(b"not compliant", b"compliant")
    assert files["bag-info.txt"] != info
    files = by_another(files, b"Bag-Software-Agent: other 0.9\n")
    found = checked(as_folder(files, tmp_path / "d"))
    assert str(found.steps[3].status) == "fail"
    assert "stated but not found" in told(found, 4)


# ---------------------------------------------------------------- made to do harm


def snapshot(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*")}


def test_a_file_renamed_to_leave_the_folder(tmp_path: Path) -> None:
    """By its name in the manifest, or by lying outside: refused, and nothing is written."""
    files = delivery()
    manifest = files["manifest-sha256.txt"]
    files["manifest-sha256.txt"] = manifest.replace(READINGS.encode(), b"../x")
    home = tmp_path / "home"
    folder = as_folder(files, home / "d")
    (folder / READINGS).rename(home / "x")
    before = snapshot(tmp_path)
    found = checked(folder)
    assert found.exit_code == 1
    assert "'../x': leads out of the folder" in told(found, 1)
    assert f"{READINGS}: is missing" in told(found, 4)
    assert snapshot(tmp_path) == before


@pytest.mark.parametrize(
    "name", ["delivery/../../x", "../x", "/x", "\\x", "C:/x", "delivery/a\\..\\x", "~/x", "./x"]
)
def test_a_path_in_a_zip_that_leaves_it(tmp_path: Path, name: str) -> None:
    home = tmp_path / "home"
    home.mkdir()
    archive = deliveries.with_entries(as_zip(delivery(), home / "d.zip"), (name, b"hello"))
    before = snapshot(tmp_path)
    found = checked(archive)
    assert found.exit_code == 1
    assert str(found.steps[0].status) == "fail"
    assert snapshot(tmp_path) == before


def test_links_are_not_followed(tmp_path: Path) -> None:
    folder = as_folder(delivery(), tmp_path / "d")
    (tmp_path / "x").write_bytes((folder / READINGS).read_bytes())
    (folder / READINGS).unlink()
    (folder / READINGS).symlink_to(tmp_path / "x")
    found = checked(folder)
    assert f"{READINGS}: is a link" in told(found, 1)
    os.mkfifo(folder / "data" / "pipe")
    assert "data/pipe: is not a plain file" in told(checked(folder), 1)


def test_a_link_in_a_zip(tmp_path: Path) -> None:
    place = deliveries.with_entries(
        as_zip(delivery(), tmp_path / "d.zip"), ("delivery/data/link", b"/etc/passwd")
    )
    plain, link = (struct.pack("<I", mode << 16) for mode in (0o100644, stat.S_IFLNK | 0o777))
    before, attributes, after = place.read_bytes().rpartition(plain)
    assert attributes
    place.write_bytes(before + link + after)
    assert "delivery/data/link: is not a plain file" in told(checked(place), 1)


def test_a_zip_bomb(tmp_path: Path) -> None:
    """Nothing compressed is unpacked."""
    place = tmp_path / "d.zip"
    with zipfile.ZipFile(place, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("delivery/data/bomb", bytes(70 << 20))
    assert place.stat().st_size < 100_000
    found = checked(place)
    assert "delivery/data/bomb: is compressed; expected a stored file" in told(found, 1)


@pytest.mark.parametrize(
    ("entries", "expected"),
    [
        (
            [("delivery/data/a", b"1"), ("delivery/data/A", b"2")],
            "differs from data/A in capitals or accents",
        ),
        ([("other/data/a", b"1")], "2 folders at the top"),
        ([("a", b"1")], "a: is outside the delivery's folder"),
    ],
)
def test_other_zips_that_are_none_of_ours(
    tmp_path: Path, entries: list[tuple[str, bytes]], expected: str
) -> None:
    archive = deliveries.with_entries(as_zip(delivery(), tmp_path / "d.zip"), *entries)
    assert expected in told(checked(archive), 1)


def test_an_entry_twice(tmp_path: Path) -> None:
    archive = as_zip(delivery(), tmp_path / "d.zip")
    deliveries.with_entries(archive, (f"delivery/{SHEET}", b"hello"))
    assert f"{SHEET}: is in the .zip twice" in told(checked(archive), 1)


@pytest.mark.parametrize("data", [b"", b"hello"])
def test_neither_a_folder_nor_a_zip(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "d").write_bytes(data)
    with pytest.raises(DeliveryError):
        checked(tmp_path / "d")


def test_an_empty_folder(tmp_path: Path) -> None:
    found = checked(tmp_path)
    assert found.exit_code == 1
    assert "manifest-sha256.txt: is missing" in told(found, 1)
    assert "it contains no sheet" in told(found, 3)


@pytest.mark.parametrize("name", ["data/ä/b c.pdf", "index.html", "data/..x"])
def test_plain_paths(name: str) -> None:
    assert path_fault(name) is None


@pytest.mark.parametrize(
    "name",
    [
        "",
        "a//b",
        "a/./b",
        "..",
        "a/..",
        "a\x00b",
        "a\nb",
        "\u202ea",
        "x" * 2000,
        "a:/b",
        "a:b",
        "ab:c",
        "data/a%2e",
        "data/a.",
        "data/a /b",
    ],
)
def test_paths_that_are_none(name: str) -> None:
    assert path_fault(name) is not None


# ---------------------------------------------------------------- the page


def test_the_page_says_it_in_words_and_loads_nothing() -> None:
    page = delivery()["index.html"].decode()
    assert "Not compliant, accepted with deviations" in page
    assert "Accepted by Cleo Client (identity not checked) until 2026-12-10: only for the" in page
    assert 'aria-label="fail"' in page
    for word in ("<script", "http://", "https://", "src=", "@import", "url("):
        assert word not in page
    for name in delivery():
        if name.startswith("data/"):
            assert f'href="{name}"' in page


def test_what_a_job_says_cannot_become_markup() -> None:
    loud = "<script>alert(1)</script>&\"'"
    sheet = sheets(one=deliveries.second())[0]
    stated = written(sheet.stated)
    stated["job"].update(title=loud, reference=loud)
    stated["rule"]["title"] = loud
    stated["slot"]["slot"] = loud
    stated["findings"][0]["title"] = loud
    from dataclasses import replace

    from compliance.delivery.page import render_page

    text = render_page([replace(sheet, stated=read_document(stated))]).decode()
    assert "<script" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;&amp;&quot;&#x27;" in text


def test_a_signature_needs_a_certificate_in_its_dates() -> None:
    from datetime import UTC, datetime

    from compliance.errors import IdentityError

    with pytest.raises(IdentityError):
        sign_delivery(build_delivery(packed()), identity(), datetime(2040, 1, 1, tzinfo=UTC))


def test_an_attachment_named_to_leave_the_folder_is_packed_nowhere() -> None:
    from dataclasses import replace

    (sheet,) = packed(one=deliveries.second())
    outside = f"{sheet.sheet.evidence}../../x"
    named = replace(sheet, files={**sheet.files, outside: b"hello"})
    with pytest.raises(ValueError, match="leads out of the folder"):
        build_delivery([named])
