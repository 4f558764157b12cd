"""CxF (CxF/X of ISO 17972): what is read, every refusal word for word, and another library's."""

from __future__ import annotations

from datetime import UTC, datetime
from importlib.metadata import files as package_files
from pathlib import Path

import numpy as np
import pytest
from helpers.other_formats import CSV, CXF, WAVELENGTHS, edited, read, without

from compliance.errors import ReadingsError
from compliance.model import ENCODINGS
from compliance.readings.convert import Source, convert
from compliance.readings.spectral_integration import weights

NOW = datetime(2026, 11, 20, 9, tzinfo=UTC)


def messages(text: str, encoding: str | None = "rgb-10-full", form: str | None = None) -> list[str]:
    with pytest.raises(ReadingsError) as raised:
        read(text, encoding, form)
    return str(raised.value).split("\n")


def test_the_same_readings_as_in_csv() -> None:
    found, csv = read(CXF), read(CSV)
    assert found.form == "cxf"
    for name in ("codes", "xyz", "window", "seconds", "deviation"):
        np.testing.assert_array_equal(getattr(found, name), getattr(csv, name))
    for name in ("position", "pattern", "background"):
        assert getattr(found, name) == getattr(csv, name)
    assert found.data == CXF.encode()


def test_lines_are_those_of_the_objects() -> None:
    lines = CXF.splitlines()
    assert [lines[line - 1].strip()[:11] for line in read(CXF).lines] == ["<cc:Object "] * 3


@pytest.mark.parametrize(
    "text",
    [
        CXF.replace("cc:", "").replace("xmlns:cc", "xmlns"),
        CXF.replace("xmlns:cc", "xmlns").replace("cc:", ""),
        CXF.replace("\n", "\r\n"),
        without(CXF, r"<\?xml.*?\?>\n"),
        without(CXF, r" <cc:CustomResources>.*</cc:CustomResources>\n"),
        without(CXF, r"  <cc:ColorSpecificationCollection>.*</cc:ColorSpecificationCollection>\n"),
        CXF.replace("<cc:Resources>", "<!-- a remark --><?ours to see?><cc:Resources>"),
        CXF.replace("100.10", "<![CDATA[ 100.10 ]]>"),
        CXF.replace("100.10", "1&#48;0.10"),
    ],
    ids=["no prefix", "default", "crlf", "no head", "no vendor", "plain", "remark", "cdata", "ref"],
)
def test_ways_to_write_the_same(text: str) -> None:
    if "CxF3-core" not in text or "<CxF xmlns:" in text:
        text = text.replace("<CxF xmlns:=", "<CxF xmlns=")
    np.testing.assert_array_equal(read(text).xyz, read(CXF).xyz)


def test_chromaticity() -> None:
    old = "<cc:X>95.0400</cc:X><cc:Y>100.10</cc:Y><cc:Z>108.9</cc:Z>"
    text = without(
        CXF, r"   <cc:Object ObjectType=.Target. Name=.black.*Name=.red.*?</cc:Object>\n"
    )
    text = text.replace(old, "<cc:x>.3127</cc:x><cc:y>.3290</cc:y><cc:Y>100</cc:Y>")
    text = text.replace("ColorEmissiveCIEXYZ", "ColorEmissiveCIExyY")
    np.testing.assert_allclose(read(text).xyz, [[95.0456, 100, 108.9058]], atol=1e-4)


def test_plain_tristimulus_values_where_they_are_said_to_be_emissive() -> None:
    text = CXF.replace("ColorEmissiveCIEXYZ", "ColorCIEXYZ")
    np.testing.assert_array_equal(read(text).xyz, read(CXF).xyz)


def test_a_spectrum() -> None:
    # CxF defines EmissiveSpectrum in W/(sr·m²·nm)
    values = np.linspace(0.0005, 0.002, len(WAVELENGTHS))
    text = without(
        CXF, r"   <cc:Object ObjectType=.Target. Name=.black.*Name=.red.*?</cc:Object>\n"
    )
    text = without(text, r"<cc:ColorEmissiveCIEXYZ.*?</cc:ColorEmissiveCIEXYZ>")
    text = edited(
        text,
        (
            "<cc:ColorValues>",
            '<cc:ColorValues><cc:EmissiveSpectrum StartWL="380" ColorSpecification="a">'
            + " ".join(f"{value:.9f}" for value in values)
            + "</cc:EmissiveSpectrum>",
        ),
        ("<cc:LuminanceUnitsType>", '<cc:WavelengthRange StartWL="380" Increment="5"/>'
         "<cc:LuminanceUnitsType>"),
    )  # fmt: skip
    expected = values @ weights(tuple(map(float, WAVELENGTHS)))
    np.testing.assert_allclose(read(text).xyz, [expected], rtol=1e-6)
    assert messages(text.replace(' Increment="5"', ""))[0].endswith(
        "EmissiveSpectrum: first wavelength and step are not stated; expected StartWL and "
        "Increment of a "
        "WavelengthRange"
    )
    for step in (".", "..", "-5", "1e3", "x"):
        assert messages(text.replace(' Increment="5"', f' Increment="{step}"')) == [
            "f:8: EmissiveSpectrum: first wavelength and step are not stated; expected StartWL "
            "and Increment "
            "of a WavelengthRange"
        ]
    assert messages(text.replace("0.000500000", "x"))[0].endswith(
        "EmissiveSpectrum 380 nm: 'x' is not a finite number; expected spectral radiance"
    )


UNIT = "<cc:LuminanceUnitsType>cd/m2</cc:LuminanceUnitsType>"
WHITE = (
    '<cc:ColorEmissiveCIEXYZ ColorSpecification="a">\n'
    "     <cc:X>95.0400</cc:X><cc:Y>100.10</cc:Y><cc:Z>108.9</cc:Z>\n"
    "    </cc:ColorEmissiveCIEXYZ>"
)
OTHER = "&#60;not read&#62;"

FAULTS = {
    "another root": (
        (("<cc:CxF ", "<cc:CxF2 "), ("</cc:CxF>", "</cc:CxF2>")),
        None,
    ),
    "another version": (
        (("CxF3-core", "CxF4-core"),),
        [
            "f:2: the root element is 'CxF' in the namespace "
            "'http://colorexchangeformat.com/CxF4-core'; expected CxF in "
            "http://colorexchangeformat.com/CxF3-core"
        ],
    ),
    "another unit": (
        ((UNIT, UNIT.replace("cd/m2", "fL")),),
        [
            "f:8: LuminanceUnitsType: unsupported unit 'fL'; expected cd/m2; also in lines 25 "
            "and 36"
        ],
    ),
    "another observer": (
        (("2_Degree", "10_Degree"),),
        [
            "f:8: Observer: '10_Degree' is not the observer that rules use; expected 2_Degree; "
            "also in "
            "lines 25 and 36"
        ],
    ),
    "relative": (
        ((WHITE, WHITE.replace("Emissive", "")), (UNIT, "")),
        [
            "f:8: ColorCIEXYZ: is relative, as its specification does not state emissive and "
            "cd/m2; expected ColorEmissiveCIEXYZ in cd/m²"
        ],
    ),
    "no colour": (
        ((WHITE, '<cc:ColorSRGB ColorSpecification="a"/>'),),
        [
            "f:6: ColorValues: no emissive colour: found 'ColorSRGB'; expected "
            "ColorEmissiveCIEXYZ in "
            "cd/m²"
        ],
    ),
    "two colours": (
        ((WHITE, WHITE + WHITE),),
        [
            "f:10: ColorEmissiveCIEXYZ: ColorEmissiveCIEXYZ and ColorEmissiveCIEXYZ in one Object; "
            "expected one colour"
        ],
    ),
    "a value twice": (
        (("<cc:Y>5.4</cc:Y>", "<cc:Y>5.4</cc:Y><cc:Y>5.5</cc:Y>"),),
        ["f:37: Y: duplicate in ColorEmissiveCIEXYZ; expected one"],
    ),
    "a code twice": (
        (("<cc:R>512</cc:R>", "<cc:R>512</cc:R><cc:R>511</cc:R>"),),
        ["f:40: R: duplicate in ColorRGB; expected one"],
    ),
    "two sets of values": (
        (("    <cc:TagCollection Name=\"somebody's own\">",
          "    <cc:ColorValues/><cc:TagCollection Name=\"somebody's own\">"),),
        ["f:18: ColorValues: duplicate in Object; expected one"],
    ),
    "no such specification": (
        ((WHITE, WHITE.replace('"a"', '"b"')),),
        ["f:8: ColorEmissiveCIEXYZ: unknown ColorSpecification 'b'"],
    ),
    "range of codes": (
        (('Name="white" Id="1"', 'Name="white" Id="9"'),),
        ["f:2: code values go up to '1023' by the file or its format's default; "
         "expected 255 for rgb-8-full"],
    ),
    "a tag": (
        (('Name="sd"', 'Name="gain"'),),
        [
            "f:16: Tag: unknown tag 'gain' in readings; expected one of c1, c2, c3, position, "
            "window, pattern, background, seconds, sd, replaced"
        ],
    ),
    "an element": (
        (('    <cc:TagCollection Name="somebody', '<cc:Gain/>    <cc:TagCollection Name="some'),),
        [
            "f:18: Object: unknown element 'Gain' in an Object; expected one of CreationDate, "
            "Comment, ColorValues, ColorDifferenceValues, DeviceColorValues, TagCollection, "
            "PhysicalAttributes"
        ],
    ),
    "a value": (
        (("<cc:Y>5.4</cc:Y>", "<cc:Y>bright</cc:Y>"),),
        ["f:34: ColorEmissiveCIEXYZ Y: 'bright' is not a number; expected cd/m², e.g. 95.05"],
    ),
    "a code": (
        (("<cc:R>512</cc:R>", "<cc:R>1024</cc:R>"),),
        [
            "f:34: ColorRGB R: '1024' is outside the encoding; expected a code value of "
            "rgb-10-full, 0 to 1023"
        ],
    ),
    "not closed": (
        (("</cc:CxF>\n", ""),),
        ["f:61: not well-formed XML: no element found"],
    ),
    "document type": (
        (("<cc:CxF ", '<!DOCTYPE CxF [<!ENTITY a "b">]>\n<cc:CxF '),),
        ["f:2: a document type (DOCTYPE) is declared; remove it: readings need none"],
    ),
    "entity from outside": (
        (("<cc:CxF ", '<!DOCTYPE CxF SYSTEM "file:///etc/hostname">\n<cc:CxF '),),
        ["f:2: a document type (DOCTYPE) is declared; remove it: readings need none"],
    ),
    "unknown entity": (
        (("100.10", "&white;"),),
        ["f:9: not well-formed XML: undefined entity"],
    ),
    "another character set": (
        (('encoding="UTF-8"', 'encoding="UTF-7"'),),
        ["f:1: the XML declares 'UTF-7'; save it as UTF-8"],
    ),
}  # fmt: skip


@pytest.mark.parametrize(("changes", "expected"), FAULTS.values(), ids=FAULTS)
def test_faults(changes: tuple[tuple[str, str], ...], expected: list[str] | None) -> None:
    text = edited(CXF, *changes)
    if expected is None:
        assert messages(text)[0].startswith("f: the file is XML; expected readings as CSV")
        assert messages(text, form="cxf")[0].startswith("f:2: the root element is 'CxF2'")
        return
    encoding = "rgb-8-full" if "for rgb-8-full" in expected[0] else "rgb-10-full"
    found = messages(text, encoding)
    assert found[: len(expected)] == expected


def test_the_encoding_that_the_file_states() -> None:
    tagged = convert([Source("f", CXF.encode())], "cxf", created=NOW, tool="a test",
                     encoding=ENCODINGS["rgb-10-full"]).data.decode()  # fmt: skip
    assert read(tagged, None).encoding.name == "rgb-10-full"
    assert messages(CXF, None)[0].startswith("f: the encoding of the code values is not stated")
    told = "f: Tag encoding: 'rgb-10-full' is not the encoding given for this file; expected"
    assert messages(tagged, "rgb-12-full") == [f"{told} rgb-12-full"]


def test_insisting_on_the_format() -> None:
    assert len(read(CXF, form="cxf")) == 3
    assert messages(CXF, form="tm27") == ["f: the file is CxF, by its content; expected IES TM-27"]


# ---------------------------------------------------------------- another library's files


def test_a_file_that_another_library_ships_is_of_printed_colours_and_refused() -> None:
    # colour-cxf's sample: reflectances of a printed target
    (sample,) = (
        Path(str(each.locate()))
        for each in package_files("colour-cxf") or ()
        if each.name == "sample.cxf"
    )
    assert messages(sample.read_text(encoding="utf-8")) == [
        "f:11: ColorValues: no emissive colour: found 'ColorCIELab', 'ColorSRGB', "
        "'ReflectanceSpectrum'; "
        "expected ColorEmissiveCIEXYZ in cd/m²; also in 143 more lines"
    ]


def test_a_file_that_another_library_writes() -> None:
    from colour_cxf import cxf3, read_cxf, write_cxf

    cxf = read_cxf(CXF.encode())
    (white, *_) = cxf.resources.object_collection.object_value
    white.color_values.choice[0].y = 99.25
    white.device_color_values.choice[0].r = 1000
    assert isinstance(white.color_values.choice[0], cxf3.ColorEmissiveCiexyz)
    found = read(write_cxf(cxf).decode())
    assert found.xyz[0].tolist() == [95.04, 99.25, 108.9]
    assert found.codes[0].tolist() == [1000, 1023, 1023]
    np.testing.assert_array_equal(found.xyz[1:], read(CXF).xyz[1:])
    assert found.background == read(CXF).background
