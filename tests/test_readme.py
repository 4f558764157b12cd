"""What README.md shows is so: its files are read, its commands run, its help compared.

The two set-up commands and the installation stand in plain indented blocks; test_demo.py,
test_wheel.py and every run of the suite itself execute those.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

import compliance.cli

ROOT = Path(__file__).resolve().parent.parent
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")

FENCE = re.compile(r"^(?:<!-- file: (\S+)(.*?)-->\n)?```(\w+)\n(.*?)^```$", re.M | re.S)
BLOCKS = [(kind, name, note, body) for name, note, kind, body in FENCE.findall(TEXT)]
COMMANDS = [line for kind, *_, body in BLOCKS if kind == "sh" for line in body.splitlines()]
SNIPPETS = [body for kind, *_, body in BLOCKS if kind == "python"]
SHOWN = [body for kind, *_, body in BLOCKS if kind == "console"]
WHOLE = {"readings/slot-1.csv": "demo/readings/slot-1.csv"}
"""Files of which README shows the first lines: where the rest is."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the files that README shows, a password, and the user's data inside."""
    place = tmp_path_factory.mktemp("readme")
    for _, name, _, body in BLOCKS:
        if not name:
            continue
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        if name in WHOLE:
            shutil.copy(ROOT / WHOLE[name], place / name)
            assert (place / name).read_text().startswith(body)
        else:
            (place / name).write_text(body)
    (place / "password.txt").write_text("a long password\n")
    return place


def run(arguments: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=folder,
        env={**os.environ, "COMPLIANCE_DATA": str(folder)},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )


def test_commands_in_their_order(folder: Path) -> None:
    assert len(COMMANDS) > 8
    for line in COMMANDS:
        command, _, remark = line.partition("#")
        program, *arguments = shlex.split(command)
        assert program == "compliance"
        done = run(["-m", "compliance.cli", *arguments], folder)
        expected = int(remark.rsplit(maxsplit=1)[-1]) if remark else 0
        assert done.returncode == expected, f"{line}\n{done.stdout}{done.stderr}"
    assert (folder / "sheets" / "SY-0412-1-sdr-broadcast.pdf").exists()
    assert (folder / "identity.p12").stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("snippet", SNIPPETS, ids=range(len(SNIPPETS)))
def test_snippets_run(snippet: str, folder: Path) -> None:
    done = run(["-W", "error", "-c", snippet], folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout


@pytest.mark.parametrize("shown", SHOWN, ids=[body.splitlines()[0] for body in SHOWN])
def test_help_is_as_printed(shown: str) -> None:
    head, _, text = shown.partition("\n")
    _, program, *arguments = head.split()
    assert program == "compliance"
    printed = run(["-m", "compliance.cli", *arguments], ROOT).stdout
    assert printed == text, "README is behind; run: .venv/bin/python scripts/write_help.py"


def leaves(group: click.Group, *path: str) -> Iterator[str]:
    """Every command, as it is called."""
    context = click.Context(group)
    for name in group.list_commands(context):
        found = group.get_command(context, name)
        if isinstance(found, click.Group):
            yield from leaves(found, *path, name)
        else:
            yield " ".join(("$ compliance", *path, name, "--help"))


def test_help_of_every_command_is_shown() -> None:
    shown = [body.splitlines()[0] for body in SHOWN]
    assert shown == ["$ compliance --help", *leaves(compliance.cli.command)], (
        "README is behind; run: .venv/bin/python scripts/write_help.py"
    )


def test_every_shipped_rule_is_listed() -> None:
    from compliance import load_rule, shipped_rules

    listed = dict(re.findall(r"^\| `([a-z0-9-]+)` \| (.+) \|$", TEXT, re.M))
    assert listed == {name: load_rule(name).title for name in shipped_rules()}


def test_the_points_of_the_screen_are_where_the_plan_says() -> None:
    from compliance.model import PLACES

    head, *lines = re.findall(r"^\|(.*[0-9]+ %.*)\|$", TEXT, re.M)[:6]
    across = [float(cell.strip(" %")) for cell in head.split("|")[1:]]
    found = {}
    for line in lines:
        down, *cells = (cell.strip(" `%") for cell in line.split("|"))
        found |= {name: (at, float(down)) for name, at in zip(cells, across, strict=True) if name}
    assert found == PLACES
