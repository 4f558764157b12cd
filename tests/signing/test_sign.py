"""Signing: what outside programs say about it, and what the file looks like after."""

from __future__ import annotations

from datetime import timedelta
from io import BytesIO
from pathlib import Path

import pikepdf
import pytest
from helpers.signing import (
    MADE,
    SIGNED,
    archived,
    byte_ranges,
    container,
    countersigned,
    countersigned_elsewhere,
    findings_of_level_b,
    identity,
    run,
    signed,
    tool,
)

from compliance.errors import IdentityError
from compliance.signing.read import read_signatures
from compliance.signing.sign import COUNTER_FIELD, FACILITY_FIELD, role_in, role_reason


@pytest.fixture(scope="module", params=["signed", "countersigned"])
def sealed(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sealed") / f"{request.param}.pdf"
    data = signed()
    path.write_bytes(countersigned(data) if request.param == "countersigned" else data)
    return path


def test_pdfsig_calls_every_signature_valid(sealed: Path) -> None:
    """Its exit status says nothing: it is 0 for a wrong digest too. So its words are read."""
    words = run([tool("pdfsig"), sealed]).stdout
    count = 2 if sealed.stem == "countersigned" else 1
    assert words.count("Signature Validation: Signature is Valid.") == count
    assert words.count("ETSI.CAdES.detached") == count
    assert "Total document signed" in words.rpartition("Signature #")[0] or count == 2
    assert "Ada Quill" in words
    assert "Nov 20 2026 16:00:00" in words


def test_pdfsig_sees_a_flipped_byte(tmp_path: Path) -> None:
    """So that the words above are known to be able to say something else."""
    data = bytearray(signed())
    data[2000] ^= 1
    path = tmp_path / "flipped.pdf"
    path.write_bytes(data)
    assert "Digest Mismatch" in run([tool("pdfsig"), path]).stdout


def test_openssl_verifies_the_container(tmp_path: Path) -> None:
    openssl = tool("openssl")
    data = signed()
    _, before, after, length = byte_ranges(data)[0]
    covered = data[:before] + data[after : after + length]
    names = ("cms.der", "content.bin", "cert.pem", "other.pem")
    cms, content, mine, other = (tmp_path / name for name in names)
    cms.write_bytes(container(data))
    content.write_bytes(covered)
    mine.write_bytes(identity().pem)
    other.write_bytes(identity("Mallory").pem)

    def verified(certificate: Path, *more: str) -> bool:
        asked = ["-binary", "-inform", "DER", "-in", cms, "-content", content]
        at = ["-attime", str(int(SIGNED.timestamp()))]
        trusted = ["-CAfile", certificate, "-out", tmp_path / "out"]
        return run([openssl, "cms", "-verify", *more, *asked, *at, *trusted]).returncode == 0

    assert verified(mine)
    assert verified(mine, "-cades")
    assert not verified(other)
    content.write_bytes(covered + b"x")
    assert not verified(mine)


def test_qpdf_has_no_complaint(sealed: Path) -> None:
    done = run([tool("qpdf"), "--check", sealed])
    assert done.returncode == 0
    assert "WARNING" not in done.stdout + done.stderr


def test_the_file_stays_pdf_1_7_and_keeps_its_archival_marks(sealed: Path) -> None:
    with pikepdf.open(sealed) as pdf:
        assert pdf.pdf_version == "1.7"
        assert "/Version" not in pdf.Root
        with pdf.open_metadata() as xmp:
            assert (xmp["pdfaid:part"], xmp["pdfaid:conformance"]) == ("3", "A")


def test_a_second_library_finds_no_breach_of_pdf_a(sealed: Path) -> None:
    """Forms and signatures are beyond what it can pass, so it may only find nothing wrong."""
    kinds = {each.kind for each in findings_of_level_b(sealed)}
    assert kinds == {"unsupported"}


def test_it_begins_with_the_unsigned_file() -> None:
    once = signed()
    assert once.startswith(archived())
    assert countersigned(once).startswith(once)


def test_two_fields_on_the_page_and_one_of_them_empty() -> None:
    with pikepdf.open(BytesIO(signed())) as pdf:
        fields = {str(field.T): field for field in pdf.Root.AcroForm.Fields}
        assert set(fields) == {FACILITY_FIELD, COUNTER_FIELD}
        assert "/V" in fields[FACILITY_FIELD] and "/V" not in fields[COUNTER_FIELD]
        assert [float(each) for each in fields[FACILITY_FIELD].Rect] == [40, 40, 240, 100]
        assert all("/AP" in field for field in fields.values())
        transform = fields[FACILITY_FIELD].V.Reference[0]
        assert str(transform.TransformMethod) == "/DocMDP"
        assert int(transform.TransformParams.P) == 2


def test_the_field_that_is_still_empty_paints_nothing_over_the_page() -> None:
    with pikepdf.open(BytesIO(signed())) as pdf:
        fields = {str(field.T): field for field in pdf.Root.AcroForm.Fields}
        empty = fields[COUNTER_FIELD]
        assert empty.AP.N.read_bytes() == b""
        assert "/MK" not in empty and "/BS" not in empty


def test_the_time_is_the_one_given() -> None:
    signature = read_signatures(signed()).signatures[0]
    assert signature.claimed == SIGNED
    assert signature.stamp is None
    assert signature.reason == "Assessment X"


def test_the_box_shows_who_signed(tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    path.write_bytes(signed())
    done = run([tool("pdftotext"), "-layout", path, "-"])
    assert "Signed by Ada Quill" in done.stdout
    assert "2026-11-20 16:00 UTC" in done.stdout
    assert identity().signer.fingerprint[:8] in done.stdout


@pytest.mark.parametrize(
    ("when", "words"),
    [
        (MADE - timedelta(days=1), "the certificate of Ada Quill is not yet valid on 2026-11-19"),
        (MADE + timedelta(days=4000), "the certificate of Ada Quill has expired on 2037-11-02"),
    ],
)
def test_nothing_is_signed_outside_the_certificates_dates(when: object, words: str) -> None:
    with pytest.raises(IdentityError, match=words):
        signed(when=when)  # type: ignore[arg-type]


def test_another_program_may_countersign() -> None:
    """One that writes its name and the time into title and metadata, as most do."""
    data = countersigned_elsewhere(signed())
    seal = read_signatures(data)
    assert seal.all_faults == ()
    assert [each.role for each in seal.signatures] == ["facility", "countersigner"]
    with pikepdf.open(BytesIO(data)) as pdf:
        assert "/Version" in pdf.Root
        assert str(pdf.docinfo["/ModDate"]) != SIGNED.strftime("D:%Y%m%d%H%M%S+00'00'")


def test_a_role_stands_in_the_reason() -> None:
    first, second = read_signatures(countersigned(signed(), role="Technical lead")).signatures
    assert (first.role, first.reason) == ("facility", "Assessment X")
    assert (second.role, second.reason) == ("Technical lead", "Countersigned as Technical lead")
    assert role_in(role_reason("x")) == "x"
    assert [role_in(each) for each in (None, "", "Received", role_reason(""))] == (
        ["countersigner"] * 4
    )
