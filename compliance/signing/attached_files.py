"""Read the files attached to a PDF, each as every viewer shows it (ISO 32000-1, 7.11)."""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from compliance.signing.cms_checks import DAMAGED, UnsoundError, friendly_errors
from compliance.signing.pdf_file import PdfFile, Stored, read_file, resolved
from compliance.signing.pdf_syntax import Ref

MOST_FILES = 110
"""Most attachments of a PDF; a sheet with 99 deviations has 105."""
MOST_NODES = 50
"""Most nodes of the tree that names them; a sheet with many deviations has five."""
LARGEST_ALL = 32 << 20
"""Most bytes of all attachments together."""

SPECIFICATION = frozenset({"AFRelationship", "Desc", "EF", "F", "Type", "UF"})
EMBEDDED = frozenset({"Filter", "Length", "Params", "Subtype", "Type"})
PARAMETERS = frozenset({"CheckSum", "CreationDate", "ModDate", "Size"})

State = Mapping[int, Stored]


def read_attachments(
    data: bytes, *, largest: Callable[[str], int], file: PdfFile | None = None
) -> dict[str, bytes]:
    """Read the files attached to a PDF, by name; `largest` gives the most bytes of each.

    `file` are the objects of the PDF, if they have been read.

    UnsoundError if a viewer could show another file for one of them than is returned here, if
    they are too many or too large together, or if the PDF is damaged. Nothing is unpacked
    before all names are known.
    """
    return friendly_errors(lambda: _read_files(file or read_file(data), largest), DAMAGED)


def _read_files(file: PdfFile, largest: Callable[[str], int]) -> dict[str, bytes]:
    state = file.state()
    root = resolved(state, file.revisions[-1].trailer["Root"])
    places: dict[str, Ref] = {}
    specifications: dict[str, Any] = {}
    for name, reference in _named(state, root):
        if name in places:
            raise UnsoundError(f"there are two attachments {name}")
        specifications[name] = specification = resolved(state, reference)
        places[name] = _place(state, specification, name)
    if len(set(places.values())) < len(places):
        raise UnsoundError("one file is attached under two names")
    _check_associated(state, root, specifications)
    found: dict[str, bytes] = {}
    left = LARGEST_ALL
    for name, place in places.items():
        found[name] = _content(file, state[place.number], name, min(largest(name), left))
        left -= len(found[name])
    return found


def _named(state: State, root: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """Yield names and references of the tree that names the attachments (7.9.6)."""
    nodes = [resolved(state, root.get("Names", {})).get("EmbeddedFiles", {})]
    seen = files = 0
    while nodes:
        node = resolved(state, nodes.pop())
        seen += 1
        nodes += resolved(state, node.get("Kids", []))
        flat = resolved(state, node.get("Names", []))
        files += len(flat) // 2
        if seen + len(nodes) > MOST_NODES:
            raise UnsoundError("the tree of attachments is too large")
        if len(flat) % 2:
            raise UnsoundError("the tree of attachments has a name without a file")
        if files > MOST_FILES:
            raise UnsoundError(f"it has more than {MOST_FILES} attachments")
        for name, reference in zip(flat[::2], flat[1::2], strict=True):
            yield text_of(resolved(state, name)), reference


def _place(state: State, specification: Any, name: str) -> Ref:
    """Return the place of a file; every viewer must find the same one by the same name."""
    for key in ("F", "UF"):
        if (other := text_of(resolved(state, specification.get(key, b"")))) != name:
            raise UnsoundError(f"attachment {name} is also named {other}")
    embedded = resolved(state, specification["EF"])
    found = {*embedded.values()}
    if embedded.keys() != {"F", "UF"} or len(found) != 1:
        raise UnsoundError(f"attachment {name} has two different contents")
    if specification.keys() != SPECIFICATION:
        raise UnsoundError(f"attachment {name} is described otherwise than in a sheet")
    place = found.pop()
    if not isinstance(place, Ref) or place.number not in state:
        raise UnsoundError(DAMAGED)
    return place


def _check_associated(
    state: State, root: Mapping[str, Any], specifications: Mapping[str, Any]
) -> None:
    """Check that the associated files of the catalog (ISO 19005-3, 6.8) are the attachments."""
    listed = [resolved(state, each) for each in resolved(state, root.get("AF", []))]
    for specification in listed:
        if not any(specification is each for each in specifications.values()):
            name = text_of(specification.get("F", b""))
            raise UnsoundError(f"the associated file {name} is not among the attachments")
    if len(listed) != len(specifications):
        raise UnsoundError("its associated files are not its attachments")


def _content(file: PdfFile, stored: Stored, name: str, largest: int) -> bytes:
    """Unpack a file, no further than the largest size allowed, and check what is stated of it."""
    if stored.stream is None or not EMBEDDED - {"Filter"} <= stored.value.keys() <= EMBEDDED:
        raise UnsoundError(f"attachment {name} is described otherwise than in a sheet")
    try:
        content = file.content(stored, largest + 1)
    except zlib.error:
        raise UnsoundError(f"attachment {name} is damaged") from None
    if len(content) > largest:
        raise UnsoundError(f"attachment {name} has more than {largest} bytes")
    stated = stored.value["Params"]
    digest = hashlib.md5(content, usedforsecurity=False).digest()
    if (
        stated.keys() != PARAMETERS
        or stated["Size"] != len(content)
        or stated["CheckSum"] != digest
    ):
        raise UnsoundError(f"attachment {name} has another size or checksum than is stated")
    return content


def text_of(value: Any) -> str:
    """Decode a text string (7.9.2.2); beyond ASCII no name or key of a sheet needs more."""
    if not isinstance(value, bytes):
        raise UnsoundError(DAMAGED)
    if value.startswith(b"\xfe\xff"):
        return value[2:].decode("utf-16-be", "replace")
    return value.decode("latin-1")
