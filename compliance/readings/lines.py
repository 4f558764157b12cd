"""A text line by line, none of them too long."""

from __future__ import annotations

import io
from collections.abc import Iterator

from compliance.readings.problems import Problems

__all__ = ["numbered_lines"]


def numbered_lines(text: str, most: int, problems: Problems) -> Iterator[tuple[int, str]]:
    """Each line with its number, counted from 1; CRLF, LF and CR end a line alike.

    Raises ReadingsError at a line of more than `most` characters.
    """
    for number, line in enumerate(io.StringIO(text, newline=None), start=1):
        if len(line) > most:
            told = f"the line has {len(line)} characters; expected at most {most}"
            raise problems.stop(told, number)
        yield number, line.rstrip("\n")
