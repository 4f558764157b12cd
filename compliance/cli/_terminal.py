"""Safe standard output and error, and a clean stop on signals.

A reader that goes away (`| head`) must not change the exit code, so a closed pipe
is ignored. A terminal that cannot show `≤` gets `<=`. Control characters in text from
files are escaped before they can move a cursor.
"""

from __future__ import annotations

import errno
import io
import os
import signal
import sys
import threading
import unicodedata
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType
from typing import NoReturn, TextIO

import click

HYPHEN = Path("-")
"""Means standard input or output in place of a file."""

SUBSTITUTES = {
    "\u00a0": " ",
    "–": "-",
    "—": "-",
    "−": "-",
    "·": "-",
    "…": "...",
    "‘": "'",
    "’": "'",
    "“": '"',
    "”": '"',
    "′": "'",
    "″": '"',
    "±": "+/-",
    "≤": "<=",
    "≥": ">=",
    "×": "x",
    "√": "sqrt",
    "°": " deg",
    "²": "2",
    "³": "3",
    "₀": "0",
    "₂": "2",
    "Δ": "d",
    "Σ": "sum",
    "γ": "gamma",
    "λ": "lambda",
    "σ": "sigma",
    "●": "*",
    "◐": "+",
    "◑": "-",
    "⊖": "x",
    "◌": "?",
    "→": "->",
    "ß": "ss",
    "æ": "ae",
    "Æ": "Ae",
    "ø": "o",
    "Ø": "O",
    "ł": "l",
    "Ł": "L",
}
"""Replacements for characters that the output's encoding does not have."""


def to_encoding(text: str, encoding: str | None) -> str:
    """Replace every character of `text` that `encoding` lacks by a readable one."""
    encoding = encoding or "ascii"
    if _fits(text, encoding):
        return text
    return "".join(char if _fits(char, encoding) else _plain(char, encoding) for char in text)


def _fits(text: str, encoding: str) -> bool:
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return False
    return True


def _plain(char: str, encoding: str) -> str:
    stated = SUBSTITUTES.get(char)
    if stated is not None:
        return stated
    parts = unicodedata.normalize("NFKD", char)
    kept = "".join(part for part in parts if _fits(part, encoding))
    return kept or "?"


def escape_controls(text: str) -> str:
    """Put `text` on one line and escape its control and direction characters, e.g. `\\x1b`."""
    return "".join(
        char if char.isprintable() or char == "\u00a0" else _spelt(char) for char in text
    )


def _spelt(char: str) -> str:
    if char in "\n\t\r" or unicodedata.category(char) == "Zs":
        return " "
    return char.encode("unicode_escape").decode("ascii")


def width(text: str) -> int:
    """Count the columns of `text` in a terminal: wide characters two, combining ones none."""
    return sum(
        0 if unicodedata.combining(char) else 2 if unicodedata.east_asian_width(char) in "WF" else 1
        for char in text
    )


def write_data(data: bytes) -> None:
    """Write a file's content to standard output; nothing if that is closed."""
    if isinstance(sys.stdout, Output):
        sys.stdout.write_bytes(data)


def print_note(text: str) -> None:
    """Print a line on standard error, for the person at the terminal."""
    click.echo(f"compliance: {escape_controls(text)}", err=True)


def print_plain(text: str, *, err: bool = False) -> None:
    """Print a line that may contain text from files, its control characters escaped."""
    click.echo(escape_controls(text), err=err)


def colour_wanted(stream: TextIO) -> bool:
    """Return whether `stream` is a terminal and its user has not declined colour (no-color.org)."""
    if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return False
    return stream.isatty()


CLOSED_PIPE = frozenset({errno.EINVAL} if os.name == "nt" else ())
"""What a system says of a pipe without a reader beside BrokenPipeError."""


class Output(io.TextIOBase):
    """A text stream that survives a closed pipe and writes only what its encoding can show."""

    def __init__(self, stream: TextIO, *, last: bool = False) -> None:
        """`last`: the stream for error messages; its own failures cannot be reported."""
        self._stream = stream
        self._forgiven = OSError if last else BrokenPipeError

    @property
    def encoding(self) -> str:  # type: ignore[override]
        """The encoding of the stream beneath."""
        return self._stream.encoding or "ascii"

    @property
    def errors(self) -> str:  # type: ignore[override]
        """The handling of characters without a code: there are none left to handle."""
        return "strict"

    def write(self, text: str) -> int:
        """Write; a closed pipe is not an error, any other failure is and is not retried."""
        if not isinstance(text, str):
            raise TypeError(f"text expected, not {type(text).__name__}")
        if text:
            with self._patient():
                self._stream.write(to_encoding(text, self.encoding))
        return len(text)

    def write_bytes(self, data: bytes) -> None:
        """Write bytes as they are, with the errors of `write`."""
        with self._patient():
            self._stream.flush()
            self._stream.buffer.write(data)

    def flush(self) -> None:
        """Flush, with the errors of `write`."""
        with self._patient():
            self._stream.flush()

    def isatty(self) -> bool:
        """Return whether the stream beneath is a terminal."""
        return self._stream.isatty()

    def writable(self) -> bool:
        """Return True."""
        return True

    def fileno(self) -> int:
        """Return the descriptor beneath."""
        return self._stream.fileno()

    def close(self) -> None:
        """Do nothing: the stream beneath belongs to the interpreter."""

    @contextmanager
    def _patient(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            self._let_go()
            gone = error.errno in CLOSED_PIPE or isinstance(error, self._forgiven)
            if not gone:
                raise OSError(error.errno, error.strerror, "standard output") from error

    def _let_go(self) -> None:
        """Point the descriptor at the null device, so that buffered text cannot fail at exit."""
        with suppress(OSError, ValueError):
            nothing = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nothing, self._stream.fileno())
            os.close(nothing)


@contextmanager
def standard_streams() -> Iterator[None]:
    """Put `Output` in front of standard output and error while inside."""
    before = sys.stdout, sys.stderr
    if sys.stdout is not None:
        sys.stdout = Output(sys.stdout)
    if sys.stderr is not None:
        sys.stderr = Output(sys.stderr, last=True)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before


WORDS: Mapping[str, str] = {"SIGTERM": "terminated", "SIGHUP": "hung up"}
"""Signals that end the program, where the system has them."""


class Stopped(KeyboardInterrupt):
    """Raised when a signal asks the program to end."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.word = WORDS[signal.Signals(number).name]
        self.exit_code = 128 + number
        """As shells report it."""


@contextmanager
def stop_cleanly() -> Iterator[None]:
    """Turn signals into `Stopped` while inside; a signal that is ignored (nohup) stays so.

    Only the main thread receives signals; in others nothing changes.
    """
    before = {}
    main = threading.current_thread() is threading.main_thread()
    for number in (getattr(signal, name, None) for name in WORDS if main):
        if number is not None and signal.getsignal(number) is signal.SIG_DFL:
            before[number] = signal.signal(number, _stop)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _stop(number: int, frame: FrameType | None) -> NoReturn:
    signal.signal(number, signal.SIG_IGN)  # a second signal must not interrupt the clean-up
    raise Stopped(number)
