"""Which commit a file belongs to, and whether it was changed since; asked of git, if there."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import NamedTuple

from compliance.rules.git import ask

__all__ = ["UNKNOWN", "Origin", "provenance"]


class Origin(NamedTuple):
    """Where version control has a file."""

    commit: str | None
    """The last commit that touched it; where that takes too long to find, HEAD."""
    dirty: bool | None
    """Whether it differs from what was committed last."""
    path: str | None
    """From the top of its repository, with slashes."""


UNKNOWN = Origin(None, None, None)


def provenance(path: Path, data: bytes) -> Origin:
    """Where version control has the file `path`, which holds `data`.

    `UNKNOWN` where it is not known to be under version control. Of a link, where it leads.
    """
    real = Path(os.path.realpath(path))
    folder, name = real.parent, real.name
    answer = _ask(folder, "rev-parse", "--show-prefix", f"HEAD:./{name}")
    if answer is None:
        return UNKNOWN
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
