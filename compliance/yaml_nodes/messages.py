"""Show a file's values in messages, and suggest the intended names."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from typing import Any

Path = tuple[str | int, ...]

SHOWN = 40
"""Characters of a value that a message repeats."""

TRADE_WORDS: Mapping[str, str] = {
    "legal": "narrow",
    "limited": "narrow",
    "smpte": "narrow",
    "tv": "narrow",
    "video": "narrow",
    "data": "full",
    "extended": "full",
    "pc": "full",
    "8bit": "8",
    "10bit": "10",
    "12bit": "12",
    "1886": "bt1886",
    "gamma": "power",
    "2084": "pq",
    "st2084": "pq",
    "b67": "hlg",
    "709": "bt709",
    "rec709": "bt709",
    "2020": "bt2020",
    "rec2020": "bt2020",
    "6500": "d65",
    "cct": "correlated-colour-temperature",
    "de2000": "delta-e-2000",
    "ciede2000": "delta-e-2000",
    "average": "mean",
    "must": "shall",
    "spectro": "spectroradiometer",
    "filter": "colorimeter",
    "beamer": "projector",
}
"""Words of the trade, in small letters, and our names for them."""


def quoted(text: str) -> str:
    """A text from a file, in quotes, on one line and not too long."""
    return f"'{_safe(text)}'"


def printable(text: str) -> str:
    """A text on one line; characters that cannot be printed are spelt, as `\\u2028`."""
    flat = " ".join(text.split())
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in flat)


def _safe(text: str) -> str:
    safe = printable(text)
    return safe if len(safe) <= SHOWN else f"{safe[: SHOWN - 1]}…"


def dotted(path: Path) -> str:
    """`slots[0].readings.file`: a path as messages print it."""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{_safe(part)}"
    return text.removeprefix(".")


def inline_yaml(value: Any) -> str:
    """A value as it might be written on one line of YAML."""
    if isinstance(value, dict):
        return (
            "{"
            + ", ".join(f"{key}: {_between_brackets(entry)}" for key, entry in value.items())
            + "}"
        )
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_between_brackets, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:g}" if isinstance(value, float) else str(value)


def _between_brackets(value: Any) -> str:
    """A value inside a list or mapping on one line, where a comma ends a text without quotes."""
    text = inline_yaml(value)
    return f"'{text}'" if isinstance(value, str) and "," in text else text


def one_of(names: Iterable[str]) -> str:
    """`one of a, b, c`; just `a` if there is only one."""
    known = list(names)
    return known[0] if len(known) == 1 else "one of " + ", ".join(known)


def nearest(text: str, names: Iterable[str], likeness: float = 0.6) -> str | None:
    """The name most similar to `text`; None if none reaches the likeness, 0 to 1."""
    plain = {_plain(name): name for name in reversed(list(names))}
    wanted = _plain(text)
    begun = [name for name in plain if len(wanted) >= 3 and name.startswith(wanted)]
    near = begun if len(begun) == 1 else difflib.get_close_matches(wanted, plain, 1, likeness)
    return plain[near[0]] if near else None


def _plain(name: str) -> str:
    """A name without easily confused parts: case, and - for _ or a space."""
    return name.strip().lower().replace("_", "-").replace(" ", "-")


def did_you_mean(text: str, names: Iterable[str]) -> str:
    """The end of a message about an unknown name: the nearest known one, or all of them."""
    known = list(dict.fromkeys(names))
    if not known:
        return "there are none"
    return suggestion(text, known) or f"expected {one_of(known)}"


def suggestion(text: str, names: Iterable[str]) -> str:
    """`did you mean …?` by the words of the trade, or by likeness; empty if nothing is similar."""
    known = list(names)
    likely = in_our_words(text[:SHOWN], known)
    if not likely:
        near = nearest(text[:SHOWN], known)
        likely = [near] if near else []
    if not likely:
        return ""
    *some, last = map(quoted, likely)
    return f"did you mean {', '.join(some)} or {last}?" if some else f"did you mean {last}?"


def in_our_words(text: str, names: Iterable[str]) -> list[str]:
    """The names that `text` means if it contains a word of the trade: `rgb-10-legal`.

    They share the translated word and as many of the others as any name does.
    """
    words = set(re.findall("[a-z0-9]+", text.lower()))
    parts = {name: set(_plain(name).split("-")) for name in names}
    translated = {part for word in words for part in TRADE_WORDS.get(word, "").split("-") if part}
    fitting = {name: own for name, own in parts.items() if translated and translated <= own}
    shared = {name: len(own & (words | translated)) for name, own in fitting.items()}
    return [name for name, count in shared.items() if count == max(shared.values())]
