"""Faces from files: which can be embedded, what they draw, and that a document finds them again."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO
from pathlib import Path
from struct import pack_into

import pytest
from fontTools.ttLib import TTFont
from helpers.seven_scripts import ALL, require_faces

from compliance.errors import SheetError
from compliance.lettering import font_files
from compliance.lettering.choose import (
    MOST_CLUSTERS,
    MOST_FACES,
    found_again,
    lettering,
    missing_letters,
    needed,
    stated_faces,
)
from compliance.lettering.font_files import FontFile, given_fonts
from compliance.lettering.shape import program, shaped
from compliance.pictures.fonts import SANS, font_file
from compliance.plain_data import ShapeError
from compliance.yaml_nodes.json_schema import load_schema


def ours() -> FontFile:
    """A face of this program as one from outside."""
    return FontFile(font_file(SANS), 0)


def written(tmp_path: Path, change: object = None) -> Path:
    path = tmp_path / "face.ttf"
    font = TTFont(BytesIO(font_file(SANS)))
    if callable(change):
        change(font)
    font.save(path)
    return path


def test_advances_are_those_that_fonttools_reads() -> None:
    font = TTFont(BytesIO(font_file(SANS)))
    names, widths = font.getBestCmap(), font["hmtx"].metrics
    face = shaped(ours(), ["A", "ж", "Δ"])
    assert face.units == font["head"].unitsPerEm
    for letter, (glyph,) in face.glyphs.items():
        assert glyph.width == glyph.advance == widths[names[ord(letter)]][0]
        assert font.getGlyphName(glyph.id) == names[ord(letter)]


def test_a_program_has_the_outlines_of_its_face_and_no_others() -> None:
    whole = TTFont(BytesIO(font_file(SANS)))
    face = shaped(ours(), ["A", "ж"])
    part = TTFont(BytesIO(program(ours(), face)))
    wanted = {glyph.id for glyphs in face.glyphs.values() for glyph in glyphs}
    for number, (mine, theirs) in enumerate(
        zip(part.getGlyphOrder(), whole.getGlyphOrder(), strict=False)
    ):
        points = [list(font["glyf"][name].getCoordinates(font["glyf"])[0]) for font, name in
                  ((part, mine), (whole, theirs))]  # fmt: skip
        assert points[0] == (points[1] if number in wanted else [])
    assert max(wanted) < len(part.getGlyphOrder())


@pytest.mark.parametrize("bits", [0x0002, 0x0100, 0x0200])
def test_a_face_that_must_not_be_embedded(bits: int, tmp_path: Path) -> None:
    path = written(tmp_path, lambda font: setattr(font["OS/2"], "fsType", bits))
    with pytest.raises(SheetError, match="licence bits forbid"):
        given_fonts([path])
    assert given_fonts([written(tmp_path, lambda font: setattr(font["OS/2"], "fsType", 8))])


def test_a_file_that_is_no_usable_face(tmp_path: Path) -> None:
    def without_outlines(font: TTFont) -> None:
        del font["glyf"], font["loca"]

    with pytest.raises(SheetError, match="no TrueType outlines"):
        given_fonts([written(tmp_path, without_outlines)])
    for data in (b"", b"no font", b"ttcf", b"ttcf" + bytes(8) + b"\xff" * 4 + bytes(90)):
        path = tmp_path / "other.ttf"
        path.write_bytes(data)
        with pytest.raises(SheetError, match=r"--font: .*other\.ttf"):
            given_fonts([path])
    with pytest.raises(SheetError, match="cannot be read"):
        given_fonts([tmp_path / "none.ttf"])


def test_half_a_face_is_refused_or_read(tmp_path: Path) -> None:
    data = bytearray(font_file(SANS))
    for size in range(0, len(data), 997):
        path = tmp_path / "half.ttf"
        path.write_bytes(data[:size])
        try:
            given_fonts([path])
        except SheetError as error:
            assert "half.ttf" in str(error)


def test_our_letters_need_no_face() -> None:
    assert lettering(["Ångström, Ελλάδα, Київ, Việt Nam", "ΔE 5 µ"]).faces == ()


def test_every_script_finds_a_face() -> None:
    require_faces()
    found = lettering(ALL)
    assert missing_letters(ALL, ()) == []
    for face in found.faces:
        assert not any(char.isascii() for cluster in face.glyphs for char in cluster)
        assert all(glyph.id for glyphs in face.glyphs.values() for glyph in glyphs)


def test_a_given_face_goes_first(tmp_path: Path) -> None:
    require_faces()
    name = "塩と石"
    first = lettering([name])
    (file,) = first.files.values()
    copy = tmp_path / "mine.ttf"
    copy.write_bytes(file.data)
    assert lettering([name], given_fonts([copy])).faces[0].sha256 == first.faces[0].sha256


def test_letters_that_no_face_has() -> None:
    require_faces()
    with pytest.raises(SheetError, match=r"no face here has \U000E0B7F"):
        lettering(["x\U000e0b7f"])


def test_a_stated_face_is_found_again_or_unsure() -> None:
    require_faces()
    made = lettering(["塩と石", "محمد"])
    again = found_again(made.faces)
    assert (again.faces, again.unsure) == (made.faces, frozenset())
    other = replace(made.faces[0], sha256="0" * 64)
    unsure = found_again([other])
    assert (unsure.faces, unsure.unsure) == ((other,), {other.name})
    assert unsure.program(other) == b""


def test_glyphs_of_another_version_are_unsure_and_of_the_same_are_shaped_again() -> None:
    require_faces()
    (face,) = lettering(["塩"]).faces
    (glyph,) = face.glyphs["塩"]
    forged = replace(face, glyphs={"塩": (glyph._replace(id=glyph.id + 1),)})
    assert found_again([forged]).faces == (face,)
    elsewhere = replace(forged, shaper="HarfBuzz 1.0.0")
    assert found_again([elsewhere]).unsure == {face.name}
    assert found_again([elsewhere]).faces == (elsewhere,)


def test_a_document_states_faces_that_can_be() -> None:
    good = {"name": "A", "version": "1", "sha256": "0" * 64, "index": 0, "units": 1000,
            "shaper": "S", "glyphs": {"塩": [[1, 2, 3, 4, 5, 0]]}}  # fmt: skip
    (face,) = stated_faces({"faces": [good]})
    assert needed([face], ["塩"]) == (face,)
    for change in (
        {"units": 0}, {"index": -1}, {"glyphs": {"塩": [[70000, 2, 3, 4, 5, 0]]}},
        {"glyphs": {"塩": [[1, 10**9, 3, 4, 5, 0]]}}, {"glyphs": {"塩": [[1, 2]]}}, {"glyphs": 3},
        {"glyphs": {"": [[1, 2, 3, 4, 5, 0]]}}, {"glyphs": {"塩": []}},
        {"glyphs": {"塩": [[1, 2, 9000, 4, 5, 0]]}}, {"glyphs": {"塩": [[1, 2, 3, 4, 5, 1]]}},
    ):  # fmt: skip
        with pytest.raises(ShapeError):
            stated_faces({"faces": [{**good, **change}]})
    with pytest.raises(SheetError, match="states no glyphs for 石"):
        needed([face], ["塩", "石"])


def test_a_form_of_a_letter_needs_no_glyph_of_its_own() -> None:
    require_faces()
    assert missing_letters(["辺\U000e0100"], ()) == []


def test_the_schema_has_the_bounds() -> None:
    faces = load_schema("assessment")["properties"]["faces"]
    assert faces["maxItems"] == MOST_FACES
    assert faces["items"]["properties"]["glyphs"]["maxProperties"] == MOST_CLUSTERS


def test_few_processes_for_many_letters_that_no_face_has(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    monkeypatch.setattr(font_files, "_list", lambda pattern: asked.append(pattern) or ())
    assert len(missing_letters([chr(code) for code in range(0xE000, 0xE400)], ())) == 1024
    assert len(asked) < 100


def test_a_damaged_collection_ends(tmp_path: Path) -> None:
    data = bytearray(b"ttcf" + bytes(100))
    pack_into(">I", data, 8, 0xFFFFFFFF)
    path = tmp_path / "many.ttc"
    path.write_bytes(data)
    with pytest.raises(SheetError):
        given_fonts([path])
