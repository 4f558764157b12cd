"""The files attached to a PDF, by name."""

from __future__ import annotations

from collections.abc import Iterable
from io import BytesIO
from typing import Any

from pyhanko.pdf_utils.reader import PdfFileReader

__all__ = ["read_attachments"]

MOST_NODES = 100
"""Of the tree that names the attachments; ours has one."""


def read_attachments(data: bytes, *, largest: int) -> dict[str, bytes]:
    """The files attached to a PDF, by name; each of at most `largest` bytes.

    May raise any exception on a damaged file, as `read_signatures` does.
    """
    reader = PdfFileReader(BytesIO(data))
    found: dict[str, bytes] = {}
    for name, specification in _leaves(reader.root.get("/Names", {}).get("/EmbeddedFiles")):
        if name in found:
            raise ValueError(f"two attachments are named {name}")
        if str(specification.get("/UF", name)) != name:
            raise ValueError(f"attachment {name} calls itself {specification['/UF']}")
        content = specification["/EF"]["/F"].data
        if len(content) > largest:
            raise ValueError(f"attachment {name} has {len(content)} bytes, more than {largest}")
        found[name] = content
    return found


def _leaves(tree: Any) -> Iterable[tuple[str, Any]]:
    """Names and file specifications of a name tree (ISO 32000-1, 7.9.6)."""
    nodes = [] if tree is None else [tree]
    seen = 0
    while nodes:
        node = nodes.pop().get_object()
        seen += 1
        if seen > MOST_NODES:
            raise ValueError("the tree of attachments is too large")
        nodes += node.get("/Kids", ())
        flat = [part.get_object() for part in node.get("/Names", ())]
        yield from ((str(name), leaf) for name, leaf in zip(flat[::2], flat[1::2], strict=True))
