"""Type faces from outside this program, for letters that its own faces lack."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple


class Glyph(NamedTuple):
    """A glyph of a face at its place in a cluster of letters, in units of the face."""

    id: int
    width: int
    """As the face states it for this glyph."""
    advance: int
    """To the next glyph, as shaped."""
    dx: int
    """From its place to the right."""
    dy: int
    """From the base line upwards."""
    start: int
    """Place in the cluster of the first character that it stands for."""


@dataclass(frozen=True, slots=True)
class Face:
    """A face that a sheet draws letters with, and how."""

    name: str
    """Its PostScript name."""
    version: str
    sha256: str
    """Of the whole file."""
    index: int
    """In a collection of faces; 0 for a single one."""
    units: int
    """Units to the type size."""
    shaper: str
    """What chose and placed the glyphs, and its version."""
    glyphs: Mapping[str, tuple[Glyph, ...]]
    """By cluster of letters (`pictures/scripts`), from left to right."""
