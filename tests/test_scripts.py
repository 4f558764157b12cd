"""The set-up scripts say in one line what is missing, and leave alone what is not theirs."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
COPIED = ("scripts", "pyproject.toml", "README.md", "LICENSE", "compliance/__init__.py")
SCRIPTS = ("demo/run", "tests/run")
TOOLS = ("sh", "dirname")


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """As much of the project as its set-up reads, in a folder with a space in its name."""
    place = tmp_path / "a checkout"
    for name in (*COPIED, *SCRIPTS):
        source, target = ROOT / name, place / name
        target.parent.mkdir(parents=True, exist_ok=True)
        if source.is_dir():
            shutil.copytree(source, target, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(source, target)
    return place


@pytest.fixture
def tools(tmp_path: Path) -> Path:
    """A folder for PATH that has a shell and nothing that is called python."""
    folder = tmp_path / "bin"
    folder.mkdir()
    for name in TOOLS:
        found = shutil.which(name)
        assert found is not None
        (folder / name).symlink_to(found)
    return folder


def pretend(folder: Path, name: str, script: str) -> None:
    place = folder / name
    place.write_text(f"#!/bin/sh\n{script}\n")
    place.chmod(0o755)


def run(script: Path, settings: Mapping[str, str]) -> tuple[int, list[str]]:
    """Exit code and the lines on standard error, run from another folder."""
    environment = {key: value for key, value in os.environ.items() if key != "PYTHON"}
    done = subprocess.run(
        ["/bin/sh", script],
        env={**environment, **settings},
        cwd="/",
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )
    return done.returncode, done.stderr.splitlines()


@pytest.mark.parametrize("script", SCRIPTS)
def test_no_python_at_all(checkout: Path, tools: Path, script: str) -> None:
    code, lines = run(checkout / script, {"PATH": str(tools)})
    assert (code, lines) == (4, [f"{script}: needs Python 3.11 or newer; found none"])


@pytest.mark.parametrize("script", SCRIPTS)
def test_only_an_old_python(checkout: Path, tools: Path, script: str) -> None:
    pretend(tools, "python3", 'case "$2" in *"3, 11"*) exit 1;; *print*) echo 3.9.2;; esac')
    code, lines = run(checkout / script, {"PATH": str(tools)})
    assert (code, lines) == (4, [f"{script}: needs Python 3.11 or newer; found 3.9.2"])


@pytest.mark.parametrize("script", SCRIPTS)
def test_no_venv_module(checkout: Path, tools: Path, script: str) -> None:
    pretend(tools, "python3.12", 'case "$2" in *ensurepip*) exit 1;; esac')
    code, lines = run(checkout / script, {"PATH": str(tools)})
    told = "python3.12 has no venv module; install it (Debian: apt-get install python3-venv)"
    assert (code, lines) == (4, [f"{script}: {told}"])


def test_a_python_that_cannot_be_run(checkout: Path) -> None:
    code, lines = run(checkout / "demo/run", {"PYTHON": "/nowhere/python"})
    told = "PYTHON=/nowhere/python cannot be run; it should name a Python 3.11 or newer"
    assert (code, lines) == (4, [f"demo/run: {told}"])


def test_no_network(checkout: Path) -> None:
    code, lines = run(checkout / "demo/run", {"PYTHON": sys.executable, "PIP_NO_INDEX": "1"})
    assert code == 4
    assert len(lines) == 2
    assert lines[0].startswith("setting up .venv")
    assert lines[1].startswith("pip could not install the dependencies (is there a network?): ")
    assert lines[1].endswith(f"(whole log: {checkout}/.venv/set-up.log)")


def test_an_environment_of_somebody_else_stays(checkout: Path) -> None:
    kept = checkout / ".venv" / "kept"
    kept.parent.mkdir()
    kept.touch()
    code, lines = run(checkout / "demo/run", {"PYTHON": sys.executable})
    told = ".venv has no working Python 3.11 or newer with pip; remove or repair it"
    assert (code, lines, kept.exists()) == (4, [told], True)
