"""The texts of people that a sheet can show, and the letters in them that need another face."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from compliance.model import Measurement
from compliance.model.signatures import Signer
from compliance.pictures.fonts import normalise, own_characters
from compliance.pictures.scripts import pieces, runs_right_to_left

MOST_SHOWN = 160
"""Characters of a name in a box; a line of it holds about sixty."""


def texts_of(measurement: Measurement) -> list[str]:
    """Return each text of a measurement's files once, as it would be drawn."""
    parts: list[Any] = [measurement.rule.resolved]
    if measurement.job is not None:
        parts.append(measurement.job.document)
    if measurement.meter is not None:
        parts.append(measurement.meter.document)
    parts.append([file.path for file in measurement.rule.files])
    for deviation in measurement.deviations:
        parts += [deviation.document, deviation.signer.name, deviation.signer.organisation]
    for readings in (measurement.readings, measurement.before):
        if readings is not None:
            parts += [readings.file_name, *(row.reason for row in readings.replaced)]
    return list(dict.fromkeys(map(normalise, _texts(parts))))


def _texts(data: Any) -> Iterator[str]:
    if isinstance(data, str):
        if not data.isascii():
            yield data
    elif isinstance(data, Mapping):
        for key, value in data.items():
            yield from _texts(key)
            yield from _texts(value)
    elif isinstance(data, list | tuple):
        for value in data:
            yield from _texts(value)


def foreign_clusters(texts: Iterable[str]) -> list[str]:
    """Return the clusters of letters that this program's own faces lack, sorted."""
    own = own_characters()
    found = {
        piece.text
        for text in texts
        if not own.issuperset(text)
        for piece in pieces(normalise(text), own)
        if piece.foreign
    }
    return sorted(found)


def right_to_left(texts: Iterable[str]) -> tuple[str, ...]:
    """Return the texts that have letters from right to left."""
    return tuple(text for text in texts if runs_right_to_left(text))


def signer_texts(signer: Signer, role: str | None = None) -> list[str]:
    """Return the texts of people in the box of a signature."""
    return [normalise(cut_name(text)) for text in (signer.name, signer.organisation, role) if text]


def cut_name(name: str) -> str:
    """Return as much of a name or a role as the box of a signature could show."""
    return name[:MOST_SHOWN]
