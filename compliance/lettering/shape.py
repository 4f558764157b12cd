"""Shaping with HarfBuzz: which glyphs stand for a cluster of letters, and where."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from compliance.errors import SheetError
from compliance.lettering.font_files import FontFile
from compliance.model.faces import Face, Glyph

KEPT = frozenset({"head", "hhea", "hmtx", "maxp", "loca", "glyf"})
"""Tables of an embedded program whose glyphs are addressed by number (ISO 32000-1, 9.9)."""


FURTHEST = 2.5
"""Most type sizes that glyphs reach from their place; long words of Nastaliq need two upwards."""


def shaper() -> str:
    """Return the name and version of what shapes."""
    import uharfbuzz

    return f"HarfBuzz {uharfbuzz.version_string()}"


def shaped(font: FontFile, clusters: Iterable[str]) -> Face:
    """Return a face with the glyphs of clusters that it covers, each shaped alone.

    Raises SheetError where these would cover other text.
    """
    import uharfbuzz

    scaled = uharfbuzz.Font(font.face)
    return Face(
        name=font.postscript_name,
        version=font.version,
        sha256=font.sha256,
        index=font.index,
        units=font.face.upem,
        shaper=shaper(),
        glyphs={cluster: _glyphs(scaled, cluster) for cluster in clusters},
    )


def _glyphs(font: Any, cluster: str) -> tuple[Glyph, ...]:
    import uharfbuzz

    buffer = uharfbuzz.Buffer()
    buffer.add_str(cluster)
    buffer.guess_segment_properties()
    buffer.language = "und"
    uharfbuzz.shape(font, buffer)
    glyphs = tuple(
        Glyph(
            info.codepoint,
            font.get_glyph_h_advance(info.codepoint),
            place.x_advance,
            place.x_offset,
            place.y_offset,
            info.cluster,
        )
        for info, place in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True)
    )
    if _furthest(font, glyphs) > FURTHEST * font.face.upem:
        raise SheetError(
            f"'{cluster[:10]}' ({len(cluster)} characters) is drawn more than {FURTHEST:g} type "
            "sizes from its place, where it would cover other text; expected fewer marks"
        )
    return glyphs


def _furthest(font: Any, glyphs: Iterable[Glyph]) -> float:
    """Return how far glyphs reach from the base line, or beyond the ends of their cluster."""
    at, reaches, ends = 0, [0], []
    for glyph in glyphs:
        if (extents := font.get_glyph_extents(glyph.id)) is not None:
            left, top = at + glyph.dx + extents.x_bearing, glyph.dy + extents.y_bearing
            reaches += [-left, top, -top - extents.height]
            ends.append(left + extents.width)
        at += glyph.advance
    return float(max(*reaches, *(end - at for end in ends)))


def program(font: FontFile, face: Face) -> bytes:
    """Return a font program with the glyphs of `face`, numbered as in its file, not hinted."""
    import uharfbuzz

    wanted = uharfbuzz.SubsetInput()
    for glyphs in face.glyphs.values():
        for glyph in glyphs:
            wanted.glyph_set.add(glyph.id)
    wanted.flags = uharfbuzz.SubsetFlags.RETAIN_GIDS | uharfbuzz.SubsetFlags.NO_HINTING
    for tag in font.face.table_tags:
        if tag not in KEPT:
            wanted.drop_table_tag_set.add(int.from_bytes(tag.encode("latin-1"), "big"))
    if font.face.has_var_data:
        wanted.pin_all_axes_to_default(font.face)
    return bytes(uharfbuzz.subset(font.face, wanted).blob.data)
