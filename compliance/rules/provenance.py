"""Which commit a file belongs to, and whether it was changed since; asked of git, if there.

Only plumbing that runs no hook, no file-system monitor, no filter, no signature check and
no transport; a time limit; any trouble means that nothing is known.
"""

from __future__ import annotations

import hashlib
import subprocess
from pathlib import Path

__all__ = ["provenance"]

TIME_LIMIT = 5.0
"""s per question"""

SAFELY = (
    "--no-pager",
    "--no-optional-locks",
    "--literal-pathspecs",
    "-c", "core.hooksPath=/dev/null",
    "-c", "core.fsmonitor=false",
    "-c", "protocol.allow=never",
)  # fmt: skip


def provenance(path: Path, data: bytes) -> tuple[str | None, bool | None]:
    """The last commit that touched `path`, and whether `data` differs from HEAD's.

    (None, None) where the file is not known to be under version control.
    """
    folder, name = path.parent, path.name
    blob = _ask(folder, "rev-parse", "--verify", "--quiet", f"HEAD:./{name}")
    if blob is None:
        return None, None
    commit = _ask(folder, "rev-list", "-1", "HEAD", "--", name)
    return commit, _blob(data, len(blob)) != blob


def _blob(data: bytes, digits: int) -> str:
    """git's name for a file's content, in repositories of either kind of hash."""
    kind = "sha256" if digits == 64 else "sha1"
    known = hashlib.new(kind, usedforsecurity=False)
    known.update(b"blob %d\0" % len(data))
    known.update(data)
    return known.hexdigest()


def _ask(folder: Path, *question: str) -> str | None:
    try:
        done = subprocess.run(
            ["git", "-C", str(folder), *SAFELY, *question],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=TIME_LIMIT,
            check=False,
        )
    except (OSError, ValueError, subprocess.SubprocessError):
        return None
    answer = done.stdout.decode("utf-8", "replace").strip()
    return answer or None if done.returncode == 0 else None
