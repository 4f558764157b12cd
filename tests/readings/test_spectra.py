"""Spectral radiance to X, Y, Z, from CSV and IES TM-27, and every refusal word for word."""

from __future__ import annotations

import warnings
from importlib.metadata import files as package_files
from pathlib import Path

import numpy as np
import pytest
from helpers.other_formats import WAVELENGTHS, edited, read, spectra, tm27

from compliance.errors import ReadingsError, UsageError
from compliance.readings.load import read_raw
from compliance.readings.raw_table import SpectralOptions
from compliance.readings.spectral_integration import OBSERVERS, UNITS, unit_of, weights
from compliance.readings.text import Problems

KM = 683.0
FIVE = tuple(map(float, WAVELENGTHS))

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour


def messages(text: str) -> list[str]:
    with pytest.raises(ReadingsError) as raised:
        read(text)
    return str(raised.value).split("\n")


def table(text: str, **how: str):
    return read_raw(text, Problems("f"), None, SpectralOptions(**how))


def observer_functions() -> np.ndarray:
    """(471, 4) wavelength, x̄, ȳ, z̄ of the 2° observer, from the data files of luxpy."""
    (path,) = (
        Path(str(each.locate()))
        for each in package_files("luxpy") or ()
        if each.name == "ciexyz_1931_2.dat"
    )
    return np.loadtxt(path, delimiter=",")


# ---------------------------------------------------------------- the integral


def test_one_nanometre_is_the_sum_over_the_observers_table() -> None:
    # CIE 15:2018, 7.1: sums of steps of 1 nm; the table is another library's (luxpy)
    functions = observer_functions()
    functions = functions[(functions[:, 0] >= 380) & (functions[:, 0] <= 780)]
    found = weights(tuple(functions[:, 0]))
    np.testing.assert_allclose(found, KM * functions[:, 1:], rtol=2e-6, atol=1e-4)


def test_a_watt_at_555_nm_is_683_lumens() -> None:
    # The International System of Units: 683 lm/W at 540 THz, where ȳ is 1
    found = weights(tuple(np.arange(380.0, 781.0)))
    assert found[175, 1] == pytest.approx(683.0, rel=1e-4)


@pytest.mark.parametrize("step", [1.0, 2.0, 4.0, 5.0, 10 / 3])
def test_other_steps_agree_with_colour_science(step: float) -> None:
    # The primaries are measured ones that colour-science ships, in steps of 5 nm; in between
    # they are interpolated, which a step that is no divisor of 5 nm feels at narrow lines.
    nodes = tuple(np.arange(380.0, 780.01, step))
    for primaries in colour.MSDS_DISPLAY_PRIMARIES.values():
        for values in primaries.values.T:
            whole = colour.SpectralDistribution(values, primaries.wavelengths)
            fine = whole.copy().interpolate(colour.SpectralShape(380, 780, 1))
            functions = colour.MSDS_CMFS[OBSERVERS["cie-1931-2"]]
            functions = functions.copy().align(fine.shape)
            expected = colour.sd_to_XYZ(fine, functions, k=KM, method="Integration")
            found = whole[np.array(nodes)] @ weights(nodes)
            apart = 1e-3 if step in (1.0, 5.0) else 6e-3
            assert np.abs(found - expected).max() < apart * expected.max()


def test_uneven_wavelengths() -> None:
    random = np.random.RandomState(417)
    nodes = (375.0, *np.sort(random.uniform(378, 782, 300)), 790.0)
    even = 0.001 * np.ones(len(nodes))
    np.testing.assert_allclose(even @ weights(nodes), 0.001 * weights(FIVE).sum(0), rtol=2e-3)


def test_other_observers_are_those_of_colour_science() -> None:
    nodes = tuple(np.arange(390.0, 781.0))
    for name, theirs in OBSERVERS.items():
        functions = colour.MSDS_CMFS[theirs]
        expected = KM * functions[np.array(nodes)]
        np.testing.assert_allclose(weights(nodes, name), expected, rtol=1e-9, atol=1e-9)
    with pytest.raises(UsageError, match="unknown observer 'cie-1931'; did you mean"):
        weights(nodes, "cie-1931")


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("W/(sr·m²·nm)", "W/(sr·m²·nm)"),
        ("W/(sr*m2*nm)", "W/(sr·m²·nm)"),
        ("W/(m2 sr nm)", "W/(sr·m²·nm)"),
        ("W/sr/m^2/nm", "W/(sr·m²·nm)"),
        ("W·sr⁻¹·m⁻²·nm⁻¹", "W/(sr·m²·nm)"),
        ("mW/(sr·m²·nm)", "mW/(sr·m²·nm)"),
        ("W/(sr m²)/nm", "W/(sr·m²·nm)"),
        ("mW m-2 sr-1 nm-1", "mW/(sr·m²·nm)"),
        ("W/(nm.m^2.sr)", "W/(sr·m²·nm)"),
        ("W/m2 sr nm", None),
        ("W/sr/sr/m2/nm", None),
        ("W·m⁻¹·sr⁻¹·nm⁻¹", None),
        ("W/m2/nm", None),
        ("W", None),
        ("W/(sr·m²·µm)", None),
        ("W/(sr·m²)", None),
        ("MW/(sr·m²·nm)", None),
        ("", None),
    ],
)
def test_units(text: str, unit: str | None) -> None:
    assert unit_of(text) == unit
    assert unit is None or unit in UNITS


# ---------------------------------------------------------------- CSV


def test_rows() -> None:
    found = read(spectra())
    assert found.form == "spectra"
    assert found.codes[:, 0].tolist() == [1023, 0, 512]
    np.testing.assert_allclose(found.xyz[0], 0.001 * weights(FIVE).sum(0))
    assert found.xyz[1].tolist() == [0, 0, 0]
    assert found.lines == (2, 3, 4)


def test_ways_to_name_wavelengths_and_units() -> None:
    plain = read(spectra()).xyz
    header, rest = spectra().split("\n", 1)
    for name in ("{}nm", "{} nm", "nm{}", "{}.0"):
        named = ",".join(
            name.format(cell) if cell.isdigit() else cell for cell in header.split(",")
        )
        np.testing.assert_array_equal(read(named + "\n" + rest).xyz, plain)
    thousandth = read(spectra("mW/(sr·m²·nm)")).xyz
    np.testing.assert_allclose(thousandth, plain / 1000)


def test_columns_are_spectra_of_the_plan() -> None:
    rows = "\n".join(f"{at},0.001,{0.002 if at == 600 else 0}" for at in WAVELENGTHS)
    found = table(f"wavelength,white,some colour\n{rows}\n", unit="W/sr/m2/nm")
    assert (found.form, found.names) == ("spectra", ("X", "Y", "Z"))
    values = np.array([[float(cell) for cell in row.cells] for row in found.rows])
    np.testing.assert_allclose(values[0], 0.001 * weights(FIVE).sum(0))
    np.testing.assert_allclose(values[1], 0.002 * weights(FIVE)[FIVE.index(600.0)])


def test_columns_that_another_library_writes(tmp_path: Path) -> None:
    # colour-science
    path = tmp_path / "spectra.csv"
    values = np.linspace(0, 0.01, len(FIVE))
    one, two = (colour.SpectralDistribution(v, FIVE) for v in (values, values[::-1]))
    colour.write_sds_to_csv_file({"one": one, "two": two}, str(path))
    found = table(path.read_text(), unit="W/(sr·m²·nm)")
    got = [[float(cell) for cell in row.cells] for row in found.rows]
    for xyz, sd in zip(got, (one, two), strict=True):
        np.testing.assert_allclose(xyz, sd.values @ weights(FIVE))


def test_another_observers_values_say_so_and_are_not_judged() -> None:
    found = table(spectra(), observer="cie-1964-10")
    assert found.cells("observer") == ["cie-1964-10"] * 3
    csv = "r,g,b,X,Y,Z,observer\n1,1,1,9,10,11,cie-1964-10\n"
    assert messages(csv) == [
        "f:2: observer: 'cie-1964-10' is not the observer that rules use; expected cie-1931-2"
    ]
    assert len(read(csv.replace("1964-10", "1931-2"))) == 1


FAULTS = {
    "no unit": (
        lambda text: text.replace("W/(sr·m²·nm)", ""),
        "f:2: unit: no unit is stated; expected W/(sr·m²·nm) or mW/(sr·m²·nm); also in lines "
        "3 and 4",
    ),
    "another unit": (
        lambda text: text.replace("W/(sr·m²·nm)", "W/m2/nm"),
        "f:2: unit: 'W/m2/nm' is not a unit of spectral radiance; expected W/(sr·m²·nm) or "
        "mW/(sr·m²·nm); also in lines 3 and 4",
    ),
    "a value": (
        lambda text: text.replace("0.02", "bright"),
        "f:4: spectrum 545 nm: 'bright' is not a finite number; expected spectral radiance",
    ),
    "nothing": (
        lambda text: text.replace("0.02", "", 1),
        "f:4: spectrum 545 nm: the cell is empty; expected spectral radiance",
    ),
    "a cell too many": (
        lambda text: text.replace("0.02,", "0.02,0,", 1),
        "f:4: 86 cells; expected 85 as in the header row",
    ),
    "not rising": (
        lambda text: text.replace("385,390", "390,385"),
        "f:1: wavelengths: the wavelength 385 nm is not above the one before; expected rising "
        "order",
    ),
    "too narrow": (
        lambda text: text.replace("380,385,390", "395,396,397"),
        "f:1: wavelengths: the wavelength 395 nm is not above the one before; expected rising "
        "order",
    ),
    "a column": (
        lambda text: text.replace("b,unit", "b,gain,unit").replace(",W/", ",1,W/"),
        "f:1: unknown column 'gain' beside spectra; expected one of r, g, b, c1, c2, c3, "
        "position, window, pattern, background, seconds, encoding, sd, replaced, observer, unit",
    ),
    "values as well": (
        lambda text: text.replace("b,unit", "b,Y,unit").replace(",W/", ",1,W/"),
        "f:1: unknown column 'Y' beside spectra; expected one of r, g, b, c1, c2, c3, "
        "position, window, pattern, background, seconds, encoding, sd, replaced, observer, unit",
    ),
}


@pytest.mark.parametrize(("change", "expected"), FAULTS.values(), ids=FAULTS)
def test_faults(change, expected: str) -> None:
    text = change(spectra())
    assert text != spectra()
    assert messages(text)[0] == expected


@pytest.mark.parametrize(
    ("wavelengths", "told"),
    [
        (range(400, 785, 5), "400 to 780 nm; expected at least 380 to 730 nm"),
        (range(380, 705, 5), "380 to 700 nm; expected at least 380 to 730 nm"),
        (range(380, 790, 10), "steps of 10 nm; expected 5 nm or less"),
    ],
)
def test_spectra_that_cannot_be_judged(wavelengths: range, told: str) -> None:
    head = ",".join(["r", "g", "b", "unit", *map(str, wavelengths)])
    row = ",".join(["1", "1", "1", "W/(sr·m²·nm)", *["0.001"] * len(wavelengths)])
    assert messages(f"{head}\n{row}\n") == [f"f:1: wavelengths: {told}"]


# ---------------------------------------------------------------- IES TM-27


def values_of(text: str, **how: str) -> list[float]:
    (row,) = table(text, **how).rows
    return [float(cell) for cell in row.cells]


def test_tm_27() -> None:
    np.testing.assert_allclose(values_of(tm27()), 0.001 * weights(FIVE).sum(0))
    thousandth = values_of(tm27(), unit="mW/(sr·m²·nm)")
    np.testing.assert_allclose(thousandth, 1e-6 * weights(FIVE).sum(0))


def test_tm_27_that_another_library_writes(tmp_path: Path) -> None:
    # colour-science
    path = tmp_path / "white.spdx"
    header = colour.io.Header_IESTM2714(description="white", document_creator="a test")
    sd = colour.SpectralDistribution_IESTM2714(
        str(path), header, spectral_quantity="radiance", bandwidth_FWHM=5.0
    )
    sd[np.array(FIVE)] = np.linspace(0, 0.01, len(FIVE))
    sd.write()
    expected = np.linspace(0, 0.01, len(FIVE)) @ weights(FIVE)
    np.testing.assert_allclose(values_of(path.read_text()), expected)


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("TM27 Sample Spectral Data.spdx", "found 'relative'; expected radiance"),
        ("Fluorescent.spdx", "found 'relative'; expected radiance"),
        ("Invalid.spdx", "the file is XML; expected readings as CSV"),
    ],
)
def test_tm_27_samples_in_use_are_no_radiance(name: str, told: str) -> None:
    # the standard's sample and others, which colour-science ships with its tests
    (path,) = (
        Path(str(each.locate()))
        for each in package_files("colour-science") or ()
        if each.name == name
    )
    assert told in messages(path.read_text(encoding="utf-8"))[0]


def test_the_standards_sample_said_to_be_radiance_begins_too_late() -> None:
    (path,) = (
        Path(str(each.locate()))
        for each in package_files("colour-science") or ()
        if each.name == "TM27 Sample Spectral Data.spdx"
    )
    text = path.read_text(encoding="utf-8").replace("relative", "radiance")
    assert "400 to 650 nm; expected at least 380 to 730 nm" in messages(text)[0]


TM27_FAULTS = {
    "quantity": (
        ("radiance", "flux"),
        "f:5: SpectralQuantity: found 'flux'; expected radiance",
    ),
    "no quantity": (
        ("<SpectralQuantity>radiance</SpectralQuantity>", ""),
        "f:4: SpectralQuantity: no quantity is stated; expected radiance",
    ),
    "wavelength": (
        ('wavelength="500.0"', 'wavelength="green"'),
        "f:30: SpectralData: 'green' is not a wavelength; expected nm, e.g. 380",
    ),
    "value": (
        ('wavelength="500.0">0.001', 'wavelength="500.0">much'),
        "f:4: SpectralData 500 nm: 'much' is not a finite number; expected spectral radiance",
    ),
    "two": (
        ("</SpectralDistribution>", "</SpectralDistribution><SpectralDistribution/>"),
        "f:2: SpectralDistribution: found 2 spectral distributions; expected one",
    ),
}


@pytest.mark.parametrize(("change", "expected"), TM27_FAULTS.values(), ids=TM27_FAULTS)
def test_tm_27_faults(change: tuple[str, str], expected: str) -> None:
    assert messages(edited(tm27(), change))[0] == expected


def test_tm_27_alone_has_no_code_values() -> None:
    (told,) = messages(tm27())
    assert told == (
        "f:2: no columns for code values; expected r, g, b or c1, c2, c3; if the file has "
        "none, take them from the plan that was measured: compliance convert FILE OUT --plan "
        "PLAN.csv"
    )
