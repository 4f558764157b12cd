"""Spectral radiance in keyword text: the same values as from the other formats of spectra."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from helpers import little_cms
from helpers.other_formats import CGATS, ENCODING, WAVELENGTHS, cgats_spectra, edited, read, spectra

from compliance.errors import ReadingsError
from compliance.model import ENCODINGS
from compliance.readings.convert import Source, convert
from compliance.readings.raw_table import SpectralOptions

NOW = datetime(2026, 11, 20, tzinfo=UTC)
UNITS = "expected W/(sr·m²·nm) or mW/(sr·m²·nm)"


def message(text: str) -> str:
    with pytest.raises(ReadingsError) as raised:
        read(text)
    return str(raised.value)


@pytest.mark.parametrize(
    "field", ["SPECTRAL_NM{}", "SPECTRAL_NM_{}", "SPECTRAL_{}", "SPEC_{}", "NM_{}", "nm{}.0"]
)
def test_fields_named_by_wavelengths(field: str) -> None:
    found = read(cgats_spectra(field=field))
    assert found.form == "cgats"
    np.testing.assert_array_equal(found.xyz, read(spectra()).xyz)
    np.testing.assert_array_equal(found.codes, read(spectra()).codes)


def test_sets_over_several_lines() -> None:
    text = cgats_spectra().replace(" 0.001 0.001", " 0.001\n  0.001")
    np.testing.assert_array_equal(read(text).xyz, read(spectra()).xyz)


def test_values_that_stand_there_go_before_their_spectra() -> None:
    nm = "SPECTRAL_NM380 SPECTRAL_NM385"
    text = edited(
        CGATS,
        ("SECONDS SD\n", f"SECONDS SD {nm}\n"),
        ("NUMBER_OF_FIELDS 13", "NUMBER_OF_FIELDS 15"),
        ("0 0.10\n", "0 0.10 1 2\n"),
        ('full "" 0 ""', 'full "" 0 "" 1 2'),
        ('"" 60 ""', '"" 60 "" 1 2'),
    )
    np.testing.assert_array_equal(read(text).xyz, read(CGATS).xyz)


def test_a_luminance_beside_spectra_is_no_colour() -> None:
    text = cgats_spectra().replace("RGB_B ", "RGB_B XYZ_Y ", 1)
    for codes in ("1023 1023 1023", "0 0 0", "512 512 512"):
        text = text.replace(f"{codes} ", f"{codes} 77 ", 1)
    np.testing.assert_array_equal(read(text).xyz, read(spectra()).xyz)


def test_a_file_that_another_library_writes() -> None:
    fields = ["SAMPLE_ID", "RGB_R", "RGB_G", "RGB_B", *(f"SPECTRAL_NM{at}" for at in WAVELENGTHS)]
    rows = [["1", "1023", "1023", "1023", *["0.001"] * len(WAVELENGTHS)]]
    text = little_cms.written(fields, rows, {"ORIGINATOR": "a test"})
    done = convert(
        [Source("f", text.encode() if isinstance(text, str) else text)],
        "csv",
        created=NOW,
        tool="a test",
        encoding=ENCODINGS[ENCODING],
        spectral=SpectralOptions(unit="W/(sr·m²·nm)"),
    )
    np.testing.assert_array_equal(read(done.data).xyz[0], read(spectra()).xyz[0])


def test_milliwatts() -> None:
    many, few = read(cgats_spectra()), read(cgats_spectra("mW/(sr·m²·nm)"))
    np.testing.assert_allclose(few.xyz, many.xyz / 1000)


def test_another_observer_says_so() -> None:
    done = convert(
        [Source("f", cgats_spectra().encode())],
        "csv",
        created=NOW,
        tool="a test",
        encoding=ENCODINGS[ENCODING],
        spectral=SpectralOptions("cie-1964-10"),
    )
    assert "'cie-1964-10' is not the observer that rules use" in message(done.data.decode())


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (cgats_spectra(""), f"f:3: SPECTRAL_UNIT: no unit is stated; {UNITS}"),
        (
            cgats_spectra("W/m2"),
            f"f:4: SPECTRAL_UNIT: 'W/m2' is not a unit of spectral radiance; {UNITS}",
        ),
        (
            cgats_spectra().replace("SPECTRAL_NM380", "SPECTRAL_NM784"),
            "f:9: SPECTRAL_NM784: the wavelength 385 nm is not above the one before; expected "
            "rising order; "
            "also in lines 10 and 11",
        ),
        (
            cgats_spectra().replace("0.02", "bright"),
            "f:11: SPECTRAL_NM380 545 nm: 'bright' is not a finite number; expected spectral "
            "radiance",
        ),
        (
            cgats_spectra().replace("SPECTRAL_NM380", "SPECTRAL_DEC"),
            "f:5: SPECTRAL_DEC: is a share of reflected light; expected spectral radiance in "
            "fields named by their wavelengths, e.g. SPECTRAL_NM380",
        ),
        (
            cgats_spectra().replace("SPECTRAL_NM385", "SPECTRAL_NM380"),
            "f:5: duplicate field 'SPECTRAL_NM380'",
        ),
    ],
)
def test_faults(text: str, told: str) -> None:
    assert message(text).split("\n")[0] == told
