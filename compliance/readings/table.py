"""From a readings file to readings, whatever format it is in."""

from __future__ import annotations

from pathlib import Path

from compliance.documents.files import read_bytes
from compliance.documents.words import meant, quoted
from compliance.errors import ReadingsError, UsageError
from compliance.model import CHROMATICITY_FLOOR, ENCODINGS, Encoding, Readings
from compliance.readings.formats import read_table
from compliance.readings.problems import Problems
from compliance.readings.records import readings_of
from compliance.readings.text import MOST_BYTES, text_of

__all__ = ["load_readings", "readings_from_bytes"]


def load_readings(
    path: str | Path,
    encoding: Encoding | str | None = None,
    *,
    floor: float = CHROMATICITY_FLOOR,
    form: str | None = None,
) -> Readings:
    """The readings in a file.

    `encoding` is that of the code values, by itself or by name; a file that states its own
    needs none, and may not state another. Below `floor` (cd/m²) no chromaticity is judged, nor
    any colour refused for it. `form` insists on a format; else the file's content tells it.
    Raises ReadingsError with what is wrong, and UsageError for an unknown encoding or format.
    """
    known = _encoding(encoding)
    data = read_bytes(path, ReadingsError, "readings", limit=MOST_BYTES)
    return readings_from_bytes(data, str(path), known, floor=floor, form=form)


def readings_from_bytes(
    data: bytes,
    name: str,
    encoding: Encoding | str | None = None,
    *,
    floor: float = CHROMATICITY_FLOOR,
    form: str | None = None,
) -> Readings:
    """The readings in a file's bytes; `name` is what messages call it.

    Units, bounds and errors as `load_readings`.
    """
    known = _encoding(encoding)
    problems = Problems(name)
    table = read_table(text_of(data, problems), problems, form)
    return readings_of(table, data, known, floor=floor, problems=problems)


def _encoding(encoding: Encoding | str | None) -> Encoding | None:
    if encoding is None or isinstance(encoding, Encoding):
        return encoding
    if encoding in ENCODINGS:
        return ENCODINGS[encoding]
    raise UsageError(f"{quoted(encoding)} is no encoding; {meant(encoding, ENCODINGS)}")
