"""What came into a file after its first signature, besides signatures.

Libraries wave through a new title, new metadata or further entries of the catalog, as
what an archive may add. A sheet is finished when it is certified: nothing of that may
come after it. Dates of change and the name of the program that wrote may.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from io import BytesIO
from typing import Any

from pyhanko.pdf_utils.reader import PdfFileReader

__all__ = ["later_faults"]

FREE_INFO = frozenset({"/ModDate", "/Producer"})
FREE_METADATA = frozenset({"ModifyDate", "MetadataDate", "Producer"})
FREE_CATALOG = frozenset({"/Version", "/Extensions"})
"""Of the information dictionary, the metadata and the catalog: what each writer may set."""


def later_faults(certified: bytes, data: bytes) -> Iterator[str]:
    """What of a file, `data`, is not as it was in its beginning that the first signature covers."""
    if len(certified) == len(data):
        return
    before, after = PdfFileReader(BytesIO(certified)), PdfFileReader(BytesIO(data))
    yield from _catalog(before.root, after.root)
    yield from _information(before.trailer, after.trailer)
    yield from _metadata(before.root, after.root)


def _catalog(before: Any, after: Any) -> Iterable[str]:
    if new := sorted(set(after) - set(before) - FREE_CATALOG):
        yield f"the file's catalog has got {', '.join(new)} since it was certified"
    if gone := sorted(set(before) - set(after)):
        yield f"the file's catalog has lost {', '.join(gone)} since it was certified"


def _information(before: Any, after: Any) -> Iterable[str]:
    """(ISO 32000-1, 14.3.3)"""
    first, last = (_entries(_at(each, "/Info") or {}) for each in (before, after))
    for key in sorted((first.keys() | last.keys()) - FREE_INFO):
        if first.get(key) != last.get(key):
            yield f"the file's {key[1:].lower()} was changed since it was certified"


def _entries(information: Any) -> dict[str, str]:
    return {str(key): str(information[key]) for key in information}


def _metadata(before: Any, after: Any) -> Iterable[str]:
    """(ISO 32000-1, 14.3.2)"""
    first, last = (_at(each, "/Metadata") for each in (before, after))
    if first is None or last is None:
        if first is not last:
            yield "the file's metadata came or went since it was certified"
    elif first.data != last.data and _statements(first.data) != (_statements(last.data) or ()):
        yield "the file's metadata were changed since it was certified"


def _at(container: Any, key: str) -> Any:
    # The library's own `get` gives a reference where indexing follows it.
    return container[key] if key in container else None  # noqa: SIM401


def _statements(packet: bytes) -> list[list[str]] | None:
    """What an XMP packet states, in each of its parts, apart from what is free.

    None where it is none. Of two that are none, the bytes differ: so they are not alike.
    """
    from pyhanko.pdf_utils.metadata.xmp_xml import XmpXmlProcessingError, parse_xmp

    try:
        parts = parse_xmp(BytesIO(packet))
    except (XmpXmlProcessingError, ValueError):
        return None
    return [
        sorted(f"{name} {value!r}" for name, value in part if name.local_name not in FREE_METADATA)
        for part in parts
    ]
