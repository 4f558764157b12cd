"""Readings as CxF (Color Exchange Format, version 3; CxF/X of ISO 17972), read and written.

One `Object` is one reading. Its colour is a `ColorEmissiveCIEXYZ` or `ColorEmissiveCIExyY`
in cd/m², or an `EmissiveSpectrum` in W/(sr·m²·nm), as the format defines them; its code
values are a `ColorRGB` with its `MaxRange`. Place, window, time and the codes of X'Y'Z', for
which the format has no element, are tags in a collection named `readings`.
Observer and unit of a measurement's specification must be those that rules use. The vendors'
own resources are ignored.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from xml.sax.saxutils import escape, quoteattr

from compliance.model import Encoding
from compliance.readings.raw_table import SpectralOptions, Table
from compliance.readings.text import MOST_ROWS, Problems, Row
from compliance.readings.xml_tree import Element, tree_of
from compliance.yaml_nodes.messages import did_you_mean, quoted

NAME = "cxf"
SPACE = "http://colorexchangeformat.com/CxF3-core"
TAGS = (
    "c1", "c2", "c3", "position", "window", "pattern", "background", "seconds", "sd", "replaced",
)  # fmt: skip
COLLECTION = "readings"
USUAL_TOP = 255
"""The largest code value if no MaxRange is given."""
PARTS = (
    "CreationDate", "Comment", "ColorValues", "ColorDifferenceValues", "DeviceColorValues",
    "TagCollection", "PhysicalAttributes",
)  # fmt: skip
"""The elements that an Object may contain."""

XYZ, XYY, SPECTRUM = "ColorEmissiveCIEXYZ", "ColorEmissiveCIExyY", "EmissiveSpectrum"
PLAIN_XYZ = "ColorCIEXYZ"
"""Relative by its definition; read if its specification states emissive, in cd/m²."""
VALUES: Mapping[str, tuple[str, ...]] = {XYZ: ("X", "Y", "Z"), XYY: ("Y", "x", "y")}
WAVELENGTH = re.compile(r"[0-9]{2,4}(?:\.[0-9]+)?")
STEP = re.compile(r"[0-9]{1,3}(?:\.[0-9]*)?")

Cells = dict[str, str]


@dataclass(frozen=True, slots=True)
class _File:
    """Parts of the file that each object's reading needs."""

    problems: Problems
    specifications: Mapping[str, Element]
    observer: str
    """The observer for X, Y, Z of spectra."""


def read(text: str, problems: Problems, spectral: SpectralOptions) -> Table:
    """The table in a CxF text. Raises ReadingsError if it is not CxF."""
    root = tree_of(text, problems)
    if root.name != "CxF" or root.space != SPACE:
        what = f"the root element is {quoted(root.name)} in the namespace {quoted(root.space)}"
        raise problems.stop(f"{what}; expected CxF in {SPACE}", root.line)
    known = root.at("Resources", "ColorSpecificationCollection")
    file = _File(
        problems,
        {each.attributes.get("Id", ""): each for each in (known.children if known else [])},
        spectral.observer,
    )
    collection = root.at("Resources", "ObjectCollection")
    objects = list(collection.each("Object")) if collection else []
    if not objects:
        raise problems.stop("no readings; expected an Object in an ObjectCollection")
    if len(objects) > MOST_ROWS:
        raise problems.stop(f"more than {MOST_ROWS} readings; split the file", root.line)
    cells_by_line = [(each.line, _cells(each, file)) for each in objects]
    problems.check()
    return _table(cells_by_line, root, problems)


def _cells(element: Element, file: _File) -> Cells:
    """One object's cells by our column names."""
    _check_once(element, ("ColorValues", "DeviceColorValues"), file)
    for child in element.children:
        if child.name not in PARTS:
            message = f"unknown element {quoted(child.name)} in an Object"
            file.problems.add(f"{message}; {did_you_mean(child.name, PARTS)}", child.line, "Object")
    return {**_codes(element, file), **_colour(element, file), **_tags(element, file)}


def _codes(element: Element, file: _File) -> Cells:
    device = element.first("DeviceColorValues")
    colours = list(device.each("ColorRGB")) if device else []
    if len(colours) > 1:
        file.problems.add("two ColorRGB in one Object; expected one", colours[1].line, "ColorRGB")
    if not colours:
        return {}
    _check_once(colours[0], (*"RGB", "MaxRange"), file)
    cells = {name.lower(): colours[0].text_at(name) for name in "RGB"}
    return {**cells, "top": colours[0].text_at("MaxRange") or str(USUAL_TOP)}


def _colour(element: Element, file: _File) -> Cells:
    values = element.first("ColorValues")
    colours = values.children if values else []
    usable = [each for each in colours if each.name in VALUES] or [
        each for each in colours if each.name in (SPECTRUM, PLAIN_XYZ)
    ]
    if len(usable) > 1:
        message = f"{usable[0].name} and {usable[1].name} in one Object; expected one colour"
        file.problems.add(message, usable[1].line, usable[1].name)
    if not usable:
        listed = ", ".join(dict.fromkeys(quoted(each.name) for each in colours[:5])) or "none"
        message = f"no emissive colour: found {listed}; expected {XYZ} in cd/m²"
        file.problems.add(message, element.line, "ColorValues")
        return {}
    colour = usable[0]
    _check_specification(colour, file)
    if colour.name == SPECTRUM:
        return _spectrum(colour, file)
    names = VALUES.get(colour.name, VALUES[XYZ])
    _check_once(colour, names, file)
    return {name: colour.text_at(name) for name in names}


def _check_once(element: Element, names: Sequence[str], file: _File) -> None:
    """Note duplicates of these children, of which only one would be read."""
    for name in names:
        for again in list(element.each(name))[1:]:
            message = f"duplicate in {element.name}; expected one"
            file.problems.add(message, again.line, name)


def _check_specification(colour: Element, file: _File) -> None:
    """Check that a colour is one that rules use: emitted, in cd/m², for the 2° observer."""
    named = colour.attributes.get("ColorSpecification", "")
    specification = file.specifications.get(named)
    if specification is None:
        if named and file.specifications:
            message = f"unknown ColorSpecification {quoted(named)}"
            file.problems.add(message, colour.line, colour.name)
        kind = unit = observer = ""
    else:
        kind = specification.text_at("MeasurementSpec", "MeasurementType")
        unit = specification.text_at("MeasurementSpec", "LuminanceUnitsType")
        observer = specification.text_at("TristimulusSpec", "Observer")
    if unit not in ("", "cd/m2"):
        message = f"unsupported unit {quoted(unit)}; expected cd/m2"
        file.problems.add(message, colour.line, "LuminanceUnitsType")
    if observer not in ("", "2_Degree"):
        message = f"{quoted(observer)} is not the observer that rules use; expected 2_Degree"
        file.problems.add(message, colour.line, "Observer")
    if colour.name == PLAIN_XYZ and not (kind.endswith("_Emissive") and unit == "cd/m2"):
        message = "is relative, as its specification does not state emissive and cd/m2"
        file.problems.add(f"{message}; expected {XYZ} in cd/m²", colour.line, PLAIN_XYZ)


def _spectrum(colour: Element, file: _File) -> Cells:
    """X, Y, Z of a spectrum; its specification gives the first wavelength and the step."""
    from compliance.readings.spectral_integration import EVERY_NM, tristimulus_cells

    specification = file.specifications.get(colour.attributes.get("ColorSpecification", ""))
    stated = specification.at("MeasurementSpec", "WavelengthRange") if specification else None
    attributes = {**(stated.attributes if stated else {}), **colour.attributes}
    start, step = attributes.get("StartWL", ""), attributes.get("Increment", "")
    place = file.problems.at(colour.line, SPECTRUM)
    if not (WAVELENGTH.fullmatch(start) and STEP.fullmatch(step)):
        message = "first wavelength and step are not stated"
        place.add(f"{message}; expected StartWL and Increment of a WavelengthRange")
        return {}
    numbers = colour.text.split()
    wavelengths = [float(start) + place * float(step) for place in range(len(numbers))]
    return tristimulus_cells(wavelengths, numbers, EVERY_NM, file.observer, place)


def _tags(element: Element, file: _File) -> Cells:
    cells: Cells = {}
    for collection in element.each("TagCollection"):
        if collection.attributes.get("Name") != COLLECTION:
            continue
        for tag in collection.each("Tag"):
            name, value = tag.attributes.get("Name", ""), tag.attributes.get("Value", "")
            if name not in TAGS:
                message = f"unknown tag {quoted(name)} in {COLLECTION}; {did_you_mean(name, TAGS)}"
                file.problems.add(message, tag.line, "Tag")
            elif name in cells:
                file.problems.add(f"duplicate tag {quoted(name)}", tag.line, "Tag")
            cells[name] = value.strip()
    return cells


def _table(cells_by_line: list[tuple[int, Cells]], root: Element, problems: Problems) -> Table:
    tops = dict.fromkeys(cells.pop("top") for _, cells in cells_by_line if "top" in cells)
    if len(tops) > 1:
        two = " and ".join(quoted(top) for top in list(tops)[:2])
        message = f"MaxRange is {two}; expected one for all code values"
        raise problems.stop(message, root.line, "MaxRange")
    names = tuple(dict.fromkeys(name for _, cells in cells_by_line for name in cells))
    rows = tuple(
        Row(line, tuple(cells.get(name, "") for name in names)) for line, cells in cells_by_line
    )
    information = root.first("FileInformation")
    tags = {
        tag.attributes.get("Name"): tag.attributes.get("Value", "")
        for tag in (information.each("Tag") if information else ())
    }
    labels = {"r": "ColorRGB R", "g": "ColorRGB G", "b": "ColorRGB B", "encoding": "Tag encoding"}
    labels |= {name: f"{XYZ} {name}" for name in VALUES[XYZ]}
    if "x" in names:
        labels |= {name: f"{XYY} {name}" for name in VALUES[XYY]}
    labels |= {name: f"Tag {name}" for name in TAGS}
    return Table(
        NAME, names, rows, root.line, labels, tags.get("encoding", ""), next(iter(tops), "")
    )


SPECIFICATION = """\
  <ColorSpecificationCollection>
   <ColorSpecification Id="emissive">
    <TristimulusSpec><Observer>2_Degree</Observer><Method>unknown</Method></TristimulusSpec>
    <MeasurementSpec>
     <MeasurementType>Colorimetric_Emissive</MeasurementType>
     <GeometryChoice><EmissiveMode>EmissiveMode_Other</EmissiveMode></GeometryChoice>
     <LuminanceUnitsType>cd/m2</LuminanceUnitsType>
    </MeasurementSpec>
   </ColorSpecification>
  </ColorSpecificationCollection>"""
IN_ORDER: Mapping[str, tuple[str, ...]] = {XYZ: VALUES[XYZ], XYY: ("x", "y", "Y")}
"""The values' elements in the order of the format's schema."""


def write(table: Table, *, encoding: Encoding, created: datetime, tool: str) -> str:
    """A table as CxF, every cell unchanged."""
    when = f"<CreationDate>{created.isoformat()}</CreationDate>"
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<CxF xmlns="{SPACE}">',
        f" <FileInformation><Creator>{escape(tool)}</Creator>{when}",
        "  <Description>Readings of a display</Description>",
        f'  <Tag Name="encoding" Value={quoteattr(encoding.name)}/>',
        " </FileInformation>",
        " <Resources>",
        "  <ObjectCollection>",
    ]
    for number, row in enumerate(table.rows, 1):
        cells = dict(zip(table.names, row.cells, strict=True))
        lines.append(f'   <Object ObjectType="Target" Name="{number}" Id="{number}">{when}')
        lines += _object(cells, encoding)
        lines.append("   </Object>")
    lines += ["  </ObjectCollection>", SPECIFICATION, " </Resources>", "</CxF>"]
    return "\n".join(lines) + "\n"


def _object(cells: Mapping[str, str], encoding: Encoding) -> Iterator[str]:
    kind = XYY if "x" in cells else XYZ
    colour = "".join(f"<{name}>{escape(cells[name])}</{name}>" for name in IN_ORDER[kind])
    specified = 'ColorSpecification="emissive"'
    yield f"    <ColorValues><{kind} {specified}>{colour}</{kind}></ColorValues>"
    if "r" in cells:
        codes = "".join(f"<{name}>{escape(cells[name.lower()])}</{name}>" for name in "RGB")
        yield (
            f"    <DeviceColorValues><ColorRGB {specified}><MaxRange>{encoding.top}</MaxRange>"
            f"{codes}</ColorRGB></DeviceColorValues>"
        )
    tags = [
        f'<Tag Name="{name}" Value={quoteattr(cells[name])}/>' for name in TAGS if cells.get(name)
    ]
    if tags:
        yield f'    <TagCollection Name="{COLLECTION}">{"".join(tags)}</TagCollection>'
