"""What is being worked on, on standard error, where a person watches."""

from __future__ import annotations

import sys
from types import TracebackType

from compliance.cli.layout import Style, shorten

__all__ = ["Progress"]

CLEAR = "\r\x1b[K"


class Progress:
    """One line that is rewritten for each step and gone at the end; nothing without a terminal."""

    def __init__(self, total: int) -> None:
        self._total = total
        self._count = 0
        self._shown = sys.stderr is not None and sys.stderr.isatty()

    def step(self, what: str) -> None:
        """The next of the steps begins."""
        self._count += 1
        if self._shown:
            style = Style(sys.stderr.encoding)
            text = style.text(f"{self._count} of {self._total}: {what}")
            sys.stderr.write(CLEAR + shorten(text, 79, style))
            sys.stderr.flush()

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._shown and self._count:
            sys.stderr.write(CLEAR)
            sys.stderr.flush()
