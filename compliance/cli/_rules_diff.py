"""`compliance rules diff`: show what a change of a rule does."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path

import click

from compliance.cli._options import OneOf, format_option, search_path, specs_option
from compliance.cli._text import cell, hanging_indent, print_json, print_lines, style, table
from compliance.errors import UsageError
from compliance.model import Rule
from compliance.report.rules_diff import (
    RAISE,
    change_text,
    describe_row,
    difference_data,
    heading,
    row_title,
    rows_in_order,
    stated_reason,
    summary,
    worst_kind,
)
from compliance.rules.compare import Difference, difference
from compliance.rules.compare_parts import Kind
from compliance.rules.git_history import (
    Copy,
    Revision,
    checked_out,
    commits_of,
    is_revision,
    text_at,
)
from compliance.rules.library import (
    find_rule,
    is_path,
    known_revisions,
    load_rule,
    load_unchecked_id,
    shipped_folder,
)
from compliance.rules.load import PIN

Side = Rule | dict[str, Rule]
"""One rule, or those of a folder by id."""


@contextmanager
def load_side(named: str, search: Sequence[Path]) -> Iterator[Side]:
    """Load what an argument of the command names. Raises ComplianceError."""
    revision = is_revision(named)
    if revision is not None:
        with checked_out(revision, Path()) as copy:
            found, shipped = _within(copy, search)
            yield _at(copy.place, found, shipped, named)
    elif PIN.fullmatch(named):
        yield _pinned(named, search)
    elif is_path(named) or Path(named).is_dir():
        yield _at(Path(named), search, None, named)
    else:
        yield load_rule(named, search=search)


def _within(copy: Copy, search: Sequence[Path]) -> tuple[list[Path], Path | None]:
    """Return the search path, and the shipped rules' folder, within the copy."""
    folders = [place for folder in search if (place := copy.counterpart(folder)) is not None]
    return folders, copy.counterpart(shipped_folder())


def _at(place: Path, search: Sequence[Path], shipped: Path | None, named: str) -> Side:
    if not place.is_dir():
        return load_unchecked_id(place, search=search, shipped=shipped)
    files = [file for file in sorted(place.glob("*.yaml")) if not file.name.startswith(".")]
    rules = [load_unchecked_id(file, search=search, shipped=shipped) for file in files]
    if not rules:
        raise UsageError(f"{named}: no rule files (*.yaml) in this folder")
    return {rule.id: rule for rule in rules}


def _pinned(named: str, search: Sequence[Path]) -> Rule:
    """Load a rule at a revision: current, archived, or from its repository's history."""
    name, _, wanted = named.partition("@")
    known = known_revisions(name, search=search)
    if int(wanted) in known:
        return load_rule(named, search=search)
    file = find_rule(name, search=search)
    stated = re.compile(rf"^revision:\s*{wanted}\s*(#.*)?$".encode(), re.M)
    for commit in commits_of(file):
        text = text_at(commit, file)
        if text is not None and stated.search(text):
            with checked_out(Revision(commit, f"./{file.name}"), file.parent) as copy:
                found, shipped = _within(copy, search)
                return load_unchecked_id(copy.place, search=found, shipped=shipped)
    raise UsageError(
        f"{named}: the known revisions of {name} are {', '.join(map(str, known))}, and no commit "
        f"of the repository of {file} has revision {wanted}; give the other file, or REV:PATH in "
        "the repository that has it"
    )


INKS = {Kind.LOOSENED: "plum", Kind.WITHDRAWN: "plum", Kind.CHANGED: "ochre",
        Kind.ADDED: "teal", Kind.TIGHTENED: "teal", Kind.REWORDED: "grey"}  # fmt: skip
INDENT = 11


@click.command("diff")
@click.argument("old", metavar="OLD")
@click.argument("new", metavar="NEW")
@specs_option()
@format_option("text", "json", "markdown", help="markdown: a table for a pull request.")
@click.option(
    "--fail-on",
    type=OneOf(["loosened", "any"]),
    help="When to exit with 1. loosened: if a requirement is loosened, withdrawn or changed in a "
    "way that is not provably tighter. any: if anything differs.",
)
def diff(old: str, new: str, specs: tuple[Path, ...], form: str, fail_on: str | None) -> int:
    """Show how NEW differs from OLD, requirement by requirement.

    OLD and NEW are files, folders of rule files, ids, ids with a revision (ID@2), or files
    and folders at a git revision (REV:PATH, from the top of the repository or from ./).

    Exit codes: 0 no difference for --fail-on, 1 a difference for --fail-on, 2 wrong input or
    call.
    """
    search = search_path(specs)
    with ExitStack() as stack:
        sides = [stack.enter_context(load_side(named, search)) for named in (old, new)]
        differing = list(_differences(sides[0], sides[1]))
    if form == "json":
        rules = [difference_data(rule) for rule in differing]
        print_json({"kind": worst_kind(differing), "rules": rules})
    elif form == "markdown":
        print_lines(_markdown(differing))
    else:
        print_lines(_text(differing))
    if fail_on == "any":
        return 1 if differing else 0
    return 1 if fail_on == "loosened" and not all(rule.harmless for rule in differing) else 0


def _differences(old: Side, new: Side) -> Iterator[Difference]:
    """Yield the rules that differ."""
    if isinstance(old, Rule) and isinstance(new, Rule):
        pairs = [difference(old, new)]
    elif isinstance(old, dict) and isinstance(new, dict):
        pairs = []
        for name in dict.fromkeys((*new, *old)):
            before, after = old.get(name), new.get(name)
            if before is not None and after is not None:
                pairs.append(difference(before, after))
            else:
                pairs.append(Difference(before, after, ()))
    else:
        raise UsageError("one side is a rule and the other a folder; expected two rules or folders")
    return (pair for pair in pairs if pair.kind is not Kind.SAME)


# ---------------------------------------------------------------- forms


def _text(differing: Sequence[Difference]) -> Iterator[str]:
    look = style()
    if not differing:
        yield "no difference"
    for number, rule in enumerate(differing):
        if number:
            yield ""
        yield look.ink(look.text(heading(rule)), "strong")
        for row in rows_in_order(rule):
            first, *more = hanging_indent(row_title(row), INDENT, look, first=row.kind.value)
            yield first.replace(row.kind.value, look.ink(row.kind.value, INKS[row.kind]), 1)
            yield from more
            for key in describe_row(row):
                yield from hanging_indent(change_text(key, row), INDENT, look)
            if row.stated:
                yield from hanging_indent(
                    f"stated reason: {stated_reason(row.stated)}", INDENT, look
                )
        if rule.rows:
            yield summary(rule)
        if rule.same_revision:
            yield RAISE


def _markdown(differing: Sequence[Difference]) -> Iterator[str]:
    if not differing:
        yield "No rule differs."
    for number, rule in enumerate(differing):
        if number:
            yield ""
        yield f"### {cell(heading(rule))}"
        if rule.rows:
            yield ""
            yield summary(rule)
            yield ""
            yield from table(("", "subject", "old", "new", "stated reason"), _cells(rule))
        if rule.same_revision:
            yield ""
            yield RAISE


def _cells(rule: Difference) -> Iterator[list[str]]:
    for row in rows_in_order(rule):
        keys = describe_row(row)
        yield [
            f"**{row.kind.value}**",
            cell(row_title(row)),
            "<br>".join(cell(change_text(key._replace(now=""), row)) for key in keys if key.was),
            "<br>".join(cell(change_text(key._replace(was=""), row)) for key in keys if key.now),
            cell(stated_reason(row.stated)),
        ]
