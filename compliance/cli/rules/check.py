"""`compliance rules check`: every complaint about files of rules."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from pathlib import Path

import click

from compliance.cli.rules.output import print_json, print_lines, style
from compliance.cli.specs import search_path, specs_option
from compliance.cli.terminal import harmless
from compliance.errors import Problem, UsageError
from compliance.rules.check import check_file
from compliance.rules.repository import NAME, repository_file, repository_folders

__all__ = ["check"]

SUFFIXES = (".yaml", ".yml")


@click.command("check")
@click.argument("paths", metavar="[PATH]...", nargs=-1, type=click.Path(path_type=Path))
@specs_option
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json", "github"]),
    default="text",
    show_default=True,
    help="github: annotations of a workflow's run.",
)
def check(paths: tuple[Path, ...], specs: tuple[Path, ...], form: str) -> int:
    """Check rule files, patch lists and folders of them; of the repository unless named.

    Looks at the form, the parents, and whether what a rule asks can be shown, judged and
    met by a display that is its target.

    Exit codes: 0 no complaint, 1 there are complaints, 2 the call is wrong.
    """
    search = search_path(specs)
    files = list(dict.fromkeys(_files(paths or _own())))
    found: dict[Problem, None] = {}
    for file in files:
        found.update(dict.fromkeys(check_file(file, search)))
    if form == "json":
        print_json({"files": [str(file) for file in files], "complaints": list(map(_data, found))})
    elif form == "github":
        print_lines(map(_annotation, found))
    else:
        look = style()
        print_lines(look.text(str(problem)) for problem in found)
        count = f"{len(files)} file{'s' * (len(files) != 1)} checked"
        print_lines([f"{count}, {_count(len(found))}"])
    return 1 if found else 0


def _count(number: int) -> str:
    return "no complaint" if not number else f"{number} complaint{'s' * (number != 1)}"


def _own() -> tuple[Path, ...]:
    """What the repository around the folder one stands in says of its rules."""
    file = repository_file(Path())
    if file is None:
        raise UsageError(
            f"no PATH is named, and no {NAME} above this folder names any folders of rules"
        )
    return (file, *repository_folders(Path()))


def _files(paths: Iterable[Path]) -> Iterator[Path]:
    """Files as named; of a folder its rule files, and the `.compliance.yaml` in it."""
    for path in paths:
        if path.is_dir():
            inside = sorted(path.glob("*.yaml"))
            if not inside:
                raise UsageError(f"{path}: there are no rule files (*.yaml) in this folder")
            yield from inside
        elif not os.path.lexists(path):
            raise UsageError(f"{path}: no such file or folder")
        elif path.suffix.lower() not in SUFFIXES:
            raise UsageError(f"{path}: is no rule file; expected a name that ends in .yaml")
        else:
            yield path


def _data(problem: Problem) -> dict[str, object]:
    return {
        "file": problem.file,
        "line": problem.line,
        "field": problem.field,
        "message": problem.message,
    }


def _annotation(problem: Problem) -> str:
    """A complaint as a workflow command; its text may not end it or begin another."""
    places = [f"file={_escaped(problem.file, ':,')}"]
    if problem.line is not None:
        places.append(f"line={problem.line}")
    if problem.field:
        places.append(f"title={_escaped(problem.field, ':,')}")
    return f"::error {','.join(places)}::{_escaped(problem.message)}"


def _escaped(text: str, further: str = "") -> str:
    found = harmless(text).replace("%", "%25")
    for sign in further:
        found = found.replace(sign, f"%{ord(sign):02X}")
    return style().text(found)
