"""The objects of a PDF as its revisions have them, read within bounds before any library does.

Only what sheets need is read: cross-reference tables, objects of generation 0, streams that
are not coded or deflated. Object streams, cross-reference streams and other filters are
faults, since no sheet has them and they unpack to any size.
"""

from __future__ import annotations

import base64
import re
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from compliance.signing.cms_checks import DAMAGED, UnsoundError, friendly_errors
from compliance.signing.pdf_syntax import Budget, Name, Ref, read_object, skip_space

MOST_REVISIONS = 20
"""Most revisions of a file: one as drawn, one of each signature."""
MOST_OBJECTS = 5000
"""Most objects that a revision writes; the largest sheets have some thousand."""
MOST_TOKENS = 100_000
"""Most values outside streams."""
MOST_PAGES = 500
MOST_FIELDS = MOST_REVISIONS
LARGEST_UNPACKED = 64 << 20
"""Most bytes of all streams after unpacking."""
PIECE = 1 << 16
"""Bytes unpacked at once."""

HEADER = re.compile(rb"%PDF-1\.[0-7]\r?\n(?:%[\x80-\xff]{4,20}\r?\n)?")
LAST = re.compile(rb"startxref[\r\n ]+([0-9]{1,10})[\r\n ]+%%EOF")
ENTRY = re.compile(rb"([0-9]{10}) ([0-9]{5}) ([nf])(?: \r| \n|\r\n)")
SECTION = re.compile(rb"[\r\n ]*([0-9]{1,7}) ([0-9]{1,7})[\r\n ]+")
BEGINS = re.compile(rb"([0-9]{1,7}) 0 obj\b")
STREAM = re.compile(rb"[\r\n ]*stream\r?\n")
ENDSTREAM = re.compile(rb"[\r\n ]*endstream\b")
ENDOBJ = re.compile(rb"[\r\n ]*endobj\b")
SKIPPED = b"\t\n\r "
"""The white space that every reader skips in base 85; a vertical tab ends it for some."""
FLATE, ASCII85 = Name("FlateDecode"), Name("ASCII85Decode")


@dataclass(frozen=True, slots=True)
class Stored:
    """An object as a revision writes it."""

    value: Any
    stream: slice | None
    """The place of the coded bytes, if it is a stream."""
    start: int
    end: int
    """The place after its `endobj`"""


@dataclass(frozen=True, slots=True)
class Revision:
    """What one update wrote."""

    objects: Mapping[int, Stored]
    trailer: Mapping[str, Any]
    table: int
    """The place of its cross-reference table."""
    start: int
    """The place after the header, or the end mark of the revision before it."""
    end: int
    """The place after its own."""


@dataclass(frozen=True, slots=True)
class PdfFile:
    """A file's revisions, the first one first."""

    data: bytes
    revisions: tuple[Revision, ...]

    def state(self, count: int | None = None) -> Mapping[int, Stored]:
        """Return the objects that are valid after the first `count` revisions, or after all."""
        valid: dict[int, Stored] = {}
        for revision in self.revisions[:count]:
            valid.update(revision.objects)
        return valid

    def content(self, stored: Stored, most: int) -> bytes:
        """Return a stream's content, up to `most` bytes; zlib.error if it is damaged."""
        assert stored.stream is not None
        content, size = [], 0
        for piece in self.pieces(stored):
            content.append(piece)
            size += len(piece)
            if size >= most:
                break
        return b"".join(content)[:most]

    def pieces(self, stored: Stored) -> Iterator[bytes]:
        """Yield a stream's content; zlib.error if it is damaged or goes on."""
        assert stored.stream is not None
        return _pieces(self.data[stored.stream], stored.value)

    def is_whole(self, stored: Stored) -> bool:
        """Return whether a stream unpacks without a fault, and nothing follows its content."""
        assert stored.stream is not None
        if FLATE not in _filters(stored.value):
            return True
        try:
            for _ in self.pieces(stored):
                pass
        except zlib.error:
            return False
        return True


def header_end(data: bytes) -> int:
    """Return the place after the first line, and the comment below it; 0 without them."""
    header = HEADER.match(data)
    return header.end() if header else 0


def read_file(data: bytes) -> PdfFile:
    """Read all objects of a PDF; UnsoundError if it is damaged, too large or written otherwise."""
    return friendly_errors(lambda: _read_file(data), DAMAGED)


def _read_file(data: bytes) -> PdfFile:
    start, last = header_end(data), data.rfind(b"startxref")
    if not start or last < 0:
        raise UnsoundError(DAMAGED)
    tables = _tables(data, last)
    budget, revisions = Budget(MOST_TOKENS), []
    for table in tables:
        revisions.append(_revision(data, start, table, budget))
        start = revisions[-1].end
    file = PdfFile(data, tuple(revisions))
    for count in range(1, len(revisions) + 1):
        _check_catalog(file.state(count), revisions[count - 1].trailer)
    _check_streams(file)
    return file


def _tables(data: bytes, last: int) -> list[int]:
    """Return the places of the cross-reference tables, from the end mark at `last` backwards."""
    tables: list[int] = []
    before: Any = _end_mark(data, last)[0]
    while before is not None:
        if type(before) is not int or (tables and before >= tables[0]):
            raise UnsoundError(DAMAGED)
        if len(tables) >= MOST_REVISIONS:
            raise UnsoundError(f"it has more than {MOST_REVISIONS} revisions")
        tables.insert(0, before)
        before = _trailer(data, before)[1].get("Prev")
    return tables


def _end_mark(data: bytes, at: int) -> tuple[int, int]:
    """Read an end mark; return the table that it names, and the place after it."""
    match = LAST.match(data, at)
    if match is None:
        raise UnsoundError(DAMAGED)
    return int(match[1]), match.end()


def _trailer(data: bytes, table: int) -> tuple[dict[int, int], dict[str, Any], int]:
    """Read a cross-reference table and its trailer; return both and the place after them."""
    if data[table : table + 4] != b"xref":
        raise UnsoundError("it has no cross-reference table, as every sheet has")
    places, at = _places(data, table + 4)
    if data[at : at + 7] != b"trailer":
        raise UnsoundError(DAMAGED)
    trailer, at = read_object(data, at + 7, Budget(MOST_OBJECTS))
    if not isinstance(trailer, dict):
        raise UnsoundError(DAMAGED)
    if {"XRefStm", "Encrypt"} & trailer.keys():
        raise UnsoundError("it is encrypted or has cross-reference streams, as no sheet has")
    return places, trailer, at


# ---------------------------------------------------------------- one revision


def _revision(data: bytes, start: int, table: int, budget: Budget) -> Revision:
    places, trailer, at = _trailer(data, table)
    named, end = _end_mark(data, skip_space(data, at))
    if named != table:
        raise UnsoundError(DAMAGED)
    objects: dict[int, Stored] = {}
    at = start
    for number, place in sorted(places.items(), key=lambda each: each[1]):
        if place < at:
            raise UnsoundError("its objects overlap")
        objects[number] = stored = _stored(data, number, place, budget)
        at = stored.end
    if at > table:
        raise UnsoundError("its objects overlap")
    return Revision(objects, trailer, table, start, end)


def _places(data: bytes, at: int) -> tuple[dict[int, int], int]:
    """Read a cross-reference table (7.5.4); return the places and where the trailer begins."""
    places: dict[int, int] = {}
    while section := SECTION.match(data, at):
        first, count, at = int(section[1]), int(section[2]), section.end()
        if count > MOST_OBJECTS or len(places) + count > MOST_OBJECTS + 1:
            raise UnsoundError(f"it has more than {MOST_OBJECTS} objects")
        for number in range(first, first + count):
            entry = ENTRY.match(data, at)
            if entry is None:
                raise UnsoundError(DAMAGED)
            at = entry.end()
            if entry[3] == b"f" and number == 0:
                continue
            if entry[3] == b"f" or number in places or int(entry[2]) or number == 0:
                raise UnsoundError("its cross-reference table has entries that no sheet has")
            places[number] = int(entry[1])
    return places, skip_space(data, at)


def _stored(data: bytes, number: int, place: int, budget: Budget) -> Stored:
    begins = BEGINS.match(data, place)
    if begins is None or int(begins[1]) != number:
        raise UnsoundError(DAMAGED)
    value, at = read_object(data, begins.end(), budget)
    content = None
    if begun := STREAM.match(data, at):
        length = value.get("Length") if isinstance(value, dict) else None
        if type(length) is not int or not 0 <= length <= len(data) - begun.end():
            raise UnsoundError(DAMAGED)
        content = slice(begun.end(), begun.end() + length)
        at = _end_of(ENDSTREAM, data, content.stop)
    return Stored(value, content, place, _end_of(ENDOBJ, data, at))


def _end_of(word: re.Pattern[bytes], data: bytes, at: int) -> int:
    match = word.match(data, at)
    if match is None:
        raise UnsoundError(DAMAGED)
    return match.end()


# ---------------------------------------------------------------- the catalog


def resolved(state: Mapping[int, Stored], value: Any) -> Any:
    """Follow a reference; UnsoundError if its object is missing or is a reference itself."""
    if not isinstance(value, Ref):
        return value
    stored = state.get(value.number)
    if stored is None or isinstance(stored.value, Ref):
        raise UnsoundError(DAMAGED)
    return stored.value


def _check_catalog(state: Mapping[int, Stored], trailer: Mapping[str, Any]) -> None:
    """Check that pages and fields are lists, as in every sheet, and no trees of any depth."""
    root = resolved(state, trailer.get("Root"))
    pages = resolved(state, root["Pages"])
    form = resolved(state, root.get("AcroForm", {}))
    for parent, key, what, most in (
        (pages, "Kids", "pages", MOST_PAGES),
        (form, "Fields", "fields", MOST_FIELDS),
    ):
        parts = resolved(state, parent.get(key, []))
        if len(parts) > most:
            raise UnsoundError(f"it has {len(parts)} {what}; expected at most {most}")
        if any("Kids" in resolved(state, each) for each in parts):
            raise UnsoundError(f"its {what} are a tree; expected a list")


# ---------------------------------------------------------------- streams


def _check_streams(file: PdfFile) -> None:
    """Check that all streams together unpack to a bounded size; damaged ones are left out."""
    left = LARGEST_UNPACKED
    for revision in file.revisions:
        for number, stored in revision.objects.items():
            if stored.stream is None:
                continue
            if not _is_plain(stored.value):
                raise UnsoundError(f"object {number} is encoded otherwise than with /FlateDecode")
            try:
                for piece in file.pieces(stored):
                    left -= len(piece)
                    if left < 0:
                        raise UnsoundError(
                            f"its streams unpack to more than {LARGEST_UNPACKED} bytes"
                        )
            except zlib.error:
                continue


def _is_plain(value: Mapping[str, Any]) -> bool:
    """Return whether a stream is coded as in a sheet, and in the file (7.3.8.2)."""
    external = {"DecodeParms", "F", "FFilter", "FDecodeParms"} & value.keys()
    return not external and _filters(value) in ([], [FLATE], [ASCII85, FLATE])


def _filters(value: Mapping[str, Any]) -> list[Any]:
    coding = value.get("Filter", [])
    return coding if isinstance(coding, list) else [coding]


def _pieces(coded: bytes, value: Mapping[str, Any]) -> Iterator[bytes]:
    filters = _filters(value)
    if ASCII85 in filters:
        coded = from_ascii85(coded)
    if FLATE not in filters:
        yield coded
        return
    unpacking = zlib.decompressobj()
    for at in range(0, len(coded), PIECE):
        if unpacking.eof:
            raise zlib.error("more than its content")
        left = coded[at : at + PIECE]
        while left and not unpacking.eof:  # at the end the library leaves what follows in the tail
            yield unpacking.decompress(left, PIECE)
            left = unpacking.unconsumed_tail
    while piece := unpacking.decompress(b"", PIECE):
        yield piece
    if not unpacking.eof or unpacking.unused_data:
        raise zlib.error("less or more than its content")


def from_ascii85(coded: bytes) -> bytes:
    """Decode base 85 (7.4.3); zlib.error at anything else, also at what Python skips alone."""
    try:
        return base64.a85decode(b"<~" + coded.strip(SKIPPED), adobe=True, ignorechars=SKIPPED)
    except ValueError:
        raise zlib.error("not in base 85") from None


# ---------------------------------------------------------------- objects and references


def references(value: Any) -> Iterator[int]:
    """Yield the numbers of all objects that a value refers to."""
    values = [value]
    while values:
        each = values.pop()
        if isinstance(each, Ref):
            yield each.number
        elif isinstance(each, dict):
            values += each.values()
        elif isinstance(each, list):
            values += each


def dictionaries(value: Any) -> Iterator[Mapping[str, Any]]:
    """Yield a value, if it is a dictionary, and all dictionaries in it."""
    values = [value]
    while values:
        each = values.pop()
        if isinstance(each, dict):
            yield each
            values += each.values()
        elif isinstance(each, list):
            values += each
