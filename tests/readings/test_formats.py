"""The table of formats agrees with everything that leans on it."""

from __future__ import annotations

from importlib import import_module

from helpers.other_formats import CGATS, CSV, CXF, spectra, tm27

from compliance.evidence import attachments
from compliance.readings.load import FORMATS, detect_format, format_for_suffix
from compliance.readings.spectral_integration import OBSERVERS
from compliance.sheet import make_sheet


def test_each_format_has_its_reader_and_its_example() -> None:
    examples = {detect_format(text) for text in (CSV, CGATS, CXF, spectra(), tm27())}
    assert examples == set(FORMATS)
    for form in FORMATS.values():
        assert callable(import_module(f"compliance.readings.{form.module}").read)
        if form.writer:
            assert callable(import_module(f"compliance.readings.{form.writer}").write)


def test_a_sheet_can_carry_every_format_that_can_be_assessed() -> None:
    # TM-27 has no code values: it is joined to a plan and becomes another format first
    carried = {form.suffixes[0] for name, form in FORMATS.items() if name != "tm27"}
    assert carried == set(attachments.SUFFIXES) == {suffix for suffix, _ in make_sheet.FORMATS}


def test_names_tell_what_is_written() -> None:
    assert format_for_suffix(".CSV") == "csv"
    assert format_for_suffix(".txt") == "cgats"
    assert format_for_suffix(".cxf") == format_for_suffix(".xml") == "cxf"
    assert format_for_suffix(".spdx") is None


def test_observers_that_the_command_offers() -> None:
    from compliance.cli.convert import OBSERVERS as offered

    assert tuple(OBSERVERS) == offered
