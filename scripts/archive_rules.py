"""Copy shipped rules that are not yet in the archive into it, each with its patch lists.

Run it before a release: what is archived stays as it is, byte for byte, and house rules that extend
it keep their limits when the shipped rule's revision is raised.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from compliance.rules.library import ARCHIVE, load_rule, shipped_folder, shipped_rules


def archive(name: str) -> Path | None:
    """Copy a shipped rule's files into the archive; None if this revision is there."""
    rule, specs = load_rule(name), shipped_folder()
    folder = specs / ARCHIVE / f"{rule.id}@{rule.revision}"
    if folder.exists():
        return None
    for file in rule.files:
        copy = folder / file.path
        copy.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(specs / file.path, copy)
    return folder


def main() -> None:
    """Archive every shipped rule at its present revision, and print the new folders."""
    for name in shipped_rules():
        folder = archive(name)
        if folder is not None:
            print(folder)


if __name__ == "__main__":
    main()
