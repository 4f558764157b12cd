"""A folder's files as one .zip, the same bytes for the same files."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping

__all__ = ["zipped"]

WHEN = (1980, 1, 1, 0, 0, 0)
"""The first time that a .zip can tell: files of a delivery have none of their own."""
UNIX = 3


def zipped(files: Mapping[str, bytes], top: str) -> bytes:
    """`files` by path below the folder `top`, sorted, each stored as it is.

    Stored and not deflated: libraries differ in how they deflate, and sheets hold their
    evidence deflated already.
    """
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED, allowZip64=False) as archive:
        for name, data in sorted(files.items()):
            entry = zipfile.ZipInfo(f"{top}/{name}", WHEN)
            entry.create_system = UNIX
            entry.external_attr = 0o100644 << 16
            archive.writestr(entry, data)
    return out.getvalue()
