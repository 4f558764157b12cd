"""Being asked to stop: the same clean way out as for an interrupt from the keyboard."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from types import FrameType
from typing import NoReturn

__all__ = ["Stopped", "stop_cleanly"]

WORDS: Mapping[str, str] = {"SIGTERM": "terminated", "SIGHUP": "hung up"}
"""Signals that end the program, where the system has them."""


class Stopped(KeyboardInterrupt):
    """A signal has asked the program to end."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.word = WORDS[signal.Signals(number).name]
        self.exit_code = 128 + number
        """As shells give it."""


@contextmanager
def stop_cleanly() -> Iterator[None]:
    """Turn the signals into `Stopped` while inside; what ignores one (nohup) goes on doing so.

    Only the main thread hears signals; in others nothing changes.
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
    signal.signal(number, signal.SIG_IGN)  # once is enough: what is cleaned up stays whole
    raise Stopped(number)
