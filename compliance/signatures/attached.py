"""The files attached to a PDF, by name."""

from __future__ import annotations

import zlib
from collections.abc import Iterable
from io import BytesIO
from typing import Any

from pyhanko.pdf_utils.reader import PdfFileReader

from compliance.signatures.unsound import DAMAGED, UnsoundError, in_words

__all__ = ["read_attachments"]

MOST_NODES = 100
"""Of the tree that names the attachments; ours has one."""


def read_attachments(data: bytes, *, largest: int) -> dict[str, bytes]:
    """The files attached to a PDF, by name; each of at most `largest` bytes.

    UnsoundError where viewers could show another file for one of them than what is given here,
    and where the file is damaged.
    """
    return in_words(lambda: _read_all(data, largest), DAMAGED)


def _read_all(data: bytes, largest: int) -> dict[str, bytes]:
    reader = PdfFileReader(BytesIO(data))
    found: dict[str, bytes] = {}
    for name, specification in _leaves(reader.root.get("/Names", {}).get("/EmbeddedFiles")):
        if name in found:
            raise UnsoundError(f"two attachments are named {name}")
        found[name] = _content(specification, name, largest)
    for specification in _associated(reader.root):
        name = str(specification.get("/UF", specification.get("/F")))
        if found.get(name) != _content(specification, name, largest):
            raise UnsoundError(f"the associated file {name} is none of the attachments")
    return found


def _associated(root: Any) -> list[Any]:
    """What the catalog names as associated files (ISO 19005-3, 6.8)."""
    # The library's own `get` gives a reference where indexing follows it.
    named = root["/AF"] if "/AF" in root else ()  # noqa: SIM401
    return [each.get_object() for each in named]


def _content(specification: Any, name: str, largest: int) -> bytes:
    """What a file specification holds: the same in each place where viewers look for it."""
    for key in ("/F", "/UF"):
        if str(specification.get(key, name)) != name:
            raise UnsoundError(f"attachment {name} calls itself {specification[key]}")
    embedded = specification["/EF"]
    first, *others = (_unpacked(embedded[key], name, largest) for key in embedded)
    if any(each != first for each in others):
        raise UnsoundError(f"attachment {name} is two files")
    return first


def _unpacked(stream: Any, name: str, largest: int) -> bytes:
    """The bytes of an embedded file; no more of them is unpacked than there may be."""
    packed: bytes = stream.encoded_data
    coding = stream["/Filter"] if "/Filter" in stream else ()  # noqa: SIM401
    filters = [coding] if isinstance(coding, str) else [str(each) for each in coding]
    if filters == ["/FlateDecode"] and "/DecodeParms" not in stream:
        packed = in_words(
            lambda: zlib.decompressobj().decompress(packed, largest + 1),
            f"attachment {name} is damaged",
        )
    elif filters:
        raise UnsoundError(f"attachment {name} is coded with {', '.join(filters)}")
    if len(packed) > largest:
        raise UnsoundError(f"attachment {name} has more than {largest} bytes")
    return packed


def _leaves(tree: Any) -> Iterable[tuple[str, Any]]:
    """Names and file specifications of a name tree (ISO 32000-1, 7.9.6)."""
    nodes = [] if tree is None else [tree]
    seen = 0
    while nodes:
        node = nodes.pop().get_object()
        seen += 1
        if seen > MOST_NODES:
            raise UnsoundError("the tree of attachments is too large")
        nodes += node.get("/Kids", ())
        flat = [part.get_object() for part in node.get("/Names", ())]
        if len(flat) % 2:
            raise UnsoundError("the tree of attachments names one without a file")
        yield from ((str(name), leaf) for name, leaf in zip(flat[::2], flat[1::2], strict=True))
