"""Writes the program's help into README.md, below its last heading.

    .venv/bin/python scripts/write_help.py

Run it when a command's options or words change; a test compares the two.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click

from compliance.cli import command

README = Path(__file__).resolve().parent.parent / "README.md"
HEADING = "## Help, as printed\n"


def calls(group: click.Group, *path: str) -> Iterator[tuple[str, ...]]:
    """The words of every command under a group; a group without commands of its own is left out."""
    context = click.Context(group)
    for name in group.list_commands(context):
        found = group.get_command(context, name)
        if isinstance(found, click.Group):
            yield from calls(found, *path, name)
        else:
            yield (*path, name)


def block(words: tuple[str, ...]) -> str:
    """A call for help and what it prints, as a fenced block."""
    done = subprocess.run(
        [sys.executable, "-m", "compliance.cli", *words, "--help"],
        capture_output=True,
        text=True,
        check=True,
    )
    return f"```console\n$ {' '.join(['compliance', *words, '--help'])}\n{done.stdout}```\n"


def main() -> None:
    """Replace everything below the heading."""
    text, _, _ = README.read_text(encoding="utf-8").partition(HEADING)
    blocks = [block(words) for words in ((), *calls(command))]
    README.write_text(text + HEADING + "\n" + "\n".join(blocks), encoding="utf-8")


if __name__ == "__main__":
    main()
