"""Read the meter file: the instrument and its certificate."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from compliance.errors import MeterError, Problem
from compliance.model import (
    Certificate,
    ChromaticityBand,
    Linearity,
    LuminanceBand,
    Meter,
    RepeatabilityBand,
    Saturated,
    Uncertainty,
)
from compliance.plain_data import from_plain
from compliance.yaml_nodes.messages import dotted, inline_yaml
from compliance.yaml_nodes.nodes import Node, locate
from compliance.yaml_nodes.read_file import read_bytes, read_data, read_nodes, read_yaml, sha256
from compliance.yaml_nodes.schema_reader import as_float

BANDS = (
    ("uncertainty", "luminance"),
    ("uncertainty", "chromaticity"),
    ("uncertainty", "repeatability"),
    ("reading_time",),
)


def load_meter(path: str | Path) -> Meter:
    """A meter from its file. Raises MeterError with every problem."""
    data = read_bytes(path, MeterError, "meter")
    node = read_yaml(data, str(path), MeterError)
    document = read_nodes(node, str(path), "meter", MeterError)
    faults = [*_faults(document), *_unproven_lowest(document)]
    return _meter(document, node, str(path), sha256(data), faults)


def meter_from_document(document: Mapping[str, Any], file: str, sha256: str) -> Meter:
    """Rebuild a meter from `Meter.document` after a round trip through JSON. Raises MeterError.

    `file` and `sha256` are those of the file the document was read from. Earlier versions took a
    `dark` or `resolution` above `lowest`, and their sheets are still read.
    """
    node, typed = read_data(document, file, "meter", MeterError)
    return _meter(typed, node, file, sha256, _faults(typed))


Fault = tuple[tuple[str | int, ...], str]
"""The path of a key, and what is wrong with it."""


def _meter(
    document: Mapping[str, Any], node: Node, file: str, digest: str, faults: Iterable[Fault]
) -> Meter:
    problems = [
        Problem(file, message, locate(node, path)[0], dotted(path)) for path, message in faults
    ]
    if problems:
        raise MeterError(problems)
    certificate = document.get("certificate")
    return Meter(
        name=document["meter"],
        kind=document["kind"],
        make=document.get("make"),
        model=document.get("model"),
        serial=document.get("serial"),
        certificate=from_plain(certificate, Certificate) if certificate is not None else None,
        uncertainty=_uncertainty(document.get("uncertainty")),
        stated_lowest=as_float(document.get("lowest")),
        settle=as_float(document.get("settle")),
        reading_time=tuple(
            (float(band["from"]), float(band["seconds"]))
            for band in document.get("reading_time", ())
        ),
        correction=document.get("correction"),
        document=document,
        file=file,
        sha256=digest,
    )


def _faults(document: Mapping[str, Any]) -> list[Fault]:
    """Find faults that the schema cannot express: order of bands and dates, kind and correction."""
    faults: list[Fault] = []
    for path in BANDS:
        bands: Any = document
        for part in path:
            bands = bands.get(part, {})
        starts = [band["from"] for band in bands]
        for number in range(1, len(starts)):
            if starts[number] <= starts[number - 1]:
                before = inline_yaml(starts[number - 1])
                message = f"{inline_yaml(starts[number])} is not above {before} before it"
                faults.append(((*path, number, "from"), message))
    if "correction" in document and document["kind"] != "colorimeter":
        message = f"is for a colorimeter; a {document['kind']} has none, leave the key out"
        faults.append((("correction",), message))
    faults += _unproven_linearity(document.get("uncertainty", {}))
    certificate = document.get("certificate", {})
    issued, due = certificate.get("issued"), certificate.get("due")
    if issued and due and issued > due:
        faults.append((("certificate", "due"), f"{due} is before issued, {issued}"))
    return faults


SMALL = 1 / 3
"""Share of the repeatability below which a linearity needs its reference (practice)."""


def _unproven_linearity(uncertainty: Mapping[str, Any]) -> Iterator[Fault]:
    """Find a linearity that the meter's own readings cannot show, without what did show it."""
    linearity = uncertainty.get("linearity", {})
    relative, bands = linearity.get("relative"), uncertainty.get("repeatability", ())
    if relative is None or "reference" in linearity:
        return
    least = min((band["relative"] for band in bands), default=None)
    if least is None or relative < least * SMALL:
        small = f"is below a third of the repeatability, {inline_yaml(least)}"
        message = (
            f"{inline_yaml(relative)} {small if bands else 'comes without repeatability'}; state "
            "what the levels were compared with, e.g. reference: attenuators of certificate "
            "C-2026-118"
        )
        yield ("uncertainty", "linearity", "relative"), message


IN_DARK = {
    "dark": "light that the zero is less certain than cannot be told from dark",
    "resolution": "less light than the last digit cannot be told from dark",
}
"""Keys of `uncertainty` that bound the lowest luminance, and why."""


def _unproven_lowest(document: Mapping[str, Any]) -> Iterator[Fault]:
    """Find a zero or a last digit too coarse for the least light that the meter is said to tell."""
    uncertainty = document.get("uncertainty", {})
    bands = uncertainty.get("luminance", ())
    lowest = document.get("lowest", bands[0]["from"] if bands else None)
    stated = "lowest" in document
    name, key = ("lowest", "lowest") if stated else ("where luminance begins", "from")
    for part, why in IN_DARK.items():
        figure = uncertainty.get(part)
        if figure is not None and lowest and figure > lowest:
            least = inline_yaml(figure)
            message = f"{least} is above {name}, {inline_yaml(lowest)}: {why}"
            yield ("uncertainty", part), f"{message}; expected {key} to be at least {least}"


def _uncertainty(data: Mapping[str, Any] | None) -> Uncertainty | None:
    if data is None:
        return None
    correlation = data.get("correlation")
    return Uncertainty(
        k=float(data["k"]),
        luminance=from_plain(data["luminance"], tuple[LuminanceBand, ...]),
        linearity=from_plain(data.get("linearity", {}), Linearity),
        dark=as_float(data.get("dark")),
        resolution=as_float(data.get("resolution")),
        chromaticity=from_plain(data["chromaticity"], tuple[ChromaticityBand, ...]),
        saturated=from_plain(data["saturated"], Saturated) if "saturated" in data else None,
        correlation=float(correlation["xy"]) if correlation else None,
        repeatability=from_plain(data.get("repeatability", ()), tuple[RepeatabilityBand, ...]),
    )
