"""Lists, counts and capitals as English has them."""

from __future__ import annotations

from collections.abc import Sequence


def capital(words: str) -> str:
    """`words` with a capital at their head."""
    return words[:1].upper() + words[1:]


def counted(count: int, noun: str, nouns: str = "", *, space: str = " ") -> str:
    """A number and what is counted, e.g. `1 reading`, `3 readings`."""
    return f"{count}{space}{noun if count == 1 else nouns or f'{noun}s'}"


def joined(names: Sequence[str]) -> str:
    """Names in a row; semicolons between those that have commas themselves."""
    return ("; " if any("," in name for name in names) else ", ").join(names)


def listed(names: Sequence[str], most: int) -> str:
    """At most `most` names, or one more, then how many there are besides."""
    shown = names if len(names) <= most + 1 else names[:most]
    return joined(shown) + more_than(shown, names)


def more_than(shown: Sequence[str], names: Sequence[str]) -> str:
    """How many names there are besides those shown, e.g. ` and 3 more`; empty without any."""
    rest = len(names) - len(shown)
    return f" and {rest} more" if rest else ""


def first_of(names: Sequence[str], most: int) -> str:
    """The first names, which may hold commas, and how many there are besides."""
    shown = names[:most]
    return "; ".join(shown) + more_than(shown, names)
