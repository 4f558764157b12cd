"""Files made to hurt: refused with little work and memory, with nothing run or fetched."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from io import BytesIO
from pathlib import Path

import pytest
from helpers.other_formats import CGATS, CSV, CXF, edited, read, spectra, tm27

from compliance.errors import ReadingsError
from compliance.readings.load import FORMATS, detect_format, load_readings
from compliance.readings.text import Problems
from compliance.readings.xml_tree import DEEPEST, tree_of

GIBIBYTE = 1 << 30


@pytest.mark.parametrize("form", [None, *FORMATS])
def test_a_gibibyte(tmp_path: Path, form: str | None) -> None:
    path = tmp_path / "large.csv"
    with path.open("wb") as stream:
        stream.write(b"r,g,b,X,Y,Z\n1,")
        stream.truncate(GIBIBYTE)  # a line of zeros without an end, on no disk
    before = bytes_read()
    with pytest.raises(ReadingsError, match="is larger than 51,200 KiB"):
        load_readings(path, "rgb-10-full", form=form)
    assert bytes_read() - before < GIBIBYTE // 16


def bytes_read() -> int:
    """By this process, from files and pipes of all kinds."""
    first, *_ = Path("/proc/self/io").read_text().splitlines()
    return int(first.removeprefix("rchar: "))


def test_a_zip_in_place_of_a_csv() -> None:
    packed = BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("readings.csv", "0" * 10_000_000)
    for form in (None, *FORMATS):
        with pytest.raises(ReadingsError, match="a zip archive or a spreadsheet"):
            read(packed.getvalue(), form=form)


WORK = """\
import math, resource, time
resource.setrlimit(resource.RLIMIT_AS, (3 << 29, 3 << 29))
_, HARD = resource.getrlimit(resource.RLIMIT_CPU)
from compliance.errors import ReadingsError
from compliance.readings.load import readings_from_bytes
M = 1_000_000
CXF = b'<CxF xmlns="http://colorexchangeformat.com/CxF3-core"><Resources><ObjectCollection>'
HEAD = b"CGATS.17\\nBEGIN_DATA_FORMAT\\nRGB_R RGB_G RGB_B XYZ_X XYZ_Y XYZ_Z\\nEND_DATA_FORMAT\\n"
NM = b",".join(str(at).encode() for at in range(380, 785, 5))
ROWS = b"r,g,b,unit," + NM + b"\\n"
CASES = {
    "long line": lambda: b"r,g,b,X,Y,Z\\n" + b"1" * (50 * M),
    "long lines, many": lambda: b"r,g,b,X,Y,Z\\n" + (b"1," * 2000 + b"\\n") * 12_000,
    "many columns": lambda: b"r,g,b,X,Y,Z," + b"a," * M + b"\\n",
    "many rows": lambda: b"r,g,b,X,Y,Z\\n" + b"1,1,1,1,1,1\\n" * 4 * M,
    "blank lines": lambda: b"r,g,b,X,Y,Z\\n" + b"\\n" * 50 * M,
    "open quotes": lambda: b'r,g,b,X,Y,Z\\n"' + b"1\\n" * 20 * M,
    "many quotes": lambda: b"r,g,b,X,Y,Z\\n" + b'""' * 20 * M,
    "cgats, long line": lambda: HEAD + b"BEGIN_DATA\\n" + b"1" * (49 * M),
    "cgats, quotes": lambda: HEAD + b"BEGIN_DATA\\n" + b'"' * (49 * M),
    "cgats, many fields": lambda: b"BEGIN_DATA_FORMAT\\n" + b"A\\n" * M + b"END_DATA_FORMAT\\n",
    "cgats, many keywords": lambda: b"CGATS.17\\n" + b'KEYWORD "A"\\n' * M + HEAD,
    "cgats, many declared": lambda: b"".join(
        [b"BEGIN_DATA_FORMAT\\nEND_DATA_FORMAT\\n", *(b'KEYWORD "A%d"\\n' % n for n in range(M))]
    ),
    "cgats, many sets": lambda: HEAD + b"BEGIN_DATA\\n" + b"1 1 1 1 1 1\\n" * 4 * M,
    "cgats, no end": lambda: HEAD + b"BEGIN_DATA\\n" + b"1\\n" * 20 * M,
    "cgats, many spectra": lambda: b"CGATS.17\\nBEGIN_DATA_FORMAT\\nNM"
        + b"\\nNM".join(b"%.2f" % (380 + n / 5) for n in range(2000))
        + b"\\nEND_DATA_FORMAT\\nBEGIN_DATA\\n" + (b"1 " * 2000 + b"\\n") * 12_000
        + b"END_DATA\\n",
    "cgats, spectra of nonsense": lambda: HEAD.replace(b"XYZ_X XYZ_Y XYZ_Z", b" ".join(
        b"NM_%d" % n for n in range(380, 785, 5))) + b"BEGIN_DATA\\n"
        + (b"1 1 1" + b" a" * 81 + b"\\n") * 50_000 + b"END_DATA\\n",
    "codes of another encoding": lambda: b"r,g,b,X,Y,Z\\n" + b"4000,4000,4000,1,1,1\\n" * 50_000,
    "cgats, nonsense": lambda: b"CGATS.17\\n" + b"ZZORG 1\\n" * 4 * M + HEAD,
    "cgats, nonsense fields": lambda: HEAD.replace(b"END", b"ZZORG " * 190 + b"\\nEND"),
    "cxf, nonsense": lambda: CXF + b"<Object><Zzorg/></Object>" * 200_000
        + b"</ObjectCollection></Resources></CxF>",
    "nonsense": lambda: b"r,g,b,X,Y,Z,position\\n" + b"a,b,c,d,e,f,centr\\n" * 40_000,
    "cgats, remarks": lambda: HEAD + b"# a\\n" * 12 * M,
    "cxf, deep": lambda: CXF + b"<a>" * 12 * M,
    "cxf, deep and closed": lambda: CXF + b"<a>" * 3 * M + b"</a>" * 3 * M,
    "cxf, wide": lambda: CXF + b"<Object/>" * 5 * M,
    "cxf, wide and small": lambda: CXF + b"<a/>" * 12 * M,
    "cxf, long tag": lambda: CXF + b"<a " + b" " * 49 * M + b"/>",
    "cxf, many attributes": lambda: CXF + b"<a " + b'a="" ' * 8 * M + b"/>",
    "cxf, long text": lambda: CXF + b"<a>" + b"1" * 49 * M,
    "cxf, long remark": lambda: b"<!--" + b"-a" * 20 * M + b"-->" + CXF,
    "cxf, many remarks": lambda: CXF + b"<!--a-->" * 5 * M,
    "cxf, many references": lambda: CXF + b"<a>" + b"&#65;" * 9 * M,
    "cxf, prefixes": lambda: CXF + b"".join(b'<a xmlns:p%d="u">' % n for n in range(M)),
    "spectra, long line": lambda: ROWS + b"1,1,1,W/sr/m2/nm," + b"1" * 49 * M,
    "spectra, many cells": lambda: ROWS + (b"1,1,1,W/sr/m2/nm" + b",1" * 81 + b"\\n") * 250_000,
    "spectra, many columns": lambda: b"r,g,b," + NM + b",381" * M + b"\\n1,1",
    "spectra, wide columns": lambda: b"wavelength" + b",a" * 2400 + b"\\n"
        + (b"380" + b",1" * 2400 + b"\\n") * 10_000,
    "tm27, many": lambda: b"<IESTM2714><SpectralDistribution><SpectralQuantity>radiance"
        b"</SpectralQuantity>" + b'<SpectralData wavelength="400">1</SpectralData>' * M
        + b"</SpectralDistribution></IESTM2714>",
    "nothing but tags": lambda: b"<" * 50 * M,
    "zeros": lambda: b"\\0" * 50 * M,
}
for name, make in CASES.items():
    data = make()
    print(name, end="|", flush=True)
    resource.setrlimit(resource.RLIMIT_CPU, (math.ceil(time.process_time()) + 30, HARD))
    try:
        readings_from_bytes(data, "f", "rgb-10-full")
        said = "READ"
    except ReadingsError as error:
        said = str(error).split("\\n")[0][:100]
    del data
    print(said, flush=True)
"""


def test_large_and_crooked_files_in_bounded_time_and_memory(root: Path) -> None:
    # 1.5 GiB of address space holds the interpreter, the file and its text. The time is the
    # processor's, 30 s of it a file, so that other work on the machine does not count.
    done = subprocess.run(
        [sys.executable, "-c", WORK],
        cwd=root,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:] + done.stdout[-500:]
    lines = [line.split("|") for line in done.stdout.splitlines()]
    assert len(lines) == WORK.count("lambda:")
    for name, said in lines:
        assert said.startswith("f:"), f"{name}: {said}"


# ---------------------------------------------------------------- XML and nothing more


ENTITIES = (
    '<!DOCTYPE CxF [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">'
    + "".join(f'<!ENTITY c{n} "&b;&b;">' for n in range(30))
    + "]>"
)


@pytest.mark.parametrize(
    "declared",
    [
        ENTITIES,
        '<!DOCTYPE CxF SYSTEM "http://localhost:9/x.dtd">',
        '<!DOCTYPE CxF [<!ENTITY x SYSTEM "file:///etc/hostname">]>',
        '<!DOCTYPE CxF [<!ENTITY % x SYSTEM "file:///etc/hostname"> %x;]>',
        '<!DOCTYPE CxF PUBLIC "-//x" "http://localhost:9/x.dtd">',
    ],
)
def test_no_document_type_whatever_it_declares(declared: str) -> None:
    for text, root in ((CXF, "CxF"), (tm27(), "IESTM2714")):
        head, rest = text.split("\n", 1)
        with pytest.raises(ReadingsError, match=r"a document type \(DOCTYPE\) is declared"):
            read(f"{head}\n{declared.replace('CxF', root)}\n{rest}")


def test_inclusions_and_style_sheets_are_not_followed(tmp_path: Path) -> None:
    other = tmp_path / "other.xml"
    other.write_text("<cc:X>1</cc:X>")
    style = f'<?xml-stylesheet type="text/xsl" href="file://{other}"?><cc:CxF '
    assert len(read(edited(CXF, ("<cc:CxF ", style)))) == 3
    include = f'<xi:include xmlns:xi="http://www.w3.org/2001/XInclude" href="file://{other}"/>'
    with pytest.raises(ReadingsError, match="unknown element 'include'"):
        read(CXF.replace("<cc:ColorValues>", include + "<cc:ColorValues>", 1))


def test_how_deep_elements_may_stand() -> None:
    def nested(depth: int) -> str:
        return "<a>" * depth + "</a>" * depth

    assert tree_of(nested(DEEPEST), Problems("f")).name == "a"
    with pytest.raises(ReadingsError, match="more than 16 deep"):
        tree_of(nested(DEEPEST + 1), Problems("f"))


# ---------------------------------------------------------------- telling formats apart


@pytest.mark.parametrize(
    ("text", "form"),
    [
        (CSV, "csv"),
        (CGATS, "cgats"),
        (CXF, "cxf"),
        (spectra(), "spectra"),
        (tm27(), "tm27"),
        ("", "csv"),
        ("<html><body>", "csv"),
        ('{"CxF": 1}', "csv"),
        ("wavelength,a\n380,1\n", "spectra"),
        ("380,385,390\n1,2,3\n", "csv"),
        ("940,940,940,94.369,99.295,107.86\n", "csv"),
        ("# CGATS.17\nr,g,b,X,Y,Z\n", "csv"),
        ("IT8.7/2\n", "cgats"),
        (CGATS.replace("\n", "\r"), "cgats"),
        (spectra().replace("\n", "\r"), "spectra"),
        ("<!-- CxF --><IESTM2720/>", "tm27"),
        ("<!DOCTYPE cc:CxF []><cc:CxF/>", "cxf"),
    ],
)
def test_formats_are_told_by_what_stands_in_the_file(text: str, form: str) -> None:
    assert detect_format(text) == form


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("text", [CSV, CGATS, CXF, spectra(), tm27()])
def test_what_is_read_on_insistence_is_read_without(text: str, form: str) -> None:
    """So that what travels with a sheet is read again as it was read first."""
    try:
        found = read(text, form=form)
    except ReadingsError:
        assert form != detect_format(text) or form == "tm27"
    else:
        assert found.form == form == detect_format(text)
