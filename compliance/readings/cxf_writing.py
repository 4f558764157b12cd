"""Readings written as CxF, version 3 (CxF/X of ISO 17972)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from xml.sax.saxutils import escape, quoteattr

from compliance.model import Encoding
from compliance.readings.cxf import COLLECTION, SPACE, TAGS, VALUES, XYY, XYZ
from compliance.readings.tables import Table

__all__ = ["written"]

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
"""The values' elements in the order that the format's schema gives them."""


def written(table: Table, *, encoding: Encoding, created: datetime, tool: str) -> str:
    """A table as CxF, every cell as it stands."""
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
