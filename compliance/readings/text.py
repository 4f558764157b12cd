"""From a readings file's bytes to its text and lines, and the problems found in them."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass

from compliance.errors import Problem, ReadingsError

MOST_SHOWN = 20
MOST_COUNTED = 5000
"""With so many problems it is probably the wrong file, and is read no further."""
MOST_NAMED = 3
"""Further lines named if a problem occurs in several."""


class Problems:
    """The problems of one file: all are counted, the first ones shown, the same ones as one."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.count = 0
        self._lines: dict[tuple[str, str | None], list[int]] = {}
        """Lines of each message and field; 0 for the file as a whole."""

    def at(self, line: int | None = None, field: str | None = None) -> Place:
        """A place in the file."""
        return Place(self, line, field)

    def add(self, message: str, line: int | None = None, field: str | None = None) -> None:
        """Note one problem. Several passes may add problems, each in order of lines.

        Raises them all if there are too many.
        """
        self.count += 1
        self._lines.setdefault((message, field), []).append(line or 0)
        if self.count == MOST_COUNTED:
            raise self.error()

    def stop(
        self, message: str, line: int | None = None, field: str | None = None
    ) -> ReadingsError:
        """Note a problem after which nothing can be read, and return the error to raise."""
        self.add(message, line, field)
        return self.error()

    def check(self) -> None:
        """Raise the problems, if there are any."""
        if self.count:
            raise self.error()

    def error(self) -> ReadingsError:
        """All problems noted so far, by line, as one error."""
        groups = sorted(self._lines.items(), key=lambda group: min(group[1]))[:MOST_SHOWN]
        shown = [self._problem(message, field, lines) for (message, field), lines in groups]
        rest = self.count - sum(len(lines) for _, lines in groups)
        words = [f"and {rest} more problem{'s' if rest > 1 else ''}"] if rest else []
        if self.count >= MOST_COUNTED:
            words.append("the rest of the file was not read")
        if words:
            shown.append(Problem(self.file, "; ".join(words)))
        return ReadingsError(shown)

    def _problem(self, message: str, field: str | None, lines: list[int]) -> Problem:
        first, *others = sorted(set(lines))
        return Problem(self.file, message + _also_in(others), first or None, field)


@dataclass(frozen=True, slots=True)
class Place:
    """A line and field of a file, at which problems can be noted."""

    problems: Problems
    line: int | None
    field: str | None

    def add(self, message: str) -> None:
        """Note one problem."""
        self.problems.add(message, self.line, self.field)

    def stop(self, message: str) -> ReadingsError:
        """Note a problem after which nothing can be read, and return the error to raise."""
        return self.problems.stop(message, self.line, self.field)


def _also_in(lines: list[int]) -> str:
    if not lines:
        return ""
    if len(lines) > MOST_NAMED:
        return f"; also in {len(lines)} more lines"
    *some, last = map(str, lines)
    return f"; also in lines {', '.join(some)} and {last}" if some else f"; also in line {last}"


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
"""First bytes of a file, and its kind."""

EXPECTED = "expected readings as CSV: a header row, e.g. r,g,b,X,Y,Z, then a row for each reading"


def text_of(data: bytes, problems: Problems) -> str:
    """The text of a file, without a UTF-8 byte-order mark.

    Raises ReadingsError if the file is too large, empty, of another kind or not UTF-8.
    """
    if len(data) > MOST_BYTES:
        raise problems.stop(f"the file is larger than {MOST_BYTES >> 20} MiB, the limit")
    if not data.removeprefix(UTF_8_MARK).strip():
        raise problems.stop(f"the file is empty; {EXPECTED}")
    for mark, kind in KINDS:
        if data.startswith(mark):
            raise problems.stop(f"the file is {kind}; {EXPECTED}")
    return _decoded(data, problems)


def _decoded(data: bytes, problems: Problems) -> str:
    if data.startswith(UTF_16_MARKS):
        raise problems.stop("the text is UTF-16, by its byte-order mark; save it as UTF-8")
    zero = data.find(b"\x00")
    if zero >= 0:
        raise problems.stop(
            "contains a NUL byte: this is UTF-16 or not a text file; expected CSV in UTF-8",
            _line_at(data, zero),
        )
    try:
        return data.removeprefix(UTF_8_MARK).decode("utf-8")
    except UnicodeDecodeError as error:
        at = error.start + (len(UTF_8_MARK) if data.startswith(UTF_8_MARK) else 0)
        raise problems.stop(
            f"the byte 0x{data[at]:02X} is not valid UTF-8; save the file as UTF-8",
            _line_at(data, at),
        ) from None


def _line_at(data: bytes, position: int) -> int:
    return len(re.findall(rb"\r\n|\r|\n", data[:position])) + 1


MOST_ROWS = 10_000


@dataclass(frozen=True, slots=True)
class Row:
    line: int
    """Line of the file on which the row begins, counted from 1."""
    cells: tuple[str, ...]
    """Without the blanks around them."""

    @property
    def blank(self) -> bool:
        """Whether it is empty, apart from commas."""
        return not any(self.cells)


def numbered_lines(
    text: str, most: int, problems: Problems, *, newline: str | None = None
) -> Iterator[tuple[int, str]]:
    """Each line with its number, counted from 1; CRLF, LF and CR all end a line.

    Line ends become LF, or are kept with `newline=""`. Raises ReadingsError at a line of more
    than `most` characters.
    """
    for number, line in enumerate(io.StringIO(text, newline=newline), start=1):
        if len(line) > most:
            message = f"the line has {len(line)} characters; expected at most {most}"
            raise problems.stop(message, number)
        yield number, line
