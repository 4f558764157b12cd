"""Write the pages of docs/reference/ from the program, and commands' output into the others.

    .venv/bin/python scripts/make_pages.py             # --check only lists outdated pages

Run it when a command, a word, a schema, a rule, a quantity or the golden files change. Tests
compare (tests/docs).
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

from pages import assessment, commands, confusion, files, library, quantities, rules
from pages.follow import CHAINS, FollowError, follow, prepare

ROOT = Path(__file__).resolve().parent.parent

REFERENCE: Mapping[str, Callable[[], str]] = {
    "docs/reference/commands.md": commands.page,
    "docs/reference/confusions.md": confusion.page,
    "docs/reference/documents.md": assessment.page,
    "docs/reference/files.md": files.page,
    "docs/reference/library.md": library.page,
    "docs/reference/quantities.md": quantities.page,
    "docs/reference/rules.md": rules.page,
}
"""Pages that are generated completely."""


def pages() -> Iterator[tuple[str, str]]:
    """Every page by its path, up to date."""
    for name, page in REFERENCE.items():
        yield name, page()
    for chain in CHAINS:
        with tempfile.TemporaryDirectory() as place:
            prepare(Path(place))
            for name in chain:
                yield name, follow(ROOT / name, Path(place))


def main(arguments: Sequence[str]) -> int:
    """Write outdated pages, or list them with --check; 1 if a page is outdated or wrong."""
    check, behind = "--check" in arguments, False
    try:
        for name, text in pages():
            place = ROOT / name
            if place.exists() and place.read_text(encoding="utf-8") == text:
                continue
            behind = True
            print(f"{name} is outdated; run scripts/make_pages.py" if check else f"{name} written")
            if not check:
                place.write_text(text, encoding="utf-8", newline="\n")
    except FollowError as error:
        print(f"a command does not do what its page says: {error}", file=sys.stderr)
        return 1
    return int(check and behind)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
