"""Find rules: by path, or by id on the search path that ends with the shipped ones.

Earlier revisions of shipped rules are in the archive, `archive/ID@REVISION/` in their folder, each
with its patch lists. They are found by `ID@REVISION` only. A rule that has another id now is only
in the archive; `archive/renamed.yaml` names the rules that replaced it.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from compliance.errors import Problem, RuleError
from compliance.model import Archived, Rule, RuleFile
from compliance.rules.load import (
    FILE,
    PIN,
    RuleSource,
    build_rule,
    check_changes,
    check_complete,
    from_resolved,
    inherit,
    pinned,
    read_nodes_of,
    read_rule,
)
from compliance.yaml_nodes.messages import did_you_mean, quoted
from compliance.yaml_nodes.nodes import Location, SourceLocations
from compliance.yaml_nodes.read_file import (
    read_bytes,
    read_data,
    read_nodes,
    read_yaml,
    resolve_inside,
)

NAME = ".compliance.yaml"
MOST_LEVELS = 32
"""Folders that are searched on the way up."""
LIMIT = 1 << 16
"""Bytes."""


def repository_folders(start: Path) -> tuple[Path, ...]:
    """The folders of rule files that the repository around the folder `start` names.

    Empty if there is no such file. Raises RuleError with every problem of it.
    """
    file = repository_file(start)
    return read_repository(file) if file is not None else ()


def repository_file(start: Path) -> Path | None:
    """The `.compliance.yaml` nearest above the folder `start`, its own included.

    The walk ends at a repository's root (a folder with `.git` in it), at the root of the file
    system, or after 32 folders.
    """
    for folder in _upwards(start):
        if os.path.lexists(folder / NAME):
            return _shown(folder, start) / NAME
        if os.path.lexists(folder / ".git"):
            return None
    return None


def _upwards(start: Path) -> Iterator[Path]:
    folder = Path(os.path.abspath(start))
    yield from (folder, *folder.parents)[:MOST_LEVELS]


def _shown(folder: Path, start: Path) -> Path:
    """The folder as messages name it: relative if `start` is."""
    return folder if start.is_absolute() else Path(os.path.relpath(folder))


def read_repository(file: Path) -> tuple[Path, ...]:
    """The folders that a `.compliance.yaml` names. Raises RuleError with every problem."""
    shown = str(file)
    node = read_yaml(read_bytes(file, RuleError, "repository", limit=LIMIT), shown, RuleError)
    data = read_nodes(node, shown, "repository", RuleError)
    places = SourceLocations([(shown, node)])
    folders = []
    for number, named in enumerate(data["specs"]):
        here = places.at("specs", number)
        if resolve_inside(file.parent, named) is None:
            here.problem(f"{quoted(named)} is outside the repository; expected a folder in it")
        elif not os.path.isdir(file.parent / named):
            here.problem(f"{quoted(named)}: no such folder of rule files")
        folders.append(file.parent / named)
    places.raise_if_any()
    return tuple(folders)


MOST_PARENTS = 8
ARCHIVE = "archive"
"""Folder of archived revisions, in that of the shipped rules."""
RENAMED = "renamed.yaml"
"""Table in the archive: ids that are no longer shipped, each with the one or several instead."""
PACKAGE = Path(__file__).resolve().parent.parent


def shipped_folder() -> Path:
    """The shipped rule files: inside an installed package, beside it in a checkout."""
    installed = PACKAGE / "specs"
    return installed if installed.is_dir() else PACKAGE.parent / "specs"


def shipped_rules() -> list[str]:
    """Ids of the shipped rules, in alphabetical order."""
    return _ids(shipped_folder())


def load_rule(id_or_path: str | Path, *, search: Sequence[Path] = ()) -> Rule:
    """A rule by its id, or from the path of its file, with its parents and lists.

    An id is searched in the folders of `search` and among the shipped rules; two files with it
    are an error. `ID@REVISION` asks for that revision, of a shipped rule also from the archive.
    A path is anything with a folder in it or ending in `.yaml`; its own folder,
    and those that a `.compliance.yaml` above it names, are searched for parents too. Raises
    RuleError with every problem of a file.
    """
    return load_rule_with_locations(id_or_path, search=search)[0]


def load_rule_with_locations(
    id_or_path: str | Path, *, search: Sequence[Path] = (), shipped: Path | None = None
) -> tuple[Rule, SourceLocations]:
    """A rule as `load_rule` returns it, and the file and line of each of its keys.

    `shipped` replaces the folder of the shipped rules.
    """
    named, last = str(id_or_path), shipped or shipped_folder()
    if not is_path(named):
        folders = _Folders(search, last)
        pin = PIN.fullmatch(named)
        if pin:
            return _load_revision((pin[1], int(pin[2])), folders, ())
        return _load(folders.find(named), folders, ())
    source, own, searched = _around(named, search, last)
    folders = _Folders([*own, *searched], last)
    if not os.path.lexists(named) and folders.all(source.path.stem):
        message = f"no such rule file; did you mean the id {quoted(source.path.stem)}?"
        raise RuleError(Problem(named, message))
    rule, places = _load(source, folders, ())
    _refuse_shadowing(rule, source, _Folders(searched, last))
    return rule, places


def load_unchecked_id(
    path: Path, *, search: Sequence[Path] = (), shipped: Path | None = None
) -> Rule:
    """Load a rule file that may be a copy of one on the search path, to compare it.

    A duplicate id is allowed, and of two parents with one id that of the nearest folder is
    taken: its own, then its repository's.
    """
    last = shipped or shipped_folder()
    source, own, searched = _around(str(path), search, last)
    return _load(source, _Folders([*own, *searched], last, nearest=True), ())[0]


def _around(
    named: str, search: Sequence[Path], shipped: Path
) -> tuple[RuleSource, list[Path], list[Path]]:
    """A rule's file, its own folder, and those that its repository and the caller name."""
    around = Path(named).parent
    own = [around] if os.path.isdir(around) else []
    is_shipped = bool(own) and os.path.realpath(around) == os.path.realpath(shipped)
    recorded = Path(named).name if is_shipped else named
    source = RuleSource(Path(named), named, recorded, shipped=is_shipped)
    return source, own, [*repository_folders(around), *search]


def is_path(named: str) -> bool:
    """Return whether `named` is a rule's file, not its id."""
    return named.endswith((".yaml", ".yml")) or len(Path(named).parts) != 1


def find_rule(name: str, *, search: Sequence[Path] = ()) -> Path:
    """The file of an id on the search path. Raises RuleError."""
    return _Folders(search, shipped_folder()).find(name).path


def known_revisions(name: str, *, search: Sequence[Path] = ()) -> list[int]:
    """The revisions of an id that `load_rule` finds, ascending. Raises RuleError."""
    folders = _Folders(search, shipped_folder())
    if folders.replaced_by(name):
        return sorted(folders.revisions(name))
    source = folders.find(name)
    return sorted({*folders.archived(source), _load(source, folders, ())[0].revision})


def known_rules(search: Sequence[Path] = ()) -> list[tuple[str, bool]]:
    """Ids on the search path, each once, alphabetical within a folder; whether they are shipped.

    Raises RuleError if a folder of `search` does not exist.
    """
    return _Folders(search, shipped_folder()).ids()


def rule_from_resolved(
    data: Mapping[str, Any], files: Sequence[RuleFile] = (), archived: Archived | None = None
) -> Rule:
    """Rebuild the rule from `Rule.resolved` after a round trip through JSON; equal, same digest.

    `files` are those that the rule was made of; `archived` is as in the rule. Raises RuleError.
    """
    node, typed = read_data(from_resolved(data), FILE, "rule", RuleError, start="#/$defs/resolved")
    return replace(build_rule(typed, files, SourceLocations([(FILE, node)])), archived=archived)


class _Folders:
    """The search path: folders of rule files, each once, the shipped ones last."""

    def __init__(self, folders: Sequence[Path], shipped: Path, *, nearest: bool = False) -> None:
        self._shipped = shipped
        self._nearest = nearest
        known: dict[str, Path] = {}
        for folder in (*folders, self._shipped):
            if not os.path.isdir(folder):
                raise RuleError(Problem(str(folder), "no such folder of rule files"))
            known.setdefault(os.path.realpath(folder), folder)
        self._folders = known

    def ids(self) -> list[tuple[str, bool]]:
        """Each id once, and whether its file is a shipped one."""
        shipped = os.path.realpath(self._shipped)
        shipped_by_id: dict[str, bool] = {}
        for real, folder in self._folders.items():
            for name in _ids(folder):
                shipped_by_id.setdefault(name, real == shipped)
        return list(shipped_by_id.items())

    def all(self, name: str) -> list[RuleSource]:
        """Every file of an id."""
        sources = {
            os.path.realpath(folder / f"{name}.yaml"): self._source(real, folder, name)
            for real, folder in self._folders.items()
            if os.path.isfile(folder / f"{name}.yaml")
        }
        return list(sources.values())

    def find(self, name: str, asked: Location | None = None) -> RuleSource:
        """The one file of an id; `asked` is the place that names it, for the message."""
        sources = self.all(name)
        if len(sources) == 1 or (sources and self._nearest):
            return sources[0]
        if sources:
            places = " and ".join(source.shown for source in sources)
            message = f"is on the search path twice: {places}; expected one file per id"
        else:
            file = Path(f"{name}.yaml")
            here = asked is None and os.path.isfile(file)
            near = f"did you mean {file}?" if here else self._instead(name)
            message = f"no such rule on the search path; {near}"
        if asked is not None:
            raise asked.error(f"{quoted(name)}: {message}")
        raise RuleError(Problem(quoted(name)[1:-1] or "a rule", message))

    def _instead(self, name: str) -> str:
        """What to name instead of an id without a file: what replaced it, else what is similar."""
        by = self.replaced_by(name)
        if not by:
            return did_you_mean(name, dict(self.ids()))
        pins = [f"{name}@{revision}" for revision in sorted(self.revisions(name))]
        archived = f", or {' or '.join(pins)} for its archived limits" if pins else ""
        return f"it was replaced by {' and '.join(by)}; name {' or '.join(by)}{archived}"

    def replaced_by(self, name: str) -> tuple[str, ...]:
        """The shipped rules that replaced one; empty for an id that has a file."""
        return () if self.all(name) else read_renamed(self._shipped / ARCHIVE).get(name, ())

    def archived(self, source: RuleSource) -> dict[int, RuleSource]:
        """The archived files of a rule, by revision; empty unless `source` is a shipped file."""
        return self.revisions(source.path.stem) if source.shipped else {}

    def revisions(self, name: str) -> dict[int, RuleSource]:
        """The files of an id in the archive, by revision."""
        sources = {}
        for folder in (self._shipped / ARCHIVE).glob(f"{name}@*"):
            pin = PIN.fullmatch(folder.name)
            if pin:
                inside = f"{ARCHIVE}/{folder.name}/{name}.yaml"
                path, shown = self._shipped / inside, f"{self._shipped.name}/{inside}"
                sources[int(pin[2])] = RuleSource(path, shown, inside, shipped=True)
        return sources

    def _source(self, real: str, folder: Path, name: str) -> RuleSource:
        path = folder / f"{name}.yaml"
        if real == os.path.realpath(self._shipped):
            return RuleSource(path, f"{self._shipped.name}/{path.name}", path.name, shipped=True)
        return RuleSource(path, str(path), str(path))


def read_renamed(archive: Path) -> dict[str, tuple[str, ...]]:
    """The table of ids that are no longer shipped; empty without one. Raises RuleError."""
    file = archive / RENAMED
    if not file.is_file():
        return {}
    node = read_yaml(read_bytes(file, RuleError, "table", limit=LIMIT), str(file), RuleError)
    return {
        old: tuple(item.text for item in new.items) if new.kind == "list" else (new.text,)
        for old, new in node.entries.items()
    }


def _ids(folder: Path) -> list[str]:
    return sorted(path.stem for path in folder.glob("*.yaml") if not path.name.startswith("."))


def _refuse_shadowing(rule: Rule, source: RuleSource, folders: _Folders) -> None:
    """Refuse a file, given by its path, with the id of another file on the search path."""
    for other in folders.all(rule.id):
        if os.path.realpath(other.path) == os.path.realpath(source.path):
            continue
        if read_bytes(other.path, RuleError, "rule") == read_bytes(source.path, RuleError, "rule"):
            continue
        message = (
            f"the id {quoted(rule.id)} already belongs to {other.shown}; give this rule another "
            f"id and file name (and extends: {rule.id}@… if it departs from that one)"
        )
        raise RuleError(Problem(source.shown, message, field="rule"))


def _load(
    source: RuleSource, folders: _Folders, chain: tuple[str, ...]
) -> tuple[Rule, SourceLocations]:
    """Load a rule and the places of its keys, parents first."""
    data, node = read_nodes_of(source)
    pin = pinned(node)
    parent: tuple[Rule, SourceLocations] | None = None
    fault: RuleError | None = None
    if pin:
        asked = SourceLocations([(source.shown, node)]).at("extends")
        try:
            parent = _load_revision(pin, folders, (*chain, source.path.stem), asked)
        except RuleError as error:
            fault = error
    inherited = from_resolved(parent[0].resolved) if parent else None
    text = read_rule(source, data, node, inherited)
    if fault:
        raise fault
    places = SourceLocations([(text.file, node), *(parent[1].files if parent else ())])
    resolved = inherit(text.data, inherited, places)
    places.raise_if_any()
    if parent:
        check_complete(resolved, places)
    rule = build_rule(resolved, (*text.files, *(parent[0].files if parent else ())), places)
    if parent and inherited is not None:
        check_changes(rule, parent[0], text.data, inherited, places)
        places.raise_if_any()
        rule = replace(rule, archived=parent[0].archived)
    return rule, places


def _load_revision(
    pin: tuple[str, int],
    folders: _Folders,
    chain: tuple[str, ...],
    asked: Location | None = None,
) -> tuple[Rule, SourceLocations]:
    """Load an id at a revision, of a shipped rule also from the archive.

    `chain` are the ids that ask for it, `asked` the place that does, for the message.
    """
    name, revision = pin
    if asked is not None and (name in chain or len(chain) > MOST_PARENTS):
        way = " → ".join((*chain, name))
        what = "circular parents" if name in chain else "too many parents"
        raise asked.error(f"{what}: {way}")
    replaced_by = folders.replaced_by(name)
    if replaced_by and revision in (replaced := folders.revisions(name)):
        old, places = _load(replaced[revision], folders, chain)
        newest = f"{name}@{max(replaced)}"
        return replace(old, archived=Archived(f"{name}@{revision}", newest, replaced_by)), places
    source = folders.find(name, asked)
    rule, places = _load(source, folders, chain)
    if rule.revision == revision:
        return rule, places
    archive, newest = folders.archived(source), f"{name}@{rule.revision}"
    if revision in archive:
        old, places = _load(archive[revision], folders, chain)
        return replace(old, archived=Archived(f"{name}@{revision}", newest)), places
    known = sorted({*archive, rule.revision})
    message = _unknown_revision(pin, known, newest, shipped=source.shipped)
    if asked is None:
        raise RuleError(Problem(f"{name}@{revision}", message))
    raise asked.error(f"'{name}@{revision}': {message}")


def _unknown_revision(
    pin: tuple[str, int], known: Iterable[int], newest: str, *, shipped: bool
) -> str:
    name, revision = pin
    named = " and ".join(f"{name}@{number}" for number in known)
    if shipped:
        return f"no such revision; expected one of the known ones: {named}"
    return (
        f"the search path has {named}; see what changed with: compliance rules diff "
        f"{name}@{revision} {newest}; then name {newest}"
    )
