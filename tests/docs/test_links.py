"""Links in the project's pages lead somewhere: files exist, and so do headings in them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from urllib.parse import unquote

import pytest

ROOT = Path(__file__).resolve().parents[2]
PAGES = sorted(
    file
    for place in (ROOT, ROOT / "demo", ROOT / "docs", ROOT / "specs")
    for file in (place.glob("*.md") if place == ROOT else place.rglob("*.md"))
    if "out" not in file.parts
)
FENCED = re.compile(r"^```.*?^```$", re.M | re.S)
LINK = re.compile(r"""!?\[[^\]]*\]\(([^)\s]+)\)|<img src="([^"]+)\"""")
PICTURES = 200_000
"""Bytes that a picture may have."""


def prose(page: Path) -> str:
    """A page without what is shown as it is."""
    text = FENCED.sub("", page.read_text(encoding="utf-8"))
    return re.sub(r"`[^`\n]*`", lambda match: match.group().replace("[", " "), text)


@cache
def anchors(page: Path) -> frozenset[str]:
    """The anchors of a page's headings, as they are usually made from them."""

    def made() -> Iterator[str]:
        seen: dict[str, int] = {}
        for heading in re.findall(r"^#+ (.+)$", FENCED.sub("", page.read_text("utf-8")), re.M):
            anchor = re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")
            count = seen.get(anchor, 0)
            seen[anchor] = count + 1
            yield f"{anchor}-{count}" if count else anchor

    return frozenset(made())


def links(page: Path) -> Iterator[str]:
    """Targets of a page's links that stay in the project."""
    for target in map("".join, LINK.findall(prose(page))):
        if not re.match(r"[a-z]+:", target):
            yield target


def test_there_are_pages_and_links() -> None:
    assert len(PAGES) > 15
    assert sum(len(list(links(page))) for page in PAGES) > 100


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_links_lead_somewhere(page: Path) -> None:
    broken = []
    for target in links(page):
        name, _, anchor = unquote(target).partition("#")
        place = (page.parent / name).resolve() if name else page
        if not place.is_relative_to(ROOT) or not place.exists():
            broken.append(f"{target}: no such file")
        elif anchor and anchor not in anchors(place):
            broken.append(f"{target}: no such heading")
    assert not broken


def test_every_page_can_be_reached_from_readme() -> None:
    reached, waiting = set(), [ROOT / "README.md"]
    while waiting:
        page = waiting.pop()
        if page in reached:
            continue
        reached.add(page)
        for target in links(page):
            place = (page.parent / target.partition("#")[0]).resolve()
            if place.suffix == ".md":
                waiting.append(place)
    assert set((ROOT / "docs").rglob("*.md")) <= reached


def test_pictures_are_small() -> None:
    pictures = list((ROOT / "docs" / "pictures").iterdir())
    assert pictures
    for picture in pictures:
        data = picture.read_bytes()
        assert data.startswith(b"\x89PNG\r\n\x1a\n")
        assert len(data) < PICTURES, picture.name
