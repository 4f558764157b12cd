"""`compliance rules diff`: what a change of a rule does."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, NamedTuple

import click

from compliance.cli._options import format_option, search_path, specs_option
from compliance.cli._text import cell, hanging_indent, print_json, print_lines, style, table
from compliance.errors import UsageError
from compliance.model import Change, Over, PatchSet, Requirement, Rule
from compliance.report.numbers import format_plain
from compliance.report.words.en.rules import asked_words, limits_words, over_words, set_words
from compliance.rules.compare import Detail, Difference, Row, difference
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
    load_rule,
    load_unchecked_id,
    shipped_folder,
)
from compliance.rules.load import PIN

Side = Rule | dict[str, Rule]
"""One rule, or those of a folder by id."""


@contextmanager
def load_side(named: str, search: Sequence[Path]) -> Iterator[Side]:
    """What an argument of the command names, loaded. Raises ComplianceError."""
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
    """The search path, and the shipped rules' folder, as they stood in the copy."""
    found = [place for folder in search if (place := copy.counterpart(folder)) is not None]
    return found, copy.counterpart(shipped_folder())


def _at(place: Path, search: Sequence[Path], shipped: Path | None, named: str) -> Side:
    if not place.is_dir():
        return load_unchecked_id(place, search=search, shipped=shipped)
    files = [file for file in sorted(place.glob("*.yaml")) if not file.name.startswith(".")]
    found = [load_unchecked_id(file, search=search, shipped=shipped) for file in files]
    if not found:
        raise UsageError(f"{named}: there are no rule files (*.yaml) in this folder")
    return {rule.id: rule for rule in found}


def _pinned(named: str, search: Sequence[Path]) -> Rule:
    """A rule at a revision of its own: as it is, or out of its repository's history."""
    name, _, wanted = named.partition("@")
    rule = load_rule(name, search=search)
    if rule.revision == int(wanted):
        return rule
    file = find_rule(name, search=search)
    stated = re.compile(rf"^revision:\s*{wanted}\s*(#.*)?$".encode(), re.M)
    for commit in commits_of(file):
        text = text_at(commit, file)
        if text is not None and stated.search(text):
            with checked_out(Revision(commit, f"./{file.name}"), file.parent) as copy:
                found, shipped = _within(copy, search)
                return load_unchecked_id(copy.place, search=found, shipped=shipped)
    raise UsageError(
        f"{named}: {file} is at revision {rule.revision}, and no commit known here holds revision "
        f"{wanted}; name the other file itself, or REV:PATH in the repository that has it"
    )


NOT_STATED = "not stated"
UNITS = {
    "valid_for": " days",
    "window": "\u00a0% of area",
    "floor": "\u00a0cd/m²",
    "target.black_level": "\u00a0cd/m²",
    "target.luminance_white": "\u00a0cd/m²",
    "target.luminance_peak": "\u00a0cd/m²",
}
"""Of keys that hold a number."""


class Told(NamedTuple):
    """One key of a row."""

    key: str
    kind: Kind
    was: str
    now: str


def describe_row(row: Row) -> tuple[Told, ...]:
    """The keys in which a row differs; of one that is new or gone all that it asks."""
    if row.kind in (Kind.ADDED, Kind.WITHDRAWN):
        was = _whole(row.old) if row.old else ""
        now = _whole(row.new) if row.new else ""
        return (Told("requirement", row.kind, was, now),)
    return tuple(_detail(detail) for detail in row.details)


def _whole(requirement: Requirement) -> str:
    return f"{requirement.level.value}: {asked_words(requirement)}"


def _detail(detail: Detail) -> Told:
    if detail.key in ("form", "order", "changes"):
        said = {
            "form": "written differently, the same in effect",
            "order": "in another order",
            "changes": "other reasons are stated",
        }[detail.key]
        return Told(detail.key, detail.kind, "", said)
    if _is_list(detail.old) and _is_list(detail.new):
        was, now = _lists(detail.old, detail.new)
    else:
        unit = UNITS.get(detail.key, "")
        was, now = (_value(value) + (unit if value else "") for value in (detail.old, detail.new))
    return Told(detail.key, detail.kind, was, now)


def _value(value: Any) -> str:
    if value is None:
        return NOT_STATED
    if isinstance(value, Requirement):
        return limits_words(value)
    if isinstance(value, Over):
        return over_words(value)
    if isinstance(value, PatchSet):
        return set_words(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return format_plain(value)
    if isinstance(value, tuple):
        return ", ".join(_value(part) for part in value)
    return str(value)


def _is_list(value: Any) -> bool:
    return isinstance(value, PatchSet) and value.kind == "list"


def _lists(old: PatchSet, new: PatchSet) -> tuple[str, str]:
    """Two lists with the names that are only in one, or have other codes there."""
    mine, theirs = dict(new.patches), dict(old.patches)
    gone = [name for name, codes in old.patches if mine.get(name) != codes]
    come = [name for name, codes in new.patches if theirs.get(name) != codes]
    was, now = set_words(old), set_words(new)
    was += f", {', '.join(gone)} among them" if gone else ""
    now += f", {', '.join(come)} among them" if come else ""
    return was, now


ORDER = (Kind.LOOSENED, Kind.WITHDRAWN, Kind.CHANGED, Kind.ADDED, Kind.TIGHTENED, Kind.REWORDED)
"""What a reviewer looks at first."""

INKS = {Kind.LOOSENED: "plum", Kind.WITHDRAWN: "plum", Kind.CHANGED: "ochre",
        Kind.ADDED: "teal", Kind.TIGHTENED: "teal", Kind.REWORDED: "grey"}  # fmt: skip
INDENT = 11
RAISE = "The text differs and the revision does not: raise the revision."


@click.command("diff")
@click.argument("old", metavar="OLD")
@click.argument("new", metavar="NEW")
@specs_option()
@format_option("text", "json", "markdown", help="markdown: a table for a pull request.")
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
        sides = [stack.enter_context(load_side(named, search)) for named in (old, new)]
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
            first, *more = hanging_indent(_title(row), INDENT, look, first=row.kind.value)
            yield first.replace(row.kind.value, look.ink(row.kind.value, INKS[row.kind]), 1)
            yield from more
            for key in describe_row(row):
                yield from hanging_indent(_key(key, row), INDENT, look)
            if row.stated:
                yield from hanging_indent(f"stated reason: {_stated(row.stated)}", INDENT, look)
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
        keys = describe_row(row)
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
                "details": [key._asdict() | {"kind": key.kind.value} for key in describe_row(row)],
                "stated": _stated(row.stated) or None,
            }
            for row in one.rows
        ],
    }


def _rule(rule: Rule | None) -> dict[str, Any] | None:
    if rule is None:
        return None
    return {"id": rule.id, "revision": rule.revision, "digest": rule.digest}
