"""The two sides of a comparison: files, folders, ids, `ID@REVISION`, `REV:PATH`."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from compliance.errors import UsageError
from compliance.model import Rule
from compliance.rules import load_rule
from compliance.rules.library import find_rule, is_path, other_version, shipped_folder
from compliance.rules.read import PIN
from compliance.rules.revisions import Copy, Revision, checked_out, commits_of, is_revision, text_at

__all__ = ["Side", "side"]

Side = Rule | dict[str, Rule]
"""One rule, or those of a folder by id."""


@contextmanager
def side(named: str, search: Sequence[Path]) -> Iterator[Side]:
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
        return other_version(place, search=search, shipped=shipped)
    files = [file for file in sorted(place.glob("*.yaml")) if not file.name.startswith(".")]
    found = [other_version(file, search=search, shipped=shipped) for file in files]
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
                return other_version(copy.place, search=found, shipped=shipped)
    raise UsageError(
        f"{named}: {file} is at revision {rule.revision}, and no commit known here holds revision "
        f"{wanted}; name the other file itself, or REV:PATH in the repository that has it"
    )
