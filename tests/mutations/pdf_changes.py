"""Changes to the objects of a PDF that leave it a correct PDF: places and lengths fit again."""

from __future__ import annotations

import random
import re
import zlib
from collections.abc import Mapping
from functools import lru_cache

from mutations import changes

from compliance.signing.pdf_file import PdfFile, Stored, read_file

PIECE = re.compile(
    rb"/[^\s()<>\[\]{}/%]*|\d+ 0 R|[+-]?(?:\d+\.?\d*|\.\d+)|\((?:[^()\\]|\\.)*\)"
    rb"|<[0-9A-Fa-f\s]+>|<<|>>|\[|\]|\w+"
)
DANGEROUS = tuple(
    b"/" + each
    for each in (
        *(
            b"OpenAction",
            b"AA",
            b"A",
            b"JavaScript",
            b"JS",
            b"Launch",
            b"URI",
            b"XFA",
            b"OCG",
            b"OC",
        ),
        *(b"RF", b"Prev", b"XRefStm", b"Encrypt", b"DecodeParms", b"F", b"Kids", b"Parent", b"AP"),
        *(
            b"Annots",
            b"Contents",
            b"Names",
            b"EmbeddedFiles",
            b"Root",
            b"Info",
            b"Length",
            b"Rotate",
        ),
        *(
            b"MediaBox",
            b"CropBox",
            b"Extends",
            b"Alternates",
            b"NeedAppearances",
            b"Metadata",
            b"DSS",
        ),
    )
)
VALUES = (b"null", b"true", b"0", b"-1", b"1.5", b"99999", b"[]", b"<<>>", b"()", b"/X", b"(x)")
OPERATORS = (b" q ", b" Q ", b" BT ", b" ET ", b" 0 0 m ", b" f ", b" S ", b" n ", b" 1 0 0 rg ")
LENGTH = re.compile(rb"/Length\s+\d+")


@lru_cache(maxsize=16)
def parsed(data: bytes) -> PdfFile:
    """The objects of a sample."""
    return read_file(data)


def written(file: PdfFile, number: int, stored: Stored) -> bytes:
    """The text of an object, from its number to `endobj`."""
    return file.data[stored.start : stored.end]


def changed_object(
    source: random.Random, file: PdfFile, state: Mapping[int, Stored]
) -> tuple[int, bytes, str]:
    """One object with a change: its number, its text and what was done."""
    number = source.choice(sorted(state))
    stored = state[number]
    text = written(file, number, stored)
    if stored.stream is not None and source.randrange(2):
        return number, _changed_stream(source, file, stored), f"stream of object {number}"
    body = slice(text.index(b"obj") + 3, (stored.stream.start if stored.stream else stored.end))
    end = body.stop - stored.start if stored.stream else len(text) - len(b"endobj")
    head, middle, tail = text[: body.start], text[body.start : end], text[end:]
    after, what = _changed_pieces(source, middle, sorted(state))
    return number, head + after + tail, f"object {number}: {what}"


def _changed_pieces(source: random.Random, text: bytes, numbers: list[int]) -> tuple[bytes, str]:
    """A name, number, string or reference replaced; or an entry put in, repeated or taken out."""
    pieces = list(PIECE.finditer(text))
    if not pieces:
        return text + source.choice(VALUES), "a value put behind"
    chosen = source.choice(pieces)
    old = chosen[0]
    what = source.randrange(5)
    if what == 0:
        new = b""
    elif what == 1:
        new = source.choice(DANGEROUS) + b" " + source.choice(VALUES) + b" " + old
    elif what == 2:
        new = old + b" " + source.choice(pieces)[0]
    else:
        new = _replaced(source, old, numbers)
    made = text[: chosen.start()] + new + text[chosen.end() :]
    return made, f"{old[:40]!r} -> {new[:60]!r} at {chosen.start()}"


def _replaced(source: random.Random, old: bytes, numbers: list[int]) -> bytes:
    if old.endswith(b" R"):
        return source.choice((b"%d 0 R" % source.choice(numbers), b"99999 0 R", b"null"))
    if old.startswith(b"/"):
        return source.choice((*DANGEROUS, old + b"x", old.swapcase(), b"/"))
    if old[:1] in b"+-.0123456789":
        number = float(old)
        return source.choice(
            (
                b"%g" % (number + 1),
                b"%g" % -number,
                b"%.3f" % (number + 0.01),
                b"0",
                b"1e3",
                b"99999",
            )
        )
    if old[:1] == b"(":
        return source.choice((b"()", b"(x)", old[:-1] + b"x)", b"<FEFF0041>", old[:-1]))
    return source.choice(VALUES)


def _changed_stream(source: random.Random, file: PdfFile, stored: Stored) -> bytes:
    """A stream unpacked, changed, packed again and given its new length."""
    assert stored.stream is not None
    raw = file.data[stored.stream]
    text = file.data[stored.start : stored.end]
    head = text[: stored.stream.start - stored.start]
    tail = text[stored.stream.stop - stored.start :]
    if b"/FlateDecode" in head and b"ASCII85" not in head:
        signs = OPERATORS if source.randrange(2) else changes.COMMON
        content = changes.changed_bytes(source, zlib.decompress(raw), signs)
        raw = zlib.compress(content, source.choice((1, 6, 9)))
        if not source.randrange(20):
            raw += source.choice((b"\n", b"\0", b"x" * 20))
    else:
        raw = changes.changed_bytes(source, raw)
    return LENGTH.sub(b"/Length %d" % len(raw), head) + raw + tail


# ---------------------------------------------------------------- whole files


def updated(data: bytes, objects: Mapping[int, bytes], trailer: bytes | None = None) -> bytes:
    """The file with an incremental update that writes these objects."""
    revision = parsed(data).revisions[-1]
    made = bytearray(data)
    if not made.endswith(b"\n"):
        made += b"\n"
    places = {}
    for number, text in sorted(objects.items()):
        places[number] = len(made)
        made += text + b"\n"
    table = len(made)
    made += b"xref\n"
    for number, place in places.items():
        made += b"%d 1\n%010d 00000 n \n" % (number, place)
    kept = trailer or _trailer(data, revision.table)
    kept = re.sub(rb"/Prev\s+\d+", b"", kept)
    made += kept.replace(b"<<", b"<< /Prev %d " % revision.table, 1)
    made += b"\nstartxref\n%d\n%%%%EOF\n" % table
    return bytes(made)


def rebuilt(data: bytes, objects: Mapping[int, bytes]) -> bytes:
    """A file of one revision, with these objects in place of its own; places fit again."""
    file = parsed(data)
    revision = file.revisions[0]
    made, places = bytearray(data[: revision.start]), {}
    for number, stored in sorted(revision.objects.items()):
        places[number] = len(made)
        made += objects.get(number, written(file, number, stored)) + b"\n"
    table = len(made)
    made += b"xref\n0 %d\n0000000000 65535 f \n" % (max(places) + 1)
    for number in range(1, max(places) + 1):
        made += b"%010d 00000 n \n" % places[number]
    made += _trailer(data, revision.table) + b"\nstartxref\n%d\n%%%%EOF\n" % table
    return bytes(made)


def _trailer(data: bytes, table: int) -> bytes:
    start = data.index(b"trailer", table)
    return data[start : data.index(b"startxref", start)].strip()


def changed_update(source: random.Random, data: bytes) -> tuple[bytes, str]:
    """The file with an update of one object, or of several, by somebody without a key."""
    file = parsed(data)
    state = file.state(source.randrange(1, len(file.revisions) + 1))
    objects, done = {}, []
    for _ in range(source.choice((1, 1, 1, 3))):
        number, text, what = changed_object(source, file, state)
        objects[number] = text
        done.append(what)
    if not source.randrange(10):
        number = max(state) + source.choice((1, 2, 1000))
        objects[number] = b"%d 0 obj\n<< /A (x) >>\nendobj" % number
        done.append("a new object")
    return updated(data, objects), f"update: {'; '.join(done)}"


def changed_in_place(source: random.Random, data: bytes) -> tuple[bytes, str]:
    """A revision's object overwritten with a change of the same length, or followed by spaces."""
    file = parsed(data)
    state = file.revisions[source.randrange(len(file.revisions))].objects
    for _ in range(20):
        number, text, what = changed_object(source, file, state)
        stored = state[number]
        spare = stored.end - stored.start - len(text)
        if spare >= 0:
            body = text[: -len(b"endobj")] + b" " * spare + b"endobj"
            return data[: stored.start] + body + data[stored.end :], f"in place: {what}"
    return data[:-1], "the last byte gone"


def rebuilt_with_change(source: random.Random, data: bytes) -> tuple[bytes, str]:
    """A file of one revision with a change, by somebody who signs it afterwards."""
    file = parsed(data)
    number, text, what = changed_object(source, file, file.revisions[0].objects)
    return rebuilt(data, {number: text}), f"before signing: {what}"
