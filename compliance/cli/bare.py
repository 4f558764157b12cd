"""Readings without a job: what a job's file would say of them is said in the call."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click

from compliance.cli.layout import COLUMNS, wrap
from compliance.errors import UsageError
from compliance.model import ENCODINGS, TECHNOLOGIES

__all__ = ["BARE_ONLY", "bare_options", "check_rules", "tell_lacking"]

F = TypeVar("F", bound=Callable[..., Any])

BARE_ONLY = ("encoding", "meter", "technology")
"""Options that have no use with a job, which says its own."""


def bare_options(command: F) -> F:
    """The options that say what a job would: `BARE_ONLY`."""
    for option in (
        click.option(
            "--technology",
            metavar="NAME",
            type=click.Choice(TECHNOLOGIES),
            help=f"Of the display of a bare readings file: {', '.join(TECHNOLOGIES)}.",
        ),
        click.option(
            "--meter",
            metavar="FILE",
            type=click.Path(path_type=Path),
            help="Meter of a bare readings file.",
        ),
        click.option(
            "--encoding",
            metavar="NAME",
            type=click.Choice(list(ENCODINGS)),
            help="Of the code values in a bare readings file that does not state it: "
            f"{', '.join(ENCODINGS)}.",
        ),
    ):
        command = option(command)
    return command


def check_rules(target: Path, rules: Sequence[str]) -> None:
    """That there is something to judge bare readings by. Raises UsageError."""
    if not rules:
        raise UsageError(
            f"{target}: readings without a job need --rule; a job file's name ends in .yaml"
        )


def tell_lacking(documents: Sequence[Mapping[str, Any]], *, aside: bool) -> None:
    """Name the option where assessments without a job lack the kind of display.

    It ends what is printed, and stands on standard error where that is for programs (`aside`).
    """
    from compliance.grading.stated import KIND

    if any(
        document["job"] is None and KIND in finding["missing"]
        for document in documents
        for finding in document["findings"]
    ):
        told = "Without a job the display's technology is said by --technology NAME, one of "
        lines = wrap(f"{told}{', '.join(TECHNOLOGIES)}.", COLUMNS)
        click.echo("\n".join(lines if aside else ["", *lines]), err=aside)
