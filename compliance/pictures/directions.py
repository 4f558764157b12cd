"""Texts that run from right to left, inside of lines that run from left to right.

Such a text of people is isolated (UAX 9, RLI or LRI, and PDI): what it contains is ordered by its
own direction, and what stands around it stays where it is. The marks are put in before a text is
broken into lines and are drawn nowhere.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from compliance.pictures.scripts import Piece, runs_right_to_left

RIGHT_TO_LEFT, LEFT_TO_RIGHT, END = "\u2067", "\u2066", "\u2069"
STARTS = RIGHT_TO_LEFT + LEFT_TO_RIGHT
MARKS = STARTS + END


@dataclass(frozen=True, slots=True)
class Segment:
    """A part of a line, whole isolates and what stands between them."""

    text: str
    base: str
    """`L` or `R`."""


def isolated(text: str, names: Iterable[str]) -> str:
    """Put marks around each of `names`, texts that contain letters from right to left.

    A longer name goes before a shorter one that it contains. Letters outside of all names are
    isolated by themselves.
    """
    if not runs_right_to_left(text) or any(mark in text for mark in MARKS):
        return text
    longest_first = sorted(filter(None, names), key=len, reverse=True)
    parts = re.split(f"({'|'.join(map(re.escape, longest_first))})", text) if names else [text]
    return "".join(_isolate(part) if runs_right_to_left(part) else part for part in parts)


def _isolate(text: str) -> str:
    start = RIGHT_TO_LEFT if base_direction(text) == "R" else LEFT_TO_RIGHT
    return f"{start}{text}{END}"


def without_marks(text: str) -> str:
    """Return a text without the marks of isolates."""
    return text.translate(dict.fromkeys(map(ord, MARKS)))


def base_direction(text: str) -> str:
    """Return the direction of the first letter that has one (UAX 9, P2 and P3): `L` or `R`."""
    for character in text:
        kind = unicodedata.bidirectional(character)
        if kind in ("L", "R", "AL"):
            return "L" if kind == "L" else "R"
    return "L"


def balanced(lines: Sequence[str]) -> list[str]:
    """Close isolates at the end of each line that they leave, and open them again on the next."""
    balanced_lines: list[str] = []
    opened = ""
    for line in lines:
        kept = opened
        for character in line:
            if character in STARTS:
                opened = character
            elif character == END:
                if not opened:
                    continue
                opened = ""
            kept += character
        balanced_lines.append(kept + END if opened else kept)
    return balanced_lines


def segments(text: str) -> Iterator[Segment]:
    """Cut a line at the marks of its isolates."""
    start, base = 0, "L"
    for place, character in enumerate(text):
        if character not in MARKS:
            continue
        if place > start:
            yield Segment(text[start:place], base)
        start = place + 1
        base = "R" if character == RIGHT_TO_LEFT else "L"
    if start < len(text):
        yield Segment(text[start:], base)


def visual_order(items: Sequence[Piece], base: str) -> list[tuple[Piece, str, int]]:
    """Order the pieces of a segment from left to right, each with the character that is drawn,
    another one for brackets that turn, and its place in the order of reading.

    Levels are those of python-bidi (UAX 9, W1 to I2), reordering is rule L2.
    """
    levels = _levels("".join(item.text[0] for item in items), base)
    shown = [
        (item, _mirrored(item.text) if level % 2 else item.text, place)
        for place, (item, level) in enumerate(zip(items, levels, strict=True))
    ]
    order = list(range(len(items)))
    for least in range(max(levels, default=0), 0, -1):
        order = _reversed_at(order, levels, least)
    return [shown[place] for place in order]


def _reversed_at(order: Sequence[int], levels: Sequence[int], least: int) -> list[int]:
    """Reverse each run of places whose level is at least `least`."""
    turned: list[int] = []
    run: list[int] = []
    for place in order:
        if levels[place] >= least:
            run.append(place)
        else:
            turned += [*reversed(run), place]
            run = []
    return [*turned, *reversed(run)]


def _levels(text: str, base: str) -> list[int]:
    from bidi import algorithm

    storage: dict[str, Any] = algorithm.get_empty_storage()
    storage["base_level"] = int(base == "R")
    storage["base_dir"] = base
    algorithm.get_embedding_levels(text, storage)
    algorithm.explicit_embed_and_overrides(storage)
    algorithm.resolve_weak_types(storage)
    algorithm.resolve_neutral_types(storage, False)
    algorithm.resolve_implicit_levels(storage, False)
    found = iter(each["level"] for each in storage["chars"])
    levels: list[int] = []
    for character in text:
        # The library leaves out what has no place in the order: it stays with the one before it.
        gone = unicodedata.bidirectional(character) in algorithm.X9_REMOVED
        before = levels[-1] if levels else storage["base_level"]
        levels.append(before if gone else next(found))
    return levels


def _mirrored(character: str) -> str:
    from bidi.mirror import MIRRORED

    return str(MIRRORED.get(character, character))
