"""The visible parts of a sheet: words with their places, pixels, attachments, metadata.

The order in which a page is drawn does not count.
"""

from __future__ import annotations

import io
import json
import re
import subprocess
from collections.abc import Iterator
from hashlib import sha256
from typing import Any

import pikepdf

__all__ = ["sheet_outputs"]

RESOLUTION = 200
"""Dots per inch of the pixels."""
WORD = re.compile(
    r'<word xMin="(?P<x0>[-.\d]+)" yMin="(?P<y0>[-.\d]+)" '
    r'xMax="(?P<x1>[-.\d]+)" yMax="(?P<y1>[-.\d]+)">(?P<text>.*)</word>'
)
PICTURE = re.compile(rb"P6\s(\d+) (\d+)\s255\s")
HIDDEN = ("/Contents", "/ByteRange", "/Cert", "/Parent", "/AP", "/Data", "/DigestValue")
"""Entries of signatures and fields that are random, circular, or drawn."""
DEEPEST = 6
"""Largest depth of nested objects."""


def sheet_outputs(data: bytes, *, pixels: bool) -> Iterator[tuple[str, bytes]]:
    """The named parts of a sheet."""
    try:
        with pikepdf.open(io.BytesIO(data)) as sheet:
            yield "metadata", _metadata(sheet).encode()
            yield from _attachments(sheet)
    except pikepdf.PdfError:
        yield "metadata", b"<no PDF>"
        return
    yield "words", _words(data).encode()
    if pixels:
        yield "pixels", _pixels(data).encode()


def _words(data: bytes) -> str:
    """One line per word, by page and place; points to three digits."""
    lines = []
    for number, page in enumerate(_poppler(data, "pdftotext", "-bbox").decode().split("<page")):
        found = [
            (*(float(word[key]) for key in ("y0", "x0", "y1", "x1")), word["text"])
            for word in WORD.finditer(page)
        ]
        lines += [
            f"{number} {x0:.3f} {y0:.3f} {x1:.3f} {y1:.3f} {text}"
            for y0, x0, y1, x1, text in sorted(found)
        ]
    return "\n".join(lines) + "\n"


def _pixels(data: bytes) -> str:
    """One line per page: its size in pixels and their digest."""
    drawn, lines, start = _poppler(data, "pdftoppm", "-r", str(RESOLUTION)), [], 0
    while picture := PICTURE.match(drawn, start):
        end = picture.end() + 3 * int(picture[1]) * int(picture[2])
        lines.append(f"{int(picture[1])} {int(picture[2])} {sha256(drawn[start:end]).hexdigest()}")
        start = end
    return "\n".join(lines) + "\n"


def _poppler(data: bytes, tool: str, *options: str) -> bytes:
    words = [tool, *options, "-", *(["-"] if tool == "pdftotext" else [])]
    return subprocess.run(words, input=data, capture_output=True, check=True).stdout


def _metadata(sheet: pikepdf.Pdf) -> str:
    """Document information, XMP, page sizes, fields, links and everything else not drawn."""
    root = sheet.Root
    lines = [f"{key}: {value}" for key, value in sorted(sheet.docinfo.items())]
    lines += [f"{sheet.pdf_version}", " ".join(sorted(root.keys()))]
    lines += [f"{key}: {root[key]}" for key in ("/Lang", "/PageMode") if key in root]
    lines += [f"page {page.MediaBox} {sorted(page.obj.keys())}" for page in sheet.pages]
    for number, page in enumerate(sheet.pages, 1):
        for note in page.obj.get("/Annots", []):
            told = json.dumps(_plain(note), indent=1, default=str, ensure_ascii=False)
            lines.append(f"on page {number}: {told}")
    with sheet.open_outline() as outline:
        lines += [f"outline: {item}" for item in outline.root]
    if "/Metadata" in root:
        lines.append(root.Metadata.read_bytes().decode())
    return "\n".join(lines) + "\n"


def _plain(value: Any, depth: int = 0) -> Any:
    """A PDF object as plain values, without random parts."""
    if isinstance(value, pikepdf.Dictionary | pikepdf.Stream):
        if depth == DEEPEST or value.get("/Type") == pikepdf.Name.Page:
            return "<hidden>"
        return {
            key: "<hidden>" if key in HIDDEN else _plain(part, depth + 1)
            for key, part in sorted(value.items())
        }
    if isinstance(value, pikepdf.Array):
        return [_plain(part, depth + 1) for part in value]
    return str(value) if isinstance(value, pikepdf.Object) else value


def _attachments(sheet: pikepdf.Pdf) -> Iterator[tuple[str, bytes]]:
    told = []
    for name, each in sorted(sheet.attachments.items()):
        file = each.get_file()
        told.append(
            f"{name}: {each.filename!r} {each.description!r} {each.relationship} "
            f"{file.mime_type} {file.creation_date} {file.mod_date} {file.size}\n"
        )
        yield f"attached/{name}", file.read_bytes()
    yield "attachments", "".join(told).encode()
