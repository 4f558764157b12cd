"""Choose faces for the letters of a sheet, and find again those that a sheet states."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from compliance.errors import SheetError
from compliance.lettering.font_files import FontFile, given_fonts, system_face, system_font
from compliance.lettering.shape import program, shaped, shaper
from compliance.lettering.texts import foreign_clusters
from compliance.model.faces import Face
from compliance.plain_data import ShapeError, from_plain

PACKAGES: Mapping[str, str] = {
    "CJK": "fonts-wqy-microhei",
    "HIRAGANA": "fonts-ipafont-gothic",
    "KATAKANA": "fonts-ipafont-gothic",
    "HANGUL": "fonts-nanum",
}
"""Packages of Debian with TrueType outlines, by the first word of a letter's name."""
OTHER_PACKAGE = "fonts-noto-core"
MOST_FACES = 40
"""Most faces of a document; each is looked for among the system's, which takes a while."""
MOST_CLUSTERS = 10_000
"""Most clusters of letters that they draw together."""
MOST_ALONE = 64
"""Clusters of a script for which a face is looked for one by one, if none has them all."""
MOST_SIZES = 8
"""Most type sizes of a number of a glyph."""


@dataclass(frozen=True, slots=True)
class Lettering:
    """The faces of a sheet with their glyphs, and the font files found for them."""

    faces: tuple[Face, ...] = ()
    files: Mapping[tuple[str, int], FontFile] = field(default_factory=dict)
    unsure: frozenset[str] = frozenset()
    """Names of faces whose letters' shapes cannot be checked here: their files are not here, or
    another version chose other glyphs."""

    @property
    def by_others(self) -> frozenset[str]:
        """Names of faces that another version shaped: it may have embedded them otherwise."""
        return self.unsure | {face.name for face in self.faces if face.shaper != shaper()}

    def program(self, face: Face) -> bytes:
        """Return a face's font program for embedding; empty if its file is not here."""
        file = self.files.get((face.sha256, face.index))
        return program(file, face) if file is not None else b""


def missing_letters(texts: Iterable[str], fonts: Sequence[FontFile]) -> list[str]:
    """Return the clusters that neither `fonts` nor the system's faces can draw."""
    return _shared_out(foreign_clusters(texts), fonts)[1]


def lettering(texts: Iterable[str], fonts: Sequence[FontFile] = ()) -> Lettering:
    """Choose a face for each cluster of letters that this program's own faces lack.

    `fonts` go before the system's. Raises SheetError for letters that no face has.
    """
    clusters = foreign_clusters(texts)
    shares, left = _shared_out(clusters, fonts)
    if left:
        raise SheetError(f"no face here has {', '.join(left[:10])}; {advice(left)}")
    if len(shares) > MOST_FACES or len(clusters) > MOST_CLUSTERS:
        raise SheetError(
            f"its letters need {len(shares)} type faces and {len(clusters)} clusters of letters; "
            f"expected at most {MOST_FACES} and {MOST_CLUSTERS}"
        )
    return Lettering(
        faces=tuple(shaped(font, share) for font, share in shares),
        files={(font.sha256, font.index): font for font, _ in shares},
    )


def advice(clusters: Iterable[str]) -> str:
    """Say what to install for letters that no face has."""
    words = {unicodedata.name(cluster[0], "").split(" ")[0] for cluster in clusters}
    packages = sorted({PACKAGES.get(word, OTHER_PACKAGE) for word in words})
    return (
        "install a TrueType face that has them and fontconfig, or give one with --font FILE "
        f"(packages of Debian: {', '.join(packages)})"
    )


def _shared_out(
    clusters: Sequence[str], fonts: Sequence[FontFile]
) -> tuple[list[tuple[FontFile, list[str]]], list[str]]:
    """Share clusters out: given faces first, then for each script a face that has what is left of
    it. Return also what no face has."""
    left = dict.fromkeys(clusters)
    shares: list[tuple[FontFile, list[str]]] = []

    def draw_with(font: FontFile) -> None:
        share = [cluster for cluster in left if font.covers(cluster)]
        for cluster in share:
            del left[cluster]
        if share:
            shares.append((font, share))

    for font in fonts:
        draw_with(font)
    for group in _scripts(left):
        for part in (group, *([cluster] for cluster in group[:MOST_ALONE])):
            wanted = [cluster for cluster in part if cluster in left]
            if wanted and (found := system_font("".join(wanted))):
                draw_with(found)
    return shares, list(left)


def _scripts(clusters: Iterable[str]) -> list[list[str]]:
    """Group clusters by script; those of Chinese and Japanese belong together."""
    groups: dict[str, list[str]] = {}
    for cluster in clusters:
        word = unicodedata.name(cluster[0], "").split(" ")[0]
        groups.setdefault("CJK" if word in ("HIRAGANA", "KATAKANA") else word, []).append(cluster)
    return [group for _, group in sorted(groups.items())]


def found_again(stated: Sequence[Face], fonts: Sequence[FontFile] = ()) -> Lettering:
    """Find the faces that a document states and shape its letters again.

    Of a face that is not here, and of one whose glyphs another version chose differently, the
    stated glyphs stand; it is among `unsure`.
    """
    here = {(font.sha256, font.index): font for font in fonts}
    faces: list[Face] = []
    files: dict[tuple[str, int], FontFile] = {}
    unsure: set[str] = set()
    for face in stated:
        key = face.sha256, face.index
        file = here.get(key) or system_face(face.name, *key)
        again = shaped(file, face.glyphs) if file is not None else face
        other = face.shaper != shaper()
        if file is not None:
            files[key] = file
        if file is None or (other and replace(again, shaper=face.shaper) != face):
            unsure.add(face.name)
            again = face
        faces.append(replace(again, shaper=face.shaper))
    return Lettering(tuple(faces), files, frozenset(unsure))


def needed(faces: Iterable[Face], clusters: Iterable[str]) -> tuple[Face, ...]:
    """Return faces with no more than the glyphs of `clusters`. Raises SheetError without one."""
    left = set(clusters)
    kept: list[Face] = []
    for face in faces:
        glyphs = {cluster: shown for cluster, shown in face.glyphs.items() if cluster in left}
        left -= glyphs.keys()
        if glyphs:
            kept.append(replace(face, glyphs=glyphs))
    if left:
        raise SheetError(f"assessment.json states no glyphs for {', '.join(sorted(left)[:10])}")
    return tuple(kept)


def stated_faces(document: Mapping[str, Any]) -> tuple[Face, ...]:
    """Read the faces that a document states. Raises ShapeError if they are none."""
    faces = from_plain(document.get("faces") or [], tuple[Face, ...])
    if len(faces) > MOST_FACES:
        raise ShapeError(f"faces: there are {len(faces)}; expected at most {MOST_FACES}")
    if (drawn := sum(len(face.glyphs) for face in faces)) > MOST_CLUSTERS:
        raise ShapeError(f"faces: draw {drawn} clusters; expected at most {MOST_CLUSTERS}")
    for face in faces:
        most = MOST_SIZES * face.units
        sound = (
            16 <= face.units <= 16384
            and 0 <= face.index < 64
            and all(cluster and shown for cluster, shown in face.glyphs.items())
            and all(
                0 <= glyph.id <= 0xFFFF
                and max(map(abs, (glyph.width, glyph.advance, glyph.dx, glyph.dy))) <= most
                and 0 <= glyph.start < len(cluster)
                for cluster, shown in face.glyphs.items()
                for glyph in shown
            )
        )
        if not sound:
            raise ShapeError(f"faces: {face.name}: its numbers are none of a face")
    return faces


def stated_letters(document: Mapping[str, Any], fonts: Sequence[Path] = ()) -> Lettering:
    """Find the faces that a document states, in files of `fonts` and among the system's.

    Raises ShapeError if it states none that could be, SheetError for a file that is no font.
    """
    stated = stated_faces(document)
    return found_again(stated, given_fonts(fonts)) if stated else Lettering()
