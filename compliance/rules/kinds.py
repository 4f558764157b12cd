"""In which way one rule, or a part of it, differs from another."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

__all__ = ["Extent", "Kind", "extents", "together"]


class Kind(StrEnum):
    """How the new differs from the old.

    Tightened: whatever the new accepts, the old accepted, provably. Loosened: the other way
    round. Changed: neither is provable. Reworded: the same in effect.
    """

    SAME = "same"
    REWORDED = "reworded"
    TIGHTENED = "tightened"
    LOOSENED = "loosened"
    CHANGED = "changed"
    ADDED = "added"
    WITHDRAWN = "withdrawn"

    @property
    def harmless(self) -> bool:
        """Nothing is accepted that was not before."""
        return self not in (Kind.LOOSENED, Kind.CHANGED, Kind.WITHDRAWN)


def together(kinds: Iterable[Kind]) -> Kind:
    """Of several differences in one thing: tightened and loosened at once is changed."""
    found = set(kinds) - {Kind.SAME}
    moved = found - {Kind.REWORDED}
    if len(moved) == 1:
        return moved.pop()
    if moved:
        return Kind.CHANGED
    return Kind.REWORDED if found else Kind.SAME


class Extent(StrEnum):
    """How much the new takes in, beside the old."""

    SAME = "same"
    FEWER = "fewer"
    MORE = "more"
    OTHER = "other"


def extents(found: Iterable[Extent]) -> Extent:
    """Of several narrowings and widenings at once."""
    moved = set(found) - {Extent.SAME}
    if not moved:
        return Extent.SAME
    return moved.pop() if len(moved) == 1 else Extent.OTHER
