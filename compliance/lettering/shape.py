"""Shaping with HarfBuzz: which glyphs stand for a cluster of letters, and where."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from compliance.lettering.font_files import FontFile
from compliance.model.faces import Face, Glyph

KEPT = frozenset({"head", "hhea", "hmtx", "maxp", "loca", "glyf"})
"""Tables of an embedded program whose glyphs are addressed by number (ISO 32000-1, 9.9)."""


def shaper() -> str:
    """Return the name and version of what shapes."""
    import uharfbuzz

    return f"HarfBuzz {uharfbuzz.version_string()}"


def shaped(font: FontFile, clusters: Iterable[str]) -> Face:
    """Return a face with the glyphs of clusters that it covers, each shaped alone."""
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
    return tuple(
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
