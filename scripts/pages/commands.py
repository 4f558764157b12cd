"""The page of commands: their help as printed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click

from compliance.cli import command
from pages.follow import run

HEAD = """\
<!-- Written by scripts/make_pages.py from the program's help. -->

# Commands

The help of every command, as printed by `compliance COMMAND --help`.
[Decisions](../decisions.md#exit-codes) explains the exit codes.
"""


def calls(group: click.Group, *path: str) -> Iterator[tuple[str, ...]]:
    """The words of every command of a group, including its subgroups."""
    context = click.Context(group)
    for name in group.list_commands(context):
        entry = group.get_command(context, name)
        if isinstance(entry, click.Group):
            yield from calls(entry, *path, name)
        else:
            yield (*path, name)


def section(words: tuple[str, ...]) -> Iterator[str]:
    """A command's heading and its help."""
    call = " ".join(("compliance", *words))
    done = run(f"{call} --help", Path.cwd())
    yield from (f"## {call}", "", f"```text\n{done.out}```", "")


def page() -> str:
    """The whole page."""
    lines = [HEAD]
    for words in ((), *calls(command)):
        lines += section(words)
    return "\n".join(lines).rstrip("\n") + "\n"
