"""The same readings in each format, made by hand, for tests that change a word in them."""

from __future__ import annotations

import re

from compliance.model import Readings
from compliance.readings.load import readings_from_bytes

ENCODING = "rgb-10-full"

CSV = """\
r,g,b,X,Y,Z,position,window,pattern,background,seconds,sd
1023,1023,1023,95.0400,100.10,108.9,centre,10,window,"grey, 18 %",0,0.10
0,0,0,0.0010,0.0020,-0.003,centre,100,full,,0,
512,0,0,10.3,5.4,0.5,top-left,100,full,,60,
"""

CGATS = """\
CGATS.17
ORIGINATOR\t"by hand"
# a remark
DESCRIPTOR "Readings of a display"
CREATED "2026-11-20"
KEYWORD "POSITION"
KEYWORD "WINDOW"
KEYWORD "PATTERN"
KEYWORD "BACKGROUND"
KEYWORD "SECONDS"
KEYWORD "SD"
KEYWORD "LAMP"
LAMP "warm"
NUMBER_OF_FIELDS 13
BEGIN_DATA_FORMAT
SAMPLE_ID RGB_R RGB_G RGB_B XYZ_X XYZ_Y XYZ_Z POSITION WINDOW PATTERN BACKGROUND SECONDS SD
END_DATA_FORMAT
NUMBER_OF_SETS 3
BEGIN_DATA
1 1023 1023 1023 95.0400 100.10 108.9 centre 10 window "grey, 18 %" 0 0.10
2 0 0 0 0.0010 0.0020 -0.003 centre 100 full "" 0 ""
A3 512 0 0 10.3 5.4 0.5
   top-left 100 full "" 60 ""
END_DATA
"""

CXF = """\
<?xml version="1.0" encoding="UTF-8"?>
<cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core">
 <cc:FileInformation><cc:Creator>by hand</cc:Creator></cc:FileInformation>
 <cc:Resources>
  <cc:ObjectCollection>
   <cc:Object ObjectType="Target" Name="white" Id="1">
    <cc:CreationDate>2026-11-20T00:00:00Z</cc:CreationDate>
    <cc:ColorValues><cc:ColorEmissiveCIEXYZ ColorSpecification="a">
     <cc:X>95.0400</cc:X><cc:Y>100.10</cc:Y><cc:Z>108.9</cc:Z>
    </cc:ColorEmissiveCIEXYZ></cc:ColorValues>
    <cc:DeviceColorValues><cc:ColorRGB ColorSpecification="a"><cc:MaxRange>1023</cc:MaxRange>
     <cc:R>1023</cc:R><cc:G>1023</cc:G><cc:B>1023</cc:B></cc:ColorRGB></cc:DeviceColorValues>
    <cc:TagCollection Name="readings">
     <cc:Tag Name="position" Value="centre"/><cc:Tag Name="window" Value="10"/>
     <cc:Tag Name="pattern" Value="window"/><cc:Tag Name="background" Value="grey, 18 %"/>
     <cc:Tag Name="seconds" Value="0"/><cc:Tag Name="sd" Value="0.10"/>
    </cc:TagCollection>
    <cc:TagCollection Name="somebody's own"><cc:Tag Name="lamp" Value="warm"/></cc:TagCollection>
   </cc:Object>
   <cc:Object ObjectType="Target" Name="black" Id="2">
    <cc:CreationDate>2026-11-20T00:00:00Z</cc:CreationDate>
    <cc:ColorValues>
     <cc:ColorCIELab ColorSpecification="a"><cc:L>0</cc:L><cc:A>0</cc:A><cc:B>0</cc:B>
     </cc:ColorCIELab>
     <cc:ColorEmissiveCIEXYZ ColorSpecification="a">
     <cc:X>0.0010</cc:X><cc:Y>0.0020</cc:Y><cc:Z>-0.003</cc:Z>
    </cc:ColorEmissiveCIEXYZ></cc:ColorValues>
    <cc:DeviceColorValues><cc:ColorRGB ColorSpecification="a"><cc:MaxRange>1023</cc:MaxRange>
     <cc:R>0</cc:R><cc:G>0</cc:G><cc:B>0</cc:B></cc:ColorRGB></cc:DeviceColorValues>
    <cc:TagCollection Name="readings">
     <cc:Tag Name="window" Value="100"/><cc:Tag Name="pattern" Value="full"/>
    </cc:TagCollection>
   </cc:Object>
   <cc:Object ObjectType="Target" Name="red" Id="3">
    <cc:CreationDate>2026-11-20T00:00:00Z</cc:CreationDate>
    <cc:ColorValues><cc:ColorEmissiveCIEXYZ ColorSpecification="a">
     <cc:X>10.3</cc:X><cc:Y>5.4</cc:Y><cc:Z>0.5</cc:Z>
    </cc:ColorEmissiveCIEXYZ></cc:ColorValues>
    <cc:DeviceColorValues><cc:ColorRGB ColorSpecification="a"><cc:MaxRange>1023</cc:MaxRange>
     <cc:R>512</cc:R><cc:G>0</cc:G><cc:B>0</cc:B></cc:ColorRGB></cc:DeviceColorValues>
    <cc:TagCollection Name="readings">
     <cc:Tag Name="position" Value="top-left"/><cc:Tag Name="window" Value="100"/>
     <cc:Tag Name="pattern" Value="full"/><cc:Tag Name="seconds" Value="60"/>
    </cc:TagCollection>
   </cc:Object>
  </cc:ObjectCollection>
  <cc:ColorSpecificationCollection>
   <cc:ColorSpecification Id="a">
    <cc:TristimulusSpec>
     <cc:Observer>2_Degree</cc:Observer><cc:Method>unknown</cc:Method>
    </cc:TristimulusSpec>
    <cc:MeasurementSpec>
     <cc:MeasurementType>Colorimetric_Emissive</cc:MeasurementType>
     <cc:GeometryChoice><cc:EmissiveMode>EmissiveMode_Other</cc:EmissiveMode></cc:GeometryChoice>
     <cc:LuminanceUnitsType>cd/m2</cc:LuminanceUnitsType>
    </cc:MeasurementSpec>
   </cc:ColorSpecification>
  </cc:ColorSpecificationCollection>
 </cc:Resources>
 <cc:CustomResources><a xmlns="urn:somebody"><b c="d">e</b></a></cc:CustomResources>
</cc:CxF>
"""

WAVELENGTHS = range(380, 785, 5)


def spectra(unit: str = "W/(sr·m²·nm)") -> str:
    """Three spectra in rows: an even one, one of nothing, and one of two narrow lines."""
    even = ["0.001"] * len(WAVELENGTHS)
    nothing = ["0"] * len(WAVELENGTHS)
    lines = ["0.02" if at in (545, 610) else "1e-5" for at in WAVELENGTHS]
    head = ",".join(["r", "g", "b", "unit", *map(str, WAVELENGTHS)])
    rows = [("1023", even), ("0", nothing), ("512", lines)]
    return "\n".join([head, *(",".join([code] * 3 + [unit, *row]) for code, row in rows)]) + "\n"


def cgats_spectra(unit: str = "W/(sr·m²·nm)", field: str = "SPECTRAL_NM{}") -> str:
    """The spectra of `spectra` as keyword text."""
    rows = [line.split(",") for line in spectra(unit).splitlines()[1:]]
    fields = ["SAMPLE_ID", "RGB_R", "RGB_G", "RGB_B", *map(field.format, WAVELENGTHS)]
    sets = [" ".join([str(at), *row[:3], *row[4:]]) for at, row in enumerate(rows, 1)]
    stated = f'SPECTRAL_UNIT "{unit}"\n' if unit else ""
    return (
        f'CGATS.17\nKEYWORD "SPECTRAL_UNIT"\n{stated}BEGIN_DATA_FORMAT\n{" ".join(fields)}\n'
        f"END_DATA_FORMAT\nNUMBER_OF_SETS {len(sets)}\nBEGIN_DATA\n" + "\n".join(sets)
    ) + "\nEND_DATA\n"


def cxf_of_spectra() -> str:
    """The first of the spectra as CxF."""
    start = CXF.index("<cc:ColorEmissiveCIEXYZ"), CXF.index("</cc:ColorValues>")
    numbers = " ".join(["0.001"] * len(WAVELENGTHS))
    one = f'<cc:EmissiveSpectrum StartWL="380" Increment="5">{numbers}</cc:EmissiveSpectrum>'
    text = CXF[: start[0]] + one + CXF[start[1] :]
    ends = text.index("</cc:Object>") + len("</cc:Object>"), text.index("</cc:ObjectCollection>")
    return text[: ends[0]] + text[ends[1] :]


def tm27(quantity: str = "radiance", value: str = "0.001") -> str:
    """One even spectrum."""
    data = "\n".join(
        f'  <SpectralData wavelength="{at}.0">{value}</SpectralData>' for at in WAVELENGTHS
    )
    return f"""\
<?xml version="1.0" ?>
<IESTM2714 xmlns="http://www.ies.org/iestm2714" version="1.0">
 <Header><Description>white</Description><DocumentCreator>by hand</DocumentCreator></Header>
 <SpectralDistribution>
  <SpectralQuantity>{quantity}</SpectralQuantity>
{data}
 </SpectralDistribution>
</IESTM2714>
"""


def read(text: str | bytes, encoding: str | None = ENCODING, form: str | None = None) -> Readings:
    data = text.encode() if isinstance(text, str) else text
    return readings_from_bytes(data, "f", encoding, form=form)


def edited(text: str, *changes: tuple[str, str]) -> str:
    """`text` with each old part, which must occur once, replaced."""
    for old, new in changes:
        assert text.count(old) == 1, f"{old!r} occurs {text.count(old)} times"
        text = text.replace(old, new)
    return text


def without(text: str, pattern: str) -> str:
    """`text` without the matches of a pattern."""
    kept, count = re.subn(pattern, "", text, flags=re.DOTALL)
    assert count
    return kept
