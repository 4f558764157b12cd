"""Run the command in a fork of this process: imports happen once, and calls are independent."""

from __future__ import annotations

import io
import os
import pkgutil
import shutil
import subprocess
import sys
import traceback
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from tempfile import mkdtemp

from freezing.cases import Call

__all__ = ["Printed", "Stage", "import_all", "imported_by", "in_fork", "run"]

PARTS = ("compliance", "specs")
"""Parts of a checkout that the command needs."""

FIXED_TIME = "2026-11-20T08:00:00Z"
SETTINGS = {
    "PATH": "/usr/local/bin:/usr/bin:/bin",
    "LC_ALL": "C.UTF-8",
    "TZ": "UTC",
    "TERM": "dumb",
    "COLUMNS": "80",
    "HOME": "/nonexistent",
    "COMPLIANCE_DATA": "/nonexistent",
    "GIT_CONFIG_NOSYSTEM": "1",
    "GIT_CONFIG_GLOBAL": "/dev/null",
    "GIT_AUTHOR_NAME": "Somebody",
    "GIT_AUTHOR_EMAIL": "somebody@example.org",
    "GIT_AUTHOR_DATE": FIXED_TIME,
    "GIT_COMMITTER_NAME": "Somebody",
    "GIT_COMMITTER_EMAIL": "somebody@example.org",
    "GIT_COMMITTER_DATE": FIXED_TIME,
}
"""The whole environment of a call."""


@dataclass(frozen=True, slots=True)
class Printed:
    """The exit code and the output of a call."""

    code: int
    stdout: bytes
    stderr: bytes


@dataclass(frozen=True, slots=True)
class Stage:
    """A folder with a name of fixed length: a copy of the code, the inputs, the calls' folders."""

    root: Path

    @classmethod
    @contextmanager
    def of(cls, checkout: Path) -> Iterator[Stage]:
        """A temporary stage; its rules are under version control, always with the same history."""
        stage = cls(Path(mkdtemp(prefix="freezer-", dir="/tmp")))
        try:
            for part in PARTS:
                if (checkout / part).is_dir():
                    shutil.copytree(checkout / part, stage.code / part)
            commit_all(stage.code, "specs")
            yield stage
        finally:
            shutil.rmtree(stage.root)

    @property
    def code(self) -> Path:
        """The code to import."""
        return self.root / "code"

    @property
    def inputs(self) -> Path:
        """The inputs of the calls."""
        return self.root / "inputs"


def commit_all(folder: Path, *what: str, again: bool = False) -> None:
    """Make a repository of a folder and commit the named files, at a fixed time."""
    start = () if again else (("init", "--quiet"),)
    for words in (*start, ("add", *what), ("commit", "--quiet", "--message", "As it is")):
        subprocess.run(["git", "-C", folder, *words], env=SETTINGS, check=True)


def import_all(code: Path, further: Iterable[str] = ()) -> None:
    """Import the package in the folder `code`, and further modules if they exist."""
    sys.path.insert(0, str(code))
    sys.dont_write_bytecode = True
    package = import_module("compliance")
    if not str(package.__file__).startswith(str(code)):
        raise RuntimeError(f"{package.__file__} was imported, not that in {code}")
    for module in pkgutil.walk_packages(package.__path__, "compliance."):
        if not module.name.endswith("__main__"):
            import_module(module.name)
    for name in further:
        with suppress(Exception), warnings.catch_warnings(action="ignore"):
            import_module(name)


def imported_by(calls: Iterable[Call], root: Path) -> list[str]:
    """Modules of other packages that the calls import."""
    folder, names = root / "first", root / "imported"
    folder.mkdir()

    def note() -> None:
        import_all(root / "code")
        before = set(sys.modules)
        _redirect(Path(os.devnull), root / "first.out", root / "first.err")
        for call in calls:
            _main(call, folder)
        names.write_text("\n".join(sorted(set(sys.modules) - before)))

    in_fork(note)
    shutil.rmtree(folder)
    return names.read_text().splitlines()


def in_fork(job: Callable[[], object]) -> None:
    """Run a function in a fork of this process; raises if it fails."""
    child = os.fork()
    if child == 0:
        _leave(_outcome(job))
    _, status = os.waitpid(child, 0)
    if status != 0:
        raise RuntimeError(f"a fork ended with {os.waitstatus_to_exitcode(status)}")


def run(call: Call, folder: Path, *, notes: Path) -> Printed:
    """Call the command in a folder; its output is temporarily in `notes`."""
    files = [notes.with_suffix(end) for end in (".in", ".out", ".err")]
    files[0].write_text(call.stdin, encoding="utf-8")
    child = os.fork()
    if child == 0:
        _redirect(*files)
        _leave(_outcome(lambda: _main(call, folder)))
    _, status = os.waitpid(child, 0)
    return Printed(os.waitstatus_to_exitcode(status), files[1].read_bytes(), files[2].read_bytes())


def _redirect(stdin: Path, stdout: Path, stderr: Path) -> None:
    for number, (file, flags) in enumerate(
        (
            (stdin, os.O_RDONLY),
            (stdout, os.O_WRONLY | os.O_CREAT | os.O_TRUNC),
            (stderr, os.O_WRONLY | os.O_CREAT | os.O_TRUNC),
        )
    ):
        opened = os.open(file, flags, 0o600)
        os.dup2(opened, number)
        os.close(opened)


def _main(call: Call, folder: Path) -> int:
    """Run the command as in its own process; returns the exit code."""
    os.chdir(folder)
    os.umask(0o022)
    _set_environment({**SETTINGS, **call.settings})
    sys.stdin = io.TextIOWrapper(io.FileIO(0, closefd=False), "utf-8")
    sys.stdout = _stream(1, call.encoding, "strict")
    sys.stderr = _stream(2, call.encoding, "backslashreplace")
    sys.argv = ["compliance", *call.args]
    from compliance.cli import main

    try:
        main()
    except SystemExit as leaving:
        return leaving.code if isinstance(leaving.code, int) else int(leaving.code is not None)
    finally:
        sys.stdout.flush()
        sys.stderr.flush()


def _set_environment(settings: Mapping[str, str]) -> None:
    os.environ.clear()
    os.environ.update(settings)


def _stream(number: int, encoding: str, errors: str) -> io.TextIOWrapper:
    raw = io.BufferedWriter(io.FileIO(number, "w", closefd=False))
    return io.TextIOWrapper(raw, encoding, errors, write_through=True)


def _outcome(job: Callable[[], object]) -> int:
    try:
        code = job()
    except BaseException:
        traceback.print_exc()
        return 70
    return code if isinstance(code, int) else 0


def _leave(code: int) -> None:
    with suppress(Exception):
        sys.stdout.flush()
        sys.stderr.flush()
    os._exit(code)
