"""Spectral radiance in keyword text: fields named by their wavelength, and X, Y, Z from them.

The standards name spectra for reflected light, in shares; of emitted light they say nothing but
the field's name. So a file states its unit, as `SPECTRAL_UNIT`, or is converted with one.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from compliance.readings.problems import Problems
from compliance.readings.records import OBSERVER
from compliance.readings.rows import Row
from compliance.readings.tables import Spectral

__all__ = ["REFLECTED", "SPECTRAL", "computed"]

SPECTRAL = re.compile(r"(?:SPECTRAL_NM|SPECTRAL|SPEC|NM)_?([0-9]{3,4}(?:\.[0-9]+)?)", re.IGNORECASE)
"""A field named by its wavelength in nm: `SPECTRAL_NM380`, `SPECTRAL_NM_380`, `SPEC_380`, …"""
REFLECTED = ("SPECTRAL_DEC", "SPECTRAL_PCT", "SPECTRAL_NM")
"""The standards' own fields: shares of reflected or transmitted light, wavelength by wavelength."""
UNIT = "SPECTRAL_UNIT"


def computed(
    fields: Sequence[str],
    rows: Sequence[Row],
    *,
    unit: str,
    line: int | None,
    spectral: Spectral,
    problems: Problems,
) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Names and cells of X, Y, Z for each row of data, from its spectrum; what is wrong is noted.

    With another observer than a rule judges, each row says for whom.
    """
    from compliance.readings.integration import stated_unit, tristimulus_cells

    places = [at for at, name in enumerate(fields) if SPECTRAL.fullmatch(name)]
    wavelengths = [_wavelength(fields[at]) for at in places]
    known = stated_unit(unit or spectral.unit, line, UNIT, problems)
    if known is None:
        raise problems.error()
    found = [
        tristimulus_cells(
            wavelengths,
            [row.cells[at] for at in places],
            known,
            line=row.line,
            field=fields[places[0]],
            problems=problems,
            observer=spectral.observer,
        )
        for row in rows
    ]
    observer = () if spectral.observer == OBSERVER else (spectral.observer,)
    names = ("X", "Y", "Z", *("observer" for _ in observer))
    return names, [(*cells.values(), *observer) for cells in found]


def _wavelength(name: str) -> float:
    match = SPECTRAL.fullmatch(name)
    assert match is not None
    return float(match[1])
