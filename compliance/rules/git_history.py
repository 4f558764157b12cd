"""Rule files in git: which commit a file belongs to, and its text at a revision.

No hook, no file-system monitor, no filter, no signature check, no pager and no transport. The
environment of a surrounding git call (a hook runs with the repository of its own call) does not
redirect these queries. Any failure means that nothing is known.

Blobs are copied byte for byte into a temporary folder: no filter, hook or attribute of the
repository takes part; links, and names that would leave the folder, are left out.
"""

from __future__ import annotations

import hashlib
import os
import posixpath
import re
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from compliance.errors import Problem, RuleError
from compliance.yaml_nodes.messages import quoted
from compliance.yaml_nodes.read_file import DOCUMENT_LIMIT

TIME_LIMIT = 5.0
"""s per query"""

INHERITED = (
    "GIT_DIR", "GIT_WORK_TREE", "GIT_INDEX_FILE", "GIT_PREFIX", "GIT_OBJECT_DIRECTORY",
    "GIT_ALTERNATE_OBJECT_DIRECTORIES", "GIT_COMMON_DIR", "GIT_NAMESPACE",
)  # fmt: skip
"""Environment variables that would select another repository than the folder's."""

STATED = {
    "GIT_OPTIONAL_LOCKS": "0", "GIT_NO_LAZY_FETCH": "1", "GIT_NO_REPLACE_OBJECTS": "1",
    "GIT_TERMINAL_PROMPT": "0", "GIT_PAGER": "cat", "LC_ALL": "C",
}  # fmt: skip

SAFELY = (
    "--no-pager",
    "--no-optional-locks",
    "--literal-pathspecs",
    "-c", f"core.hooksPath={os.devnull}",
    "-c", "core.fsmonitor=false",
    "-c", "protocol.allow=never",
)  # fmt: skip


def ask(folder: Path, *question: str, given: bytes = b"", patience: float = 1) -> bytes | None:
    """Return git's output in `folder`; None if git fails, takes too long or is not installed.

    `given` is its standard input; `patience` multiplies the time limit.
    """
    inherited = {name: value for name, value in os.environ.items() if name not in INHERITED}
    try:
        done = subprocess.run(
            ["git", "-C", str(folder), *SAFELY, *question],
            env={**inherited, **STATED},
            input=given,
            capture_output=True,
            timeout=TIME_LIMIT * patience,
            check=False,
        )
    except (OSError, ValueError, subprocess.SubprocessError):
        return None
    return done.stdout if done.returncode == 0 else None


class Origin(NamedTuple):
    """Where version control has a file."""

    commit: str | None
    """The last commit that touched it; HEAD if that takes too long to find."""
    dirty: bool | None
    """Whether it differs from its last committed content."""
    path: str | None
    """From the top of its repository, with slashes."""


UNKNOWN = Origin(None, None, None)


def provenance(path: Path, data: bytes) -> Origin:
    """Find the file `path`, which holds `data`, in version control.

    `UNKNOWN` if it is not known to be under version control. A link is followed.
    """
    real = Path(os.path.realpath(path))
    head = _head(real.parent)
    try:
        return _origin(real, data) if head is None else _settled_origin(real, data, head)
    except UnknownError:
        return UNKNOWN


class UnknownError(LookupError):
    """git knows nothing of a file, or could not be asked: not to be kept."""


@lru_cache(maxsize=1024)
def _settled_origin(real: Path, data: bytes, _commit: str) -> Origin:
    """An origin by all that settles it: the file, its content, and the commit checked out."""
    return _origin(real, data)


def _head(folder: Path) -> str | None:
    """Read the commit checked out above `folder` without git; None if that is not so simple.

    Simple is a branch with a file of its own, as each has since its last commit, or a commit
    checked out by itself (gitrepository-layout).
    """
    for above in (folder, *folder.parents):
        repository = above / ".git"
        if repository.exists():
            break
    else:
        return None
    try:
        head = (repository / "HEAD").read_text(encoding="ascii").strip()
        name = head.removeprefix("ref: ")
        commit = (repository / name).read_text(encoding="ascii").strip() if name != head else head
    except (OSError, UnicodeDecodeError):
        return None
    return commit if re.fullmatch("[0-9a-f]{40}|[0-9a-f]{64}", commit) else None


def _origin(real: Path, data: bytes) -> Origin:
    folder, name = real.parent, real.name
    answer = _ask(folder, "rev-parse", "--show-prefix", f"HEAD:./{name}")
    if answer is None:
        raise UnknownError(name)
    above, _, blob = answer.rpartition("\n")
    touched = ("rev-list", "-1", "HEAD", "--", name)
    commit = _ask(folder, *touched) or _ask(folder, "rev-parse", "HEAD")
    return Origin(commit, _blob(data, len(blob)) != blob, above.strip() + name)


def _blob(data: bytes, digits: int) -> str:
    """git's name for a file's content, in repositories of either kind of hash."""
    kind = "sha256" if digits == 64 else "sha1"
    known = hashlib.new(kind, usedforsecurity=False)
    known.update(b"blob %d\0" % len(data))
    known.update(data)
    return known.hexdigest()


def _ask(folder: Path, *question: str) -> str | None:
    answer = ask(folder, *question)
    return (answer.decode("utf-8", "replace").strip() or None) if answer is not None else None


MOST_FILES = 4000
MOST_BYTES = 64 << 20
MOST_COMMITS = 500
PATIENCE = 6
"""Factor on the time limit for queries about a whole tree."""
SUFFIXES = (".yaml", ".yml")
REGULAR = (b"100644", b"100755")
NAME = re.compile(r"[^\s:~^?*\[\\-][^\s:?*\[\\]{0,199}")
"""A revision's name: `main`, `HEAD~2`, `v1.0^`, a commit's digits."""


@dataclass(frozen=True, slots=True)
class Revision:
    """`REV:PATH`, split."""

    name: str
    path: str
    """From the top of the repository, or from the current folder if it begins with `./`."""


def is_revision(named: str) -> Revision | None:
    """Split `REV:PATH`; None if `named` is something else, such as an existing file."""
    name, colon, path = named.partition(":")
    if not colon or os.path.exists(named) or Path(named).drive or not NAME.fullmatch(name):
        return None
    return Revision(name, path)


@dataclass(frozen=True, slots=True)
class Copy:
    """The rule files of a repository at a revision."""

    place: Path
    """The requested file or folder."""
    root: Path
    top: Path
    """The folder that `root` is a copy of."""

    def counterpart(self, folder: Path) -> Path | None:
        """The same folder in the copy; None if it did not exist, `folder` if outside."""
        inside = os.path.relpath(os.path.realpath(folder), self.top)
        if inside.split(os.sep)[0] == os.pardir:
            return folder
        return self.root / inside if (self.root / inside).is_dir() else None


@contextmanager
def checked_out(wanted: Revision, folder: Path) -> Iterator[Copy]:
    """Copy the repository's rule files at a revision; the copy exists within the context.

    `folder` is in the repository. RuleErrors raised within name files as `REV:path`.
    """
    commit = _commit(wanted, folder)
    above = ask(folder, "rev-parse", "--show-cdup") or b""
    top = Path(os.path.realpath(folder / os.fsdecode(above).strip()))
    path = _from_top(wanted, folder)
    blobs = _chosen(_blobs(commit, folder), path, wanted)
    with tempfile.TemporaryDirectory(prefix="compliance-") as place:
        root = Path(place) / "tree"
        (root / ".git").mkdir(parents=True)  # where a walk upwards ends
        try:
            _write(root, blobs, folder)
            yield Copy(root / path, root, top)
        except RuleError as error:
            raise RuleError(
                [_renamed(problem, root, wanted) for problem in error.problems]
            ) from None


def _renamed(problem: Problem, root: Path, wanted: Revision) -> Problem:
    def renamed(text: str) -> str:
        return text.replace(f"{root}{os.sep}", f"{wanted.name}:").replace(
            str(root), f"{wanted.name}:"
        )

    return replace(problem, file=renamed(problem.file), message=renamed(problem.message))


def _fault(wanted: Revision, message: str) -> RuleError:
    return RuleError(Problem(f"{wanted.name}:{wanted.path}", message))


def _commit(wanted: Revision, folder: Path) -> str:
    answer = ask(folder, "rev-parse", "--verify", "--quiet", f"{wanted.name}^{{commit}}")
    if answer is None:
        inside = ask(folder, "rev-parse", "--git-dir") is not None
        why = f"unknown git revision {quoted(wanted.name)}"
        why = why if inside else "is a path in git, but this folder is not in a readable repository"
        raise _fault(wanted, why)
    return answer.decode("ascii", "replace").strip()


def _from_top(wanted: Revision, folder: Path) -> str:
    path = wanted.path
    if path.startswith(("./", "../")) or path in (".", ".."):
        above = ask(folder, "rev-parse", "--show-prefix") or b""
        path = posixpath.join(os.fsdecode(above).strip(), path)
    path = posixpath.normpath(path) if path else "."
    if path.startswith(("/", "..")):
        raise _fault(wanted, "is outside the repository; expected a path from its top, or from ./")
    return path


@dataclass(frozen=True, slots=True)
class _Blob:
    path: str
    name: str
    """git's name for the content."""
    size: int


def _blobs(commit: str, folder: Path) -> list[_Blob]:
    """The rule files, patch lists and repository files of a commit."""
    listing = ask(folder, "ls-tree", "-r", "-z", "-l", "--full-tree", commit, patience=PATIENCE)
    blobs = []
    for entry in (listing or b"").split(b"\0"):
        head, _, raw = entry.partition(b"\t")
        parts = head.split()
        path = os.fsdecode(raw)
        if len(parts) != 4 or parts[0] not in REGULAR or not path.endswith(SUFFIXES):
            continue
        if not all(part not in ("", ".", "..", ".git") for part in path.split("/")):
            continue
        size = int(parts[3]) if parts[3].isdigit() else DOCUMENT_LIMIT + 1
        if size <= DOCUMENT_LIMIT:
            blobs.append(_Blob(path, parts[2].decode("ascii", "replace"), size))
    return blobs


def _chosen(blobs: list[_Blob], path: str, wanted: Revision) -> list[_Blob]:
    """All blobs, or in a large repository those around the path."""
    within = path == "." or any(b.path == path or b.path.startswith(f"{path}/") for b in blobs)
    if not within:
        raise _fault(wanted, f"no such rule file or folder in {wanted.name}")
    around = posixpath.dirname(path) if path.endswith(SUFFIXES) else path
    for chosen in (blobs, [b for b in blobs if b.path.startswith(f"{around}/")]):
        few = len(chosen) <= MOST_FILES and sum(blob.size for blob in chosen) <= MOST_BYTES
        if chosen and few:
            return chosen
    raise _fault(wanted, f"has more than {MOST_FILES:,} YAML files around it, the most it may have")


def _write(root: Path, blobs: list[_Blob], folder: Path) -> None:
    names = "".join(f"{blob.name}\n" for blob in blobs).encode()
    data = ask(folder, "cat-file", "--batch", given=names, patience=PATIENCE) or b""
    place = 0
    for blob in blobs:
        end = data.find(b"\n", place)
        if end < 0 or data[place:end].split()[1:] != [b"blob", str(blob.size).encode()]:
            raise RuleError(Problem(str(root / blob.path), "git did not return its content"))
        path = root / blob.path
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data[end + 1 : end + 1 + blob.size])
        except (OSError, ValueError):
            raise RuleError(Problem(str(path), "has a name that cannot be written here")) from None
        place = end + 1 + blob.size + 1


def commits_of(path: Path) -> list[str]:
    """The commits that touched a file, the newest first; empty if none is known."""
    answer = ask(path.parent, "rev-list", "-n", str(MOST_COMMITS), "HEAD", "--", path.name)
    return (answer or b"").decode("ascii", "replace").split()


def text_at(commit: str, path: Path) -> bytes | None:
    """A file's content at a commit; None if unknown or too large for a rule file."""
    named = f"{commit}:./{path.name}"
    size = ask(path.parent, "cat-file", "-s", named)
    if size is None or not size.strip().isdigit() or int(size) > DOCUMENT_LIMIT:
        return None
    return ask(path.parent, "cat-file", "blob", named)
