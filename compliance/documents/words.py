"""How messages show what stands in a file and what was meant."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Any

__all__ = ["among", "dotted", "flow", "meant", "quoted"]

Path = tuple[str | int, ...]

SHOWN = 40
"""Characters of a value that a message repeats."""


def quoted(text: str) -> str:
    """A text from a file, in quotes, on one line and not too long."""
    flat = " ".join(text.split())
    safe = "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in flat)
    return f"'{safe}'" if len(safe) <= SHOWN else f"'{safe[: SHOWN - 1]}…'"


def dotted(path: Path) -> str:
    """`slots[0].readings.file`: a path as messages print it."""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}"
    return text.removeprefix(".")


def flow(value: Any) -> str:
    """A value as it might be written on one line of YAML."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {flow(entry)}" for key, entry in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(flow(entry) for entry in value) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:g}" if isinstance(value, float) else str(value)


def among(names: Iterable[str]) -> str:
    """`one of a, b, c`; just `a` where there is one."""
    known = list(names)
    return known[0] if len(known) == 1 else "one of " + ", ".join(known)


def meant(text: str, names: Iterable[str]) -> str:
    """The end of a message about a name that is not known: the nearest, or all there are."""
    known = list(names)
    if not known:
        return "there is none to name"
    lowered = {name.lower(): name for name in reversed(known)}
    near = difflib.get_close_matches(text.strip().lower().replace("_", "-"), lowered, 1, 0.6)
    near = near or difflib.get_close_matches(text.strip().lower(), lowered, 1, 0.6)
    if near:
        return f"did you mean {quoted(lowered[near[0]])}?"
    return f"expected {among(known)}"
