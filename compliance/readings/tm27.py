"""One reading as spectral radiance in XML: ANSI/IES TM-27 (2014 and 2020).

The format has no place for code values, so such files are joined with the plan that was
measured, one file per reading. Its quantity must be `radiance`, in W/(sr·m²·nm).
"""

from __future__ import annotations

import re

from compliance.readings.raw_table import SpectralOptions, Table
from compliance.readings.spectral_integration import EVERY_NM, tristimulus_cells, unit_of
from compliance.readings.text import Problems, Row
from compliance.readings.xml_tree import Element, tree_of
from compliance.yaml_nodes.messages import quoted

NAME = "tm27"
WAVELENGTH = re.compile(r"[0-9]{2,4}(?:\.[0-9]+)?")


def read(text: str, problems: Problems, spectral: SpectralOptions) -> Table:
    """The table of one row in a TM-27 text, its X, Y, Z computed. Raises ReadingsError."""
    root = tree_of(text, problems)
    if not root.name.upper().startswith("IESTM27"):
        message = f"the root element is {quoted(root.name)}; expected IESTM2714"
        raise problems.stop(message, root.line)
    distributions = list(root.each("SpectralDistribution"))
    if len(distributions) != 1:
        message = f"found {len(distributions)} spectral distributions; expected one"
        raise problems.stop(message, root.line, "SpectralDistribution")
    cells = _cells(distributions[0], problems, spectral)
    problems.check()
    return Table(NAME, tuple(cells), (Row(root.line, tuple(cells.values())),), root.line)


def _cells(element: Element, problems: Problems, spectral: SpectralOptions) -> dict[str, str]:
    quantity = element.first("SpectralQuantity")
    stated = quantity.text if quantity else ""
    if stated != "radiance":
        line = (quantity or element).line
        what = f"found {quoted(stated)}" if stated else "no quantity is stated"
        raise problems.stop(f"{what}; expected radiance", line, "SpectralQuantity")
    unit = unit_of(spectral.unit) if spectral.unit else EVERY_NM
    if unit is None:
        what = f"{quoted(spectral.unit)} is not a unit of spectral radiance"
        message = f"{what}; expected {EVERY_NM}"
        raise problems.stop(message, field="unit")
    data = list(element.each("SpectralData"))
    wavelengths: list[float] = []
    for each in data:
        stated = each.attributes.get("wavelength", "")
        if not WAVELENGTH.fullmatch(stated):
            message = f"{quoted(stated)} is not a wavelength; expected nm, e.g. 380"
            raise problems.stop(message, each.line, "SpectralData")
        wavelengths.append(float(stated))
    numbers = [each.text for each in data]
    place = problems.at(element.line, "SpectralData")
    return tristimulus_cells(wavelengths, numbers, unit, spectral.observer, place)
