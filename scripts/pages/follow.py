"""Follow a page in a folder: write the files that it shows, run its commands in order.

A page may contain:

- `<!-- file: NAME -->` before a block: the file is written; with a remark after the name, as
  `(the first lines)`, the file already exists and begins with the block.
- a `sh` block: a command on each line; `# exit 1` after it if its exit code is not 0.
- a `console` block: commands after `$ `, each with its output; `…` means any text.
- a `python` block: a program that prints something.
- other blocks are not run.

`compliance` runs in this process, which is quick; git as a program.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple
from unittest import mock

from compliance.cli import _options, command

ROOT = Path(__file__).resolve().parent.parent.parent

CHAINS = (
    ("README.md",),
    ("docs/tutorial.md", "docs/clients.md", "docs/signing.md", "docs/automation.md"),
    ("docs/readings.md", "docs/job.md", "docs/meters.md", "docs/decisions.md"),
    ("docs/house-rules.md",),
)
"""Pages to follow one after the other in one folder."""

CLOCK = datetime(2026, 11, 21, 9, 0, tzinfo=UTC)
"""What the clock shows: the day after the demo's readings, so that their verdicts hold."""

FENCE = re.compile(r"^(?:<!-- file: (\S+)(.*?)-->\n)?```(\w+)\n(.*?)^```$", re.M | re.S)
PROMPT = "$ "
ANY = "…"
GIT = ("git", "-c", "user.name=A", "-c", "user.email=a@example.org", "-c", "commit.gpgsign=false",
       "-c", "core.hooksPath=/dev/null")  # fmt: skip


class FollowError(Exception):
    """A page is wrong: the command or the file, and the actual result."""


class Done(NamedTuple):
    """The result of a command."""

    code: int
    out: str
    err: str


def prepare(folder: Path) -> None:
    """Put the demo's files and a password into a folder, as the pages say."""
    shutil.copytree(
        ROOT / "demo",
        folder,
        dirs_exist_ok=True,
        ignore=shutil.ignore_patterns("out", "__pycache__", "*.py", "run", "house-rules"),
    )
    (folder / "password.txt").write_text("a long password\n", encoding="utf-8")


@contextlib.contextmanager
def _settings(folder: Path) -> Iterator[None]:
    """An environment with the same output everywhere that does not touch the user's data."""
    before = dict(os.environ)
    os.environ.update(
        COMPLIANCE_DATA=str(folder / "data"),
        COLUMNS="80",
        GIT_CEILING_DIRECTORIES=str(folder.parent),
        GIT_CONFIG_GLOBAL=os.devnull,
    )
    os.environ.pop("COMPLIANCE_TRACEBACK", None)
    try:
        with contextlib.chdir(folder):
            yield
    finally:
        os.environ.clear()
        os.environ.update(before)


def run(line: str, folder: Path) -> Done:
    """Run one command in a folder."""
    program, *arguments = shlex.split(line, comments=True)
    with _settings(folder):
        if program == "git":
            done = subprocess.run(
                [*GIT, *arguments], stdin=subprocess.DEVNULL, capture_output=True, text=True
            )
            return Done(done.returncode, done.stdout, done.stderr)
        if program != "compliance":
            raise FollowError(f"{line}: expected compliance or git")
        return _run_here(arguments)


def _run_here(arguments: list[str]) -> Done:
    """Run `compliance` in this process."""
    texts = [io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="") for _ in range(2)]
    before = sys.stdin
    with open(os.devnull, encoding="utf-8") as sys.stdin:
        try:
            with (
                mock.patch.object(_options, "clock", lambda: CLOCK),
                contextlib.redirect_stdout(texts[0]),
                contextlib.redirect_stderr(texts[1]),
            ):
                command.main(arguments)
        except SystemExit as leaving:
            code = leaving.code if isinstance(leaving.code, int) else 1
        finally:
            sys.stdin = before
    for text in texts:
        text.flush()
    out, err = (text.buffer.getvalue().decode() for text in texts)
    return Done(code, out, err)


def follow(page: Path, folder: Path) -> str:
    """Follow a page; returns its text with the actual output of its commands.

    Raises FollowError if a command ends with another exit code, or a file begins differently.
    """

    def block(match: re.Match[str]) -> str:
        name, remark, kind, body = match.groups()
        if name:
            _write(folder / name, body, remark.strip())
        elif kind == "sh":
            for line in body.splitlines():
                _expect(line, folder)
        elif kind == "console":
            return match.group(0).replace(body, "".join(_consoles(body, folder)))
        elif kind == "python":
            _program(body, folder)
        return match.group(0)

    return FENCE.sub(block, page.read_text(encoding="utf-8"))


def _write(place: Path, body: str, remark: str) -> None:
    if not remark:
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(body, encoding="utf-8")
    elif not place.read_text(encoding="utf-8").startswith(body):
        raise FollowError(f"{place.name} does not begin as shown")


def _expect(line: str, folder: Path) -> Done:
    """Run a line and compare its exit code with the one stated after it."""
    stated = re.search(r"# exit (\d+)", line)
    done = run(line, folder)
    expected = int(stated[1]) if stated else 0
    if done.code != expected:
        raise FollowError(
            f"{line}\nexit code {done.code}, expected {expected}\n{done.out}{done.err}"
        )
    return done


def _consoles(body: str, folder: Path) -> Iterator[str]:
    """Each command of a block with its output; the shown text stays if it matches."""
    for part in re.split(rf"^(?={re.escape(PROMPT)})", body, flags=re.M):
        if not part:
            continue
        line, _, shown = part.partition("\n")
        printed = _expect(line.removeprefix(PROMPT), folder).out
        pattern = ".*?".join(map(re.escape, shown.split(ANY)))
        fits = re.fullmatch(pattern, printed, re.S)
        yield f"{line}\n{shown if fits else printed}"


def _program(body: str, folder: Path) -> None:
    out = io.StringIO()
    with _settings(folder), contextlib.redirect_stdout(out):
        exec(compile(body, "a page", "exec"), {"__name__": "a page"})
    if not out.getvalue():
        raise FollowError(f"the program prints nothing:\n{body}")
