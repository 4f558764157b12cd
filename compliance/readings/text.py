"""From a readings file's bytes to its text: size, kind and character encoding."""

from __future__ import annotations

import re

from compliance.readings.problems import Problems

__all__ = ["EXPECTED", "MOST_BYTES", "language_of", "text_of"]

MOST_BYTES = 50 << 20

UTF_8_MARK = b"\xef\xbb\xbf"
UTF_16_MARKS = (b"\xff\xfe", b"\xfe\xff")

KINDS: tuple[tuple[bytes, str], ...] = (
    (b"%PDF-", "a PDF document"),
    (b"PK\x03\x04", "a zip archive or a spreadsheet; export the sheet as CSV"),
    (b"PK\x05\x06", "an empty zip archive"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet or another office document; export the sheet as CSV"),
    (b"\x1f\x8b", "a gzip archive; unpack it first"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive; unpack it first"),
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"II*\x00", "a TIFF picture"),
    (b"MM\x00*", "a TIFF picture"),
    (b"SQLite format 3", "a database"),
    (b"{\\rtf", "a rich-text document"),
)
"""First bytes, and what such a file is."""

FIRST_CHARACTERS = 4096
"""in which the first line that is no comment is looked for"""

EXPECTED = "expected readings as CSV: a header row, e.g. r,g,b,X,Y,Z, then a row for each reading"


def text_of(data: bytes, problems: Problems) -> str:
    """The text of a file, without a UTF-8 byte-order mark.

    Raises ReadingsError where the file is too large, empty, of another kind or not UTF-8.
    """
    if len(data) > MOST_BYTES:
        raise problems.stop(
            f"the file is larger than {MOST_BYTES >> 20} MiB, the most a readings file may have"
        )
    if not data.removeprefix(UTF_8_MARK).strip():
        raise problems.stop(f"the file is empty; {EXPECTED}")
    for mark, kind in KINDS:
        if data.startswith(mark):
            raise problems.stop(f"the file is {kind}; {EXPECTED}")
    return _decoded(data, problems)


def _decoded(data: bytes, problems: Problems) -> str:
    if data.startswith(UTF_16_MARKS):
        raise problems.stop("the text is UTF-16, as its byte-order mark says; save it as UTF-8")
    zero = data.find(b"\x00")
    if zero >= 0:
        raise problems.stop(
            "a zero byte stands here: this is UTF-16 or no text at all; expected CSV in UTF-8",
            _line_at(data, zero),
        )
    try:
        return data.removeprefix(UTF_8_MARK).decode("utf-8")
    except UnicodeDecodeError as error:
        at = error.start + (len(UTF_8_MARK) if data.startswith(UTF_8_MARK) else 0)
        raise problems.stop(
            f"the byte 0x{data[at]:02X} is no UTF-8 here; save the file as UTF-8",
            _line_at(data, at),
        ) from None


def language_of(text: str) -> str | None:
    """What a text that is no CSV is, by its first line; None where it may be CSV."""
    lines = (line.strip() for line in text.lstrip()[:FIRST_CHARACTERS].splitlines())
    first = next((line for line in lines if line and not line.startswith("#")), "")
    if first.startswith("<"):
        return "HTML" if re.match(r"<(!doctype html|html)", first, re.IGNORECASE) else "XML"
    if first.startswith(("{", "[")):
        return "JSON"
    if first.startswith(("---", "%YAML")) or re.match(r"[A-Za-z_][\w-]*:(\s|$)", first):
        return "YAML"
    return None


def _line_at(data: bytes, position: int) -> int:
    return len(re.findall(rb"\r\n|\r|\n", data[:position])) + 1
