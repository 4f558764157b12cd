"""PDF/A-3a and PDF/UA-1 before and after every signature, as a validator from elsewhere says.

The validator is veraPDF (1.29), which comes inside a package of another purpose and needs
Java and Debian's libjaxb-java beside it; `Archival.java` calls it. A file that it should
not accept stands beside each point that sheets depend on, so that its yes says something.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from io import BytesIO
from typing import Any

import pikepdf
import pytest
from asn1crypto import crl, x509
from helpers import near_limit, seven_scripts, verapdf
from helpers.authorities import Within, leaf, middle, revocation_list, signed_by_rsa
from helpers.evidence_of_a_slot import assessment
from helpers.signing import SIGNED, countersigned, identity
from pikepdf import Name

from compliance.sheet.make_sheet import write_sheet
from compliance.signing.archive import add_archive_stamp
from compliance.signing.revocation import Material

Make = Callable[[], bytes]


@cache
def unsigned(page: str = "a4") -> bytes:
    return write_sheet(assessment(), page=page)


@cache
def signed(page: str = "a4") -> bytes:
    return write_sheet(assessment(), identity=identity(), page=page)


@cache
def stamped() -> bytes:
    return write_sheet(assessment(), identity=identity(), stamper=Within())


def archived(data: bytes) -> bytes:
    """With certificates, lists and a time stamp of the whole file."""
    found = Material(
        (x509.Certificate.load(leaf().identity.chain[0]),),
        (crl.CertificateList.load(revocation_list(middle())),),
    )
    return add_archive_stamp(data, found, Within())


GOOD: Mapping[str, Make] = {
    "unsigned": unsigned,
    "unsigned-letter": lambda: unsigned("letter"),
    "signed": signed,
    "signed-letter": lambda: signed("letter"),
    "signed-by-rsa": lambda: write_sheet(assessment(), identity=signed_by_rsa().identity),
    "signed-with-chain": lambda: write_sheet(assessment(), identity=leaf().identity),
    "stamped": stamped,
    "countersigned": lambda: countersigned(signed(), role="Supervising engineer"),
    "countersigned-letter": lambda: countersigned(signed("letter")),
    "stamped-twice": lambda: countersigned(stamped(), stamper=Within()),
    "countersigned-with-chain": lambda: countersigned(signed(), leaf().identity),
    "archived": lambda: archived(stamped()),
    "archived-twice": lambda: archived(countersigned(archived(stamped()), stamper=Within())),
    "in-seven-scripts": seven_scripts.sheet,
    "with-deviations": lambda: near_limit.sheet(accepted=True),
    "with-deviations-countersigned": lambda: countersigned(near_limit.sheet(accepted=True)),
}


def changed(change: Callable[[pikepdf.Pdf], object]) -> bytes:
    """The unsigned sheet after a change that PDF/A-3a forbids."""
    with pikepdf.open(BytesIO(unsigned())) as pdf:
        change(pdf)
        out = BytesIO()
        pdf.save(out, fix_metadata_version=False, force_version="1.7")
    return out.getvalue()


def first_file(pdf: pikepdf.Pdf) -> pikepdf.Object:
    found: pikepdf.Object = pdf.Root.AF[0]
    return found


def other_part(pdf: pikepdf.Pdf) -> None:
    packet = pdf.Root.Metadata.read_bytes().replace(b"<pdfaid:part>3<", b"<pdfaid:part>2<")
    pdf.Root.Metadata.write(packet)


def of_role(pdf: pikepdf.Pdf, role: Name) -> Any:
    """The first element of that role in the file."""
    return next(
        each
        for each in pdf.objects
        if isinstance(each, pikepdf.Dictionary) and each.get("/S") == role and "/P" in each
    )


def something_unmarked(pdf: pikepdf.Pdf) -> None:
    more = pdf.make_stream(b"0 0 9 9 re f")
    pdf.pages[0].Contents = pikepdf.Array([pdf.pages[0].Contents, more])


LEVEL_A, ALOUD = "3a", "ua1"
HEARD = (
    "unsigned-letter",
    "countersigned",
    "stamped-twice",
    "archived-twice",
    "with-deviations-countersigned",
    "in-seven-scripts",
)
"""Files that contain what the others are made of."""

BAD: Mapping[str, tuple[str, Callable[[pikepdf.Pdf], object], str]] = {
    "no-relationship": (LEVEL_A, lambda pdf: first_file(pdf).__delitem__("/AFRelationship"), "6.8"),
    "no-associated-files": (LEVEL_A, lambda pdf: pdf.Root.__delitem__("/AF"), "6.8"),
    "no-unicode-name": (LEVEL_A, lambda pdf: first_file(pdf).__delitem__("/UF"), "6.8"),
    "no-file-type": (LEVEL_A, lambda pdf: first_file(pdf).EF.F.__delitem__("/Subtype"), "6.8"),
    "no-output-intent": (LEVEL_A, lambda pdf: pdf.Root.__delitem__("/OutputIntents"), "6.2.4.3"),
    "no-metadata": (LEVEL_A, lambda pdf: pdf.Root.__delitem__("/Metadata"), "6.6.2.1"),
    "another-part": (LEVEL_A, other_part, "6.6.4"),
    "a-script": (
        LEVEL_A,
        lambda pdf: pdf.Root.__setitem__(
            "/OpenAction", pikepdf.Dictionary(S=Name.JavaScript, JS=pikepdf.String("app.beep()"))
        ),
        "6.5.1",
    ),
    "no-tree": (LEVEL_A, lambda pdf: pdf.Root.__delitem__("/StructTreeRoot"), "6.7.3"),
    "a-figure-without-text": (
        ALOUD,
        lambda pdf: of_role(pdf, Name.Figure).__delitem__("/Alt"),
        "7.3",
    ),
    "a-heading-of-nothing": (ALOUD, lambda pdf: of_role(pdf, Name.TH).__delitem__("/A"), "7.5"),
    "something-unmarked": (ALOUD, something_unmarked, "7.1"),
    "no-title-shown": (ALOUD, lambda pdf: pdf.Root.__delitem__("/ViewerPreferences"), "7.1"),
}
"""A flavour, a change, and the clause of ISO 19005-3 or ISO 14289-1 that it breaks."""


@pytest.fixture(scope="module")
def judged(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Mapping[tuple[str, str], list[str]]:
    """What the validator says of each file under each flavour, all in one run of it."""
    folder = tmp_path_factory.mktemp("archival")
    pairs = [(LEVEL_A, name) for name in GOOD] + [(ALOUD, name) for name in HEARD]
    pairs += [(flavour, name) for name, (flavour, *_) in BAD.items()]
    for name, make in GOOD.items():
        (folder / f"{name}.pdf").write_bytes(make())
    for name, (_, change, _) in BAD.items():
        (folder / f"{name}.pdf").write_bytes(changed(change))
    files = [(flavour, folder / f"{name}.pdf") for flavour, name in pairs]
    return verapdf.judged(files, request.config.cache)


@pytest.mark.parametrize("name", GOOD)
def test_the_validator_passes(judged: Mapping[tuple[str, str], list[str]], name: str) -> None:
    assert judged[LEVEL_A, name] == ["yes"]


@pytest.mark.parametrize("name", HEARD)
def test_it_can_be_read_aloud(judged: Mapping[tuple[str, str], list[str]], name: str) -> None:
    assert judged[ALOUD, name] == ["yes"]


@pytest.mark.parametrize("name", BAD)
def test_the_validator_can_say_no(judged: Mapping[tuple[str, str], list[str]], name: str) -> None:
    flavour, _, broken = BAD[name]
    verdict, *clauses = judged[flavour, name]
    assert verdict == "no"
    assert any(clause.startswith(broken) for clause in clauses), clauses


def test_a_signature_keeps_the_time_of_the_document() -> None:
    """Signing leaves title, dates and metadata as they were, to the byte."""
    unsigned, last = (pikepdf.open(BytesIO(make())) for make in (GOOD["unsigned"], stamped))
    with unsigned, last:
        assert dict(unsigned.docinfo.items()) == dict(last.docinfo.items())
        assert unsigned.Root.Metadata.read_bytes() == last.Root.Metadata.read_bytes()
        assert SIGNED.strftime("D:%Y%m%d%H%M%S+00'00'") == str(last.docinfo["/ModDate"])
