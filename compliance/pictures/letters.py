"""The letters of a sheet that this program's own faces lack, while it is laid out and drawn.

What is drawn is stated: glyphs come from `model/faces`, and no font file is needed to lay out a
sheet. `letters_in_use` holds them for the sheet at hand.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field

from compliance.model.faces import Face, Glyph
from compliance.pictures.directions import isolated, segments, visual_order
from compliance.pictures.scripts import Piece, glyph_texts, pieces, runs_right_to_left

Program = Callable[[Face], bytes]
"""Makes a font program with the glyphs of a face, for embedding; empty: its file is not here."""


def no_program(face: Face) -> bytes:
    """Stand in for the program of a face whose file is not here: nothing."""
    return b""


def glyph_extent(face: Face, glyphs: Iterable[Glyph]) -> float:
    """Return the width of glyphs beside each other in thousandths of the type size."""
    return sum(glyph.advance for glyph in glyphs) * 1000 / face.units


def font_name(face: str) -> str:
    """Return the name of the font in a PDF that has the glyphs of a face, by the face's name.

    Its tag differs from those of this program's own faces.
    """
    return "LETTER+" + re.sub(r"[^A-Za-z0-9-]", "", face)


@dataclass(frozen=True, slots=True)
class Run:
    """Letters of one face beside each other, as they are drawn from left to right."""

    text: str
    """What is drawn, with a face of this program; else nothing."""
    face: int | None = None
    """Number of the other face."""
    glyphs: tuple[Glyph, ...] = ()
    texts: tuple[str, ...] = ()
    """What each glyph stands for."""
    stands_for: str | None = None
    """What the text stands for, if that is not what is drawn."""
    turn: int = 0
    """Its place in the order of reading."""

    def joins(self, other: Run) -> bool:
        """Return whether both are drawn as one: readers turn strong letters, and no others."""
        strong, its = (runs_right_to_left("".join(run.texts)) for run in (self, other))
        plain = self.stands_for is None and other.stands_for is None
        return plain and self.face == other.face and strong == its


@dataclass(frozen=True, slots=True)
class Words:
    """Runs beside each other that stand for a text."""

    text: str
    """In the order of reading."""
    runs: tuple[Run, ...]
    right_to_left: bool = False

    @property
    def as_drawn(self) -> bool:
        """Whether the runs themselves contain the text in its order."""
        return "".join(run.text for run in self.runs) == self.text


@dataclass(frozen=True, slots=True)
class Letters:
    """Faces from outside, and the texts of people that run from right to left."""

    faces: Sequence[Face] = ()
    names: Sequence[str] = ()
    program: Program = no_program
    _known: dict[str, int] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        found = {
            cluster: number for number, face in enumerate(self.faces) for cluster in face.glyphs
        }
        object.__setattr__(self, "_known", found)

    def has(self, cluster: str) -> bool:
        """Return whether a cluster of letters can be drawn."""
        return cluster in self._known

    def face_of(self, cluster: str) -> Face:
        """Return the face that draws a cluster."""
        return self.faces[self._known[cluster]]

    def glyphs(self, cluster: str) -> tuple[Glyph, ...]:
        """Return the glyphs of a cluster, from left to right."""
        return self.face_of(cluster).glyphs[cluster]

    def width(self, cluster: str) -> float:
        """Return the width of a cluster in thousandths of the type size."""
        return glyph_extent(self.face_of(cluster), self.glyphs(cluster))

    def marked(self, text: str) -> str:
        """Return a text with the marks of isolates around what runs from right to left."""
        return isolated(text, self.names)

    def words(self, line: str, own: frozenset[str]) -> Iterator[Words]:
        """Cut a line into what its own faces draw and what others draw, from left to right."""
        for segment in segments(line):
            items = list(pieces(segment.text, own))
            if runs_right_to_left(segment.text):
                shown = [
                    (piece, drawn if drawn in own else piece.text, turn)
                    for piece, drawn, turn in visual_order(items, segment.base)
                ]
                yield Words(segment.text, self._runs(shown), right_to_left=True)
                continue
            for foreign, group in _groups(items):
                text = "".join(piece.text for piece in group)
                shown = [(piece, piece.text, turn) for turn, piece in enumerate(group)]
                yield Words(text, self._runs(shown) if foreign else (Run(text),))

    def _runs(self, items: Iterable[tuple[Piece, str, int]]) -> tuple[Run, ...]:
        runs: list[Run] = []
        for item, drawn, turn in items:
            run = self._run(item, drawn, turn)
            if runs and runs[-1].joins(run):
                last = runs.pop()
                run = Run(
                    last.text + run.text,
                    run.face,
                    last.glyphs + run.glyphs,
                    last.texts + run.texts,
                    turn=min(last.turn, run.turn),
                )
            runs.append(run)
        return tuple(runs)

    def _run(self, item: Piece, drawn: str, turn: int) -> Run:
        if not item.foreign:
            return Run(drawn, stands_for=None if drawn == item.text else item.text, turn=turn)
        glyphs = self.glyphs(item.text)
        texts = tuple(glyph_texts(item.text, glyphs))
        return Run("", self._known[item.text], glyphs, texts, turn=turn)


def _groups(items: Iterable[Piece]) -> Iterator[tuple[bool, list[Piece]]]:
    """Yield runs of pieces that all are foreign, or all are not."""
    group: list[Piece] = []
    for item in items:
        if group and group[-1].foreign != item.foreign:
            yield group[-1].foreign, group
            group = []
        group.append(item)
    if group:
        yield group[-1].foreign, group


NONE = Letters()
_IN_USE: ContextVar[Letters] = ContextVar("letters", default=NONE)


def current_letters() -> Letters:
    """Return the letters of the sheet being drawn; none outside of `letters_in_use`."""
    return _IN_USE.get()


@contextmanager
def letters_in_use(letters: Letters) -> Iterator[None]:
    """Lay out and draw with these letters inside of the context."""
    token = _IN_USE.set(letters)
    try:
        yield
    finally:
        _IN_USE.reset(token)
