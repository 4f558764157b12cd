"""The table of formats agrees with everything that leans on it."""

from __future__ import annotations

from importlib import import_module

from other_formats import CGATS, CSV, CXF, spectra, tm27

from compliance import enclosures
from compliance.readings.formats import FORMATS, detected, form_of_name
from compliance.readings.integration import OBSERVERS
from compliance.sheet import write


def test_each_format_has_its_reader_and_its_example() -> None:
    examples = {detected(text) for text in (CSV, CGATS, CXF, spectra(), tm27())}
    assert examples == set(FORMATS)
    for form in FORMATS.values():
        assert callable(import_module(f"compliance.readings.{form.module}").read)
        if form.writer:
            assert callable(import_module(f"compliance.readings.{form.writer}").written)


def test_a_sheet_can_carry_every_format_that_can_be_assessed() -> None:
    # TM-27 has no code values: it is joined to a plan and becomes another format first
    carried = {form.suffixes[0] for name, form in FORMATS.items() if name != "tm27"}
    assert carried == set(enclosures.SUFFIXES) == {suffix for suffix, _ in write.FORMATS}


def test_names_tell_what_is_written() -> None:
    assert form_of_name(".CSV") == "csv"
    assert form_of_name(".txt") == "cgats"
    assert form_of_name(".cxf") == form_of_name(".xml") == "cxf"
    assert form_of_name(".spdx") is None


def test_observers_that_the_command_offers() -> None:
    from compliance.cli.convert import OBSERVERS as offered

    assert tuple(OBSERVERS) == offered
