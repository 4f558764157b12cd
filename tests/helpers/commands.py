"""The command called in this process, as a shell would call it in one of its own."""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Iterator, Mapping
from contextlib import chdir, contextmanager
from datetime import UTC, datetime
from io import BytesIO, TextIOWrapper
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from compliance.cli import PROGRAM, _options, command

Settings = Mapping[str, str | None]
"""Changes to the environment; None takes a variable away."""

CLOCK = datetime(2026, 11, 30, 18, 0, tzinfo=UTC)
"""What the clock shows where no `--now` is given: the verdicts of the samples still hold."""

LIBRARIES = ("pyhanko", "pyhanko_certvalidator")
"""Whose loggers the command turns off for the rest of its process."""


def without_own_settings() -> dict[str, str | None]:
    """Settings under which no data folder and no wish of the person who runs the tests counts."""
    own = {name: None for name in os.environ if name.startswith("COMPLIANCE_")}
    return {**own, "COMPLIANCE_DATA": "/nonexistent"}


def call(
    *args: str | Path, cwd: Path, env: Settings | None = None, given: bytes = b""
) -> CompletedProcess[str]:
    """The exit code and what is printed; `given` is what standard input holds.

    Streams are UTF-8 and no terminal. What is about the process itself (signals, pipes that
    close, encodings, what is imported) needs a process: the fixture `process` of tests/cli.
    """
    words = [str(arg) for arg in args]
    printed = BytesIO(), BytesIO()
    with chdir(cwd), _logging_as_in_a_script(), pytest.MonkeyPatch.context() as patch:
        patch.setattr(_options, "clock", lambda: CLOCK)
        for name, value in {**without_own_settings(), **(env or {})}.items():
            if value is None:
                patch.delenv(name, raising=False)
            else:
                patch.setenv(name, value)
        patch.setattr(sys, "stdin", TextIOWrapper(BytesIO(given), "utf-8"))
        patch.setattr(sys, "stdout", TextIOWrapper(printed[0], "utf-8", write_through=True))
        patch.setattr(
            sys,
            "stderr",
            TextIOWrapper(printed[1], "utf-8", "backslashreplace", write_through=True),
        )
        try:
            command.main(words)
        except SystemExit as leaving:
            code = leaving.code
        out, err = (stream.getvalue().decode() for stream in printed)
    assert isinstance(code, int)
    return CompletedProcess([PROGRAM, *words], code, out, err)


@contextmanager
def _logging_as_in_a_script() -> Iterator[None]:
    """Nobody listens, so that warnings go to standard error."""
    root = logging.getLogger()
    handlers, root.handlers = root.handlers, []
    levels = [(logger, logger.level) for logger in map(logging.getLogger, LIBRARIES)]
    try:
        yield
    finally:
        root.handlers = handlers
        for logger, level in levels:
            logger.setLevel(level)
