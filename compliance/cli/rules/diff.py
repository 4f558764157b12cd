"""`compliance rules diff`: what a change of a rule does."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import click

from compliance.cli.rules.output import cell, folded, print_json, print_lines, style, table
from compliance.cli.rules.sides import Side, side
from compliance.cli.rules.words import Told, told
from compliance.cli.specs import search_path, specs_option
from compliance.errors import UsageError
from compliance.model import Change, Rule
from compliance.rules.diff import Difference, Row, difference
from compliance.rules.kinds import Kind

__all__ = ["diff"]

ORDER = (Kind.LOOSENED, Kind.WITHDRAWN, Kind.CHANGED, Kind.ADDED, Kind.TIGHTENED, Kind.REWORDED)
"""What a reviewer looks at first."""

INKS = {Kind.LOOSENED: "plum", Kind.WITHDRAWN: "plum", Kind.CHANGED: "ochre",
        Kind.ADDED: "teal", Kind.TIGHTENED: "teal", Kind.REWORDED: "grey"}  # fmt: skip
INDENT = 11
RAISE = "The text differs and the revision does not: raise the revision."


@click.command("diff")
@click.argument("old", metavar="OLD")
@click.argument("new", metavar="NEW")
@specs_option
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json", "markdown"]),
    default="text",
    show_default=True,
    help="markdown: a table for a pull request.",
)
@click.option(
    "--fail-on",
    type=click.Choice(["loosened", "any"]),
    help="Exit with 1 where something is loosened, withdrawn or changed in a way that is not "
    "provably tighter; or where anything differs.",
)
def diff(old: str, new: str, specs: tuple[Path, ...], form: str, fail_on: str | None) -> int:
    """Say what NEW does to OLD, requirement by requirement.

    Both are files, folders of rule files, ids, ids with their revision (ID@2), or files
    and folders at a git revision (REV:PATH, from the top of the repository or from ./).

    Exit codes: 0; 1 what --fail-on asks for was found; 2 the input or the call is wrong.
    """
    search = search_path(specs)
    with ExitStack() as stack:
        sides = [stack.enter_context(side(named, search)) for named in (old, new)]
        found = list(_differences(sides[0], sides[1]))
    if form == "json":
        print_json({"kind": _worst(found), "rules": [_data(one) for one in found]})
    elif form == "markdown":
        print_lines(_markdown(found))
    else:
        print_lines(_text(found))
    if fail_on == "any":
        return 1 if found else 0
    return 1 if fail_on == "loosened" and not all(one.harmless for one in found) else 0


def _differences(old: Side, new: Side) -> Iterator[Difference]:
    """Those rules that differ."""
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
        raise UsageError("one side is a rule and the other a folder; expected two of a kind")
    return (one for one in pairs if one.kind is not Kind.SAME)


def _worst(found: Iterable[Difference]) -> str:
    kinds = {row.kind for one in found for row in one.rows} | {one.kind for one in found}
    return next((kind.value for kind in ORDER if kind in kinds), Kind.SAME.value)


def _rows(one: Difference) -> list[Row]:
    return sorted(one.rows, key=lambda row: ORDER.index(row.kind))


def _heading(one: Difference) -> str:
    """`id, revision 1 → 2`."""
    old, new = one.old, one.new
    rule = new or old
    assert rule is not None
    if old is None or new is None:
        said = "a new rule" if old is None else "withdrawn"
        return f"{rule.id}, revision {rule.revision}: {said}"
    if old.id != new.id:
        return f"{old.id}, revision {old.revision} → {new.id}, revision {new.revision}"
    if old.revision == new.revision:
        return f"{new.id}, revision {new.revision}"
    return f"{new.id}, revision {old.revision} → {new.revision}"


def _title(row: Row) -> str:
    one = row.new or row.old
    name = row.subject.removeprefix("requirements.")
    return name if one is None else f"{one.title} ({name})"


def _stated(change: Change | None) -> str:
    if change is None:
        return ""
    return f"{change.reason}; agreed by {change.agreed_by}, {change.date.isoformat()}"


def _summary(one: Difference) -> str:
    count = Counter(row.kind for row in one.rows)
    return ", ".join(f"{count[kind]} {kind.value}" for kind in ORDER if kind in count)


# ---------------------------------------------------------------- forms


def _text(found: Sequence[Difference]) -> Iterator[str]:
    look = style()
    if not found:
        yield "no difference"
    for number, one in enumerate(found):
        if number:
            yield ""
        yield look.ink(look.text(_heading(one)), "strong")
        for row in _rows(one):
            first, *more = folded(_title(row), INDENT, look, first=row.kind.value)
            yield first.replace(row.kind.value, look.ink(row.kind.value, INKS[row.kind]), 1)
            yield from more
            for key in told(row):
                yield from folded(_key(key, row), INDENT, look)
            if row.stated:
                yield from folded(f"stated reason: {_stated(row.stated)}", INDENT, look)
        if one.rows:
            yield _summary(one)
        if one.same_revision:
            yield RAISE


def _key(key: Told, row: Row) -> str:
    name = "" if key.key in ("requirement", row.subject) else f"{key.key}: "
    return f"{name}{key.was} → {key.now}" if key.was and key.now else f"{name}{key.was or key.now}"


def _markdown(found: Sequence[Difference]) -> Iterator[str]:
    if not found:
        yield "No rule differs."
    for number, one in enumerate(found):
        if number:
            yield ""
        yield f"### {cell(_heading(one))}"
        if one.rows:
            yield ""
            yield _summary(one)
            yield ""
            yield from table(("", "what", "was", "is", "stated reason"), _cells(one))
        if one.same_revision:
            yield ""
            yield RAISE


def _cells(one: Difference) -> Iterator[list[str]]:
    for row in _rows(one):
        keys = told(row)
        yield [
            f"**{row.kind.value}**",
            cell(_title(row)),
            "<br>".join(cell(_key(key._replace(now=""), row)) for key in keys if key.was),
            "<br>".join(cell(_key(key._replace(was=""), row)) for key in keys if key.now),
            cell(_stated(row.stated)),
        ]


def _data(one: Difference) -> dict[str, Any]:
    return {
        "old": _rule(one.old),
        "new": _rule(one.new),
        "kind": one.kind.value,
        "same_revision": one.same_revision,
        "rows": [
            {
                "subject": row.subject,
                "kind": row.kind.value,
                "details": [key._asdict() | {"kind": key.kind.value} for key in told(row)],
                "stated": _stated(row.stated) or None,
            }
            for row in one.rows
        ],
    }


def _rule(rule: Rule | None) -> dict[str, Any] | None:
    if rule is None:
        return None
    return {"id": rule.id, "revision": rule.revision, "digest": rule.digest}
