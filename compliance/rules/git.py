"""Questions to git that run nothing from a repository: plumbing, within a time limit.

No hook, no file-system monitor, no filter, no signature check, no pager and no transport. What a
surrounding git call has put into the environment (a hook runs with the repository of its own
call) does not point these questions elsewhere. Any trouble means that nothing is known.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

__all__ = ["ask"]

TIME_LIMIT = 5.0
"""s per question"""

INHERITED = (
    "GIT_DIR", "GIT_WORK_TREE", "GIT_INDEX_FILE", "GIT_PREFIX", "GIT_OBJECT_DIRECTORY",
    "GIT_ALTERNATE_OBJECT_DIRECTORIES", "GIT_COMMON_DIR", "GIT_NAMESPACE",
)  # fmt: skip
"""Of the environment: what would name another repository than the folder's."""

STATED = (
    "GIT_OPTIONAL_LOCKS=0", "GIT_NO_LAZY_FETCH=1", "GIT_NO_REPLACE_OBJECTS=1",
    "GIT_TERMINAL_PROMPT=0", "GIT_PAGER=cat", "LC_ALL=C",
)  # fmt: skip

SAFELY = (
    "--no-pager",
    "--no-optional-locks",
    "--literal-pathspecs",
    "-c", "core.hooksPath=/dev/null",
    "-c", "core.fsmonitor=false",
    "-c", "protocol.allow=never",
)  # fmt: skip


def ask(folder: Path, *question: str, told: bytes = b"", patience: float = 1) -> bytes | None:
    """What git answers in `folder`; None where it fails, takes too long or is not there.

    `told` goes to its standard input; `patience` multiplies the time limit.
    """
    without = [part for name in INHERITED for part in ("-u", name)]
    try:
        done = subprocess.run(
            ["env", *without, *STATED, "git", "-C", str(folder), *SAFELY, *question],
            input=told,
            capture_output=True,
            timeout=TIME_LIMIT * patience,
            check=False,
        )
    except (OSError, ValueError, subprocess.SubprocessError):
        return None
    return done.stdout if done.returncode == 0 else None
