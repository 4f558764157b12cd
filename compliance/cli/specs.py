"""Where a command finds rules by id: `--specs`, then what the repository around it names."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click

__all__ = ["search_path", "specs_option"]

Command = TypeVar("Command", bound=Callable[..., Any])


def specs_option(command: Command) -> Command:
    """The option `--specs DIR` of a command, passed to it as `specs`."""
    option = click.option(
        "--specs",
        metavar="DIR",
        type=click.Path(path_type=Path),
        multiple=True,
        help="Folder of further rule files; may be repeated.",
    )
    return option(command)


def search_path(specs: Sequence[Path], start: Path | None = None) -> tuple[Path, ...]:
    """Folders of rule files for a job in the folder `start`, or for the folder one stands in.

    The shipped ones are not among them; they are always searched last. Raises RuleError where
    the repository's `.compliance.yaml` is wrong.
    """
    from compliance.rules.repository import repository_folders

    return (*specs, *repository_folders(start if start is not None else Path()))
