"""Meters: what a file becomes, and what is said about a wrong one."""

from __future__ import annotations

import hashlib
import json
from datetime import date
from pathlib import Path

import pytest
from helpers.sample_text import METER, complaint, edited, write

from compliance.errors import MeterError
from compliance.meter_file import load_meter, meter_from_document
from compliance.model import (
    CHROMATICITY_FLOOR,
    Certificate,
    ChromaticityBand,
    Linearity,
    LuminanceBand,
    Meter,
    RepeatabilityBand,
    Saturated,
    Uncertainty,
)
from compliance.plain_data import canonical_bytes

MESSAGES = [
    ("meter: spot-1\n", "", "meter.yaml:1: meter: missing; expected a text, e.g. meter: spot-1"),
    ("kind: colorimeter", "kind: tristimulus", "meter.yaml:2: kind: unknown kind of meter "
     "'tristimulus'; expected one of spectroradiometer, colorimeter"),
    ("kind: colorimeter", "kind: spectro", "meter.yaml:2: kind: unknown kind of meter 'spectro'; "
     "did you mean 'spectroradiometer'?"),
    ("kind: colorimeter", "kind: spectroradiometer", "meter.yaml:7: correction: is for a "
     "colorimeter; a spectroradiometer has none, leave the key out"),
    ("serial: 0012", "serial:", "meter.yaml:5: serial: is empty; expected a text, e.g. serial: "
     "SR-0031"),
    ("due: 2027-03-02", "due: 2026-03-01", "meter.yaml:6: certificate.due: 2026-03-01 is before "
     "issued, 2026-03-02"),
    ("due: 2027-03-02", "due: next spring", "meter.yaml:6: certificate.due: 'next spring' is not "
     "a date; expected year-month-day, e.g. due: 2027-03-02"),
    ("  k: 2\n", "", "meter.yaml:8: uncertainty.k: missing; expected the coverage factor, "
     "e.g. k: 2"),
    ("k: 2", "k: two", "meter.yaml:9: uncertainty.k: 'two' is not a number; expected the "
     "coverage factor, e.g. k: 2"),
    ("{from: 1, relative: 2}]", "{from: 1, relative: 2 %}]", "meter.yaml:10: "
     "uncertainty.luminance[1].relative: '2 %' is not a number; expected %, e.g. relative: 2"),
    ("{from: 1, relative: 2}]", "{from: 0.003, relative: 2}]", "meter.yaml:10: "
     "uncertainty.luminance[1].from: 0.003 is not above 0.003 before it"),
    ("{from: 5, x: 0.0015, y: 0.0015}", "{from: 5, x: 0.0015}", "meter.yaml:12: "
     "uncertainty.chromaticity[1].y: missing; expected an uncertainty in x or y, e.g. y: 0.0015"),
    ("{from: 5, x: 0.0015, y: 0.0015}", "{from: 5, x: 0, y: 0.0015}", "meter.yaml:12: "
     "uncertainty.chromaticity[1].x: '0' is not above 0; expected an uncertainty in x or y, "
     "e.g. x: 0.0015"),
    ("correlation: {xy: 0.3}", "correlation: 0.3", "meter.yaml:14: uncertainty.correlation: "
     "found '0.3'; expected a mapping with xy, e.g. correlation: {xy: 0.3}"),
    ("xy: 0.3", "xy: 1", "meter.yaml:14: uncertainty.correlation.xy: '1' is not below 1; expected "
     "a correlation between -1 and 1, e.g. xy: 0.3"),
    ("lowest: 0.003", "lowest: 0,003", "meter.yaml:16: lowest: '0,003' is not a number (with a "
     "decimal point: 0.003); expected cd/m², e.g. lowest: 0.003"),
    ("dark: 0.002", "dark: 0.004", "meter.yaml:11: uncertainty.dark: 0.004 is above lowest, 0.003: "
     "light that the zero is less certain than cannot be told from dark; expected lowest to be at "
     "least 0.004"),
    ("dark: 0.002", "resolution: 0.01", "meter.yaml:11: uncertainty.resolution: 0.01 is above "
     "lowest, 0.003: less light than the last digit cannot be told from dark; expected lowest to "
     "be at least 0.01"),
    ("settle: 1.0", "setle: 1.0", "meter.yaml:17: setle: unknown key 'setle'; did you mean "
     "'settle'?"),
    ("{from: 1, seconds: 4}", "{from: 0, seconds: 4}", "meter.yaml:18: reading_time[1].from: 0 is "
     "not above 0 before it"),
]  # fmt: skip


def loaded(folder: Path, text: str = METER) -> Meter:
    write(folder, {"meter.yaml": text})
    return load_meter(folder / "meter.yaml")


@pytest.mark.parametrize(("old", "new", "message"), MESSAGES)
def test_a_wrong_meter_is_told_exactly(tmp_path: Path, old: str, new: str, message: str) -> None:
    with pytest.raises(MeterError) as failure:
        loaded(tmp_path, edited(METER, old, new))
    assert complaint(tmp_path, failure) == message


def test_a_meter(tmp_path: Path) -> None:
    meter = loaded(tmp_path)
    assert (meter.name, meter.kind) == ("spot-1", "colorimeter")
    assert (meter.make, meter.model, meter.serial) == ("Invented", "Spot", "0012")
    assert meter.certificate == Certificate("C-2026-118", "L", date(2026, 3, 2), date(2027, 3, 2))
    assert meter.uncertainty == Uncertainty(
        k=2.0,
        luminance=(LuminanceBand(0.003, 4.0), LuminanceBand(1.0, 2.0)),
        linearity=Linearity(),
        dark=0.002,
        resolution=None,
        chromaticity=(ChromaticityBand(0.1, 0.004, 0.005), ChromaticityBand(5.0, 0.0015, 0.0015)),
        saturated=Saturated(0.003, 0.004),
        correlation=0.3,
        repeatability=(RepeatabilityBand(0.003, 2.0, 0.002, 0.001),),
    )
    assert (meter.lowest, meter.settle) == (0.003, 1.0)
    assert meter.reading_time == ((0.0, 12.0), (1.0, 4.0))
    assert meter.correction == {"name": "suite-2", "made_for": "RD-31-0007", "date": "2026-11-20"}
    assert meter.chromaticity_floor == 0.1
    assert meter.sha256 == hashlib.sha256(METER.encode()).hexdigest()


def test_a_zero_beside_a_meter_without_a_lowest(tmp_path: Path) -> None:
    """The lowest luminance is then where `luminance` begins; from 0, nothing is known of it."""
    open_end = edited(METER, "lowest: 0.003\n", "")
    with pytest.raises(MeterError, match=r"is above where luminance begins, 0\.003"):
        loaded(tmp_path, edited(open_end, "dark: 0.002", "dark: 0.004"))
    from_zero = edited(open_end, "luminance: [{from: 0.003", "luminance: [{from: 0")
    assert loaded(tmp_path, edited(from_zero, "dark: 0.002", "dark: 0.004")).lowest == 0


def test_a_zero_in_the_evidence_of_an_earlier_version_is_read(tmp_path: Path) -> None:
    document = dict(loaded(tmp_path).document)
    document["uncertainty"] = {**document["uncertainty"], "dark": 0.004}
    assert meter_from_document(document, "meter.json", "").uncertainty.dark == 0.004  # type: ignore[union-attr]


def test_what_a_meter_need_not_say(tmp_path: Path) -> None:
    meter = loaded(tmp_path, "meter: spot-1\nkind: spectroradiometer\n")
    assert (meter.certificate, meter.uncertainty, meter.correction) == (None, None, None)
    assert (meter.lowest, meter.settle, meter.reading_time) == (0.0, None, ())
    assert meter.chromaticity_floor == CHROMATICITY_FLOOR


def test_what_an_uncertainty_need_not_say(tmp_path: Path) -> None:
    text = METER
    for line in ("dark: 0.002", "saturated: {x: 0.003, y: 0.004}", "correlation: {xy: 0.3}",
                 "repeatability: [{from: 0.003, relative: 2, x: 0.002, y: 0.001}]"):  # fmt: skip
        text = edited(text, f"  {line}\n", "")
    uncertainty = loaded(tmp_path, text).uncertainty
    assert uncertainty is not None
    assert (uncertainty.dark, uncertainty.repeatability) == (None, ())
    assert (uncertainty.saturated, uncertainty.correlation) == (None, None)
    assert (uncertainty.resolution, uncertainty.linearity) == (None, Linearity())


def test_more_of_an_uncertainty(tmp_path: Path) -> None:
    text = edited(
        METER,
        "  saturated: {x: 0.003, y: 0.004}\n",
        "  saturated: {x: 0.003, y: 0.004, relative: 3}\n  resolution: 0.001\n"
        "  linearity: {relative: 0.7, xy: 0.0004}\n",
    )
    uncertainty = loaded(tmp_path, text).uncertainty
    assert uncertainty is not None
    assert uncertainty.saturated == Saturated(0.003, 0.004, 3.0)
    assert (uncertainty.resolution, uncertainty.linearity) == (0.001, Linearity(0.7, 0.0004))


def test_the_lowest_luminance_is_where_the_first_band_begins_unless_stated(tmp_path: Path) -> None:
    silent = loaded(tmp_path, edited(METER, "lowest: 0.003\n", ""))
    assert (silent.stated_lowest, silent.lowest) == (None, 0.003)


def test_a_meter_comes_back_from_its_document(tmp_path: Path) -> None:
    meter = loaded(tmp_path)
    data = json.loads(canonical_bytes(meter.document))
    assert meter_from_document(data, meter.file, meter.sha256) == meter


@pytest.mark.parametrize("document", [None, [], "meter", 3, {}, {"meter": "a", "kind": "b"}])
def test_what_is_no_document_is_refused(document: object) -> None:
    with pytest.raises(MeterError):
        meter_from_document(document, "meter.json", "")  # type: ignore[arg-type]


def test_a_meter_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(MeterError) as failure:
        load_meter(tmp_path / "none.yaml")
    assert complaint(tmp_path, failure) == "none.yaml: no such meter file"


def test_a_very_small_linearity_needs_its_reference(tmp_path: Path) -> None:
    """The sample repeats to 2 %: nobody finds .5 % between levels with that alone."""
    small = edited(METER, "  k: 2\n", "  k: 2\n  linearity: {relative: 0.5}\n")
    with pytest.raises(MeterError) as failure:
        loaded(tmp_path, small)
    said = complaint(tmp_path, failure)
    assert "uncertainty.linearity.relative: 0.5 is below a third of the repeatability, 2" in said
    proven = edited(small, "relative: 0.5}", "relative: 0.5, reference: attenuators}")
    uncertainty = loaded(tmp_path, proven).uncertainty
    assert uncertainty is not None and uncertainty.linearity.reference == "attenuators"
