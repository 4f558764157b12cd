"""A signed sheet taken apart into its bytes, put together otherwise, and signed again.

No library stands between the forger and the file: objects, tables and what follows the end are
written as given, and the signature is the facility's over just these bytes.
"""

from __future__ import annotations

import asyncio
import hashlib
import re
import struct
import zlib
from collections.abc import Callable
from dataclasses import dataclass

from helpers.signing import SIGNED, identity
from pyhanko.sign.signers.pdf_cms import PdfCMSSignedAttributes

from compliance.signing.pdf_file import header_end, read_file
from compliance.signing.pyhanko_key import PyHankoKey


@dataclass(slots=True)
class Part:
    """What one revision writes: objects by number in the order of the file, and its trailer."""

    objects: dict[int, bytes]
    trailer: bytes
    """Without the places of tables and the number of objects."""

    def change(self, number: int, before: bytes, after: bytes) -> None:
        """Change the text of an object."""
        assert before in self.objects[number]
        self.objects[number] = self.objects[number].replace(before, after, 1)

    def add(self, number: int, text: bytes, *, first: bool = False) -> None:
        """Write a further object."""
        added = {number: b"%d 0 obj\n%s\nendobj" % (number, text)}
        self.objects = {**added, **self.objects} if first else {**self.objects, **added}


Parts = list[Part]
RawChange = Callable[[Parts], None]


def content(part: Part, number: int) -> bytes:
    """What a deflated stream draws."""
    return zlib.decompress(part.objects[number].split(b"stream\n", 1)[1])


def stream(content: bytes, entries: bytes = b"") -> bytes:
    """A stream of these bytes as they are."""
    return b"<< %s/Length %d >>\nstream\n%s\nendstream" % (entries, len(content), content)


def written_again(
    sheet: bytes, change: RawChange, *, behind: bytes = b"", pades: bool = True
) -> bytes:
    """The sheet with that change, and with bytes behind its end, signed by the facility.

    Other signatures than of PAdES have a time of signing of their own.
    """
    parts = _apart(sheet)
    change(parts)
    return _signed(_together(sheet[: header_end(sheet)], parts) + behind, pades)


def places(sheet: bytes) -> dict[int, int]:
    """Where the objects of a file begin, by number."""
    return {number: each.start for number, each in read_file(sheet).state().items()}


def _apart(sheet: bytes) -> Parts:
    parts = []
    for revision in read_file(sheet).revisions:
        stored = sorted(revision.objects.items(), key=lambda each: each[1].start)
        trailer = sheet[sheet.index(b"<<", revision.table) : revision.end]
        trailer = re.sub(rb"/(?:Prev|Size)\s+\d+", b"", trailer[: trailer.rindex(b">>")])
        parts.append(Part({n: sheet[each.start : each.end] for n, each in stored}, trailer))
    return parts


def _together(header: bytes, parts: Parts) -> bytes:
    data, before, size = header, b"", 0
    for part in parts:
        entries = []
        for number, text in part.objects.items():
            entries.append((number, len(data)))
            data += text + b"\n"
        size = max(size, *(number + 1 for number in part.objects))
        table = b"xref\n" + (b"" if before else b"0 1\n0000000000 65535 f \n")
        for number, place in sorted(entries):
            table += b"%d 1\n%010d 00000 n \n" % (number, place)
        end = b"/Size %d%s>>\nstartxref\n%d\n%%%%EOF\n" % (size, before, len(data))
        before = b"/Prev %d" % len(data)
        data += table + b"trailer\n" + part.trailer + end
    return data


def _signed(data: bytes, pades: bool) -> bytes:
    """The file with another signature in the place of its last one."""
    covered = list(re.finditer(rb"/ByteRange\s*\[([^\]]*)\]", data))[-1]
    held = list(re.finditer(rb"/Contents\s*(<[0-9A-Fa-f]*>)", data))[-1]
    start, end = held.span(1)
    text = b"0 %d %d %d" % (start, end, len(data) - end)
    first, last = covered.span(1)
    data = data[:first] + text.ljust(last - first) + data[last:]
    made = asyncio.run(
        PyHankoKey(identity()).async_sign(
            hashlib.sha256(data[:start] + data[end:]).digest(),
            "sha256",
            use_pades=pades,
            is_pdf_sig=pades,
            signed_attr_settings=PdfCMSSignedAttributes(signing_time=SIGNED),
        )
    )
    return (
        data[: start + 1]
        + made.dump().hex().encode().ljust(end - start - 2, b"0")
        + data[end - 1 :]
    )


def table_as_stream(sheet: bytes, size: int, root: int) -> bytes:
    """A cross-reference stream without its name, for a reader that looks for it in that place."""
    found = places(sheet)
    entries = (
        struct.pack(">BIB", number in found, found.get(number, 0), 0) for number in range(size)
    )
    return stream(b"".join(entries), b"/W [1 4 1] /Size %d /Root %d 0 R " % (size, root))
