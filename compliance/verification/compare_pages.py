"""Compare two PDFs page by page, with everything that a page refers to.

For a signed file and the same file drawn again. Signing adds a form with its fields and
little else; everything else has to be equal, numbers in the pages to within the arithmetic
of two machines.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping, Sequence
from io import BytesIO
from itertools import filterfalse, zip_longest
from typing import Any

from pikepdf import Array, Dictionary, Name, Object, Pdf, Stream

from compliance.pictures.letters import font_name
from compliance.signing.appearance import PROGRAM
from compliance.signing.cms_checks import UnsoundError
from compliance.signing.pdf_file import from_ascii85
from compliance.signing.pdf_syntax import read_tokens
from compliance.verification.hidden_parts import EMPTY_BOXES

Box = tuple[int, float, float, float, float]
"""Page, counted from 0, and corners in points."""

BY_SIGNING = frozenset({"/AcroForm", "/Perms", "/Extensions"})
"""Entries of the catalog that the signature adds."""
EVIDENCE = frozenset({"/AF", "/Names"})
"""Entries of the catalog for the attached files, which are compared by content elsewhere."""
FORM = frozenset({"/Fields", "/SigFlags"})
DATED = frozenset({"/ModDate"})
UPON = frozenset({"/Annots", "/Parent"})
"""Entries of a page: its annotations, which are checked separately, and its parent."""
CODING = frozenset({"/Length", "/Filter", "/DecodeParms"})
ALOUD = "read aloud, it says something else"
WIDGET = ("/Subtype", "/FT", "/T", "/TU", "/StructParent")
"""Entries of a field that the tree refers to; its place and its box are checked separately."""
CLOSE = 0.02
"""Tolerance in points, and in shares of full colour: not visible."""
SCALE = 1e-5
"""Tolerance of factors, which apply to a whole page's points."""
FACTORS = {b"cm": 4, b"Tm": 4, b"Tz": 1}
"""Operators whose first operands are factors, and their number (ISO 32000-1, 8.3.4, 9.3, 9.4)."""
WHOLE = frozenset({b"J", b"j", b"Tr", b"ri", b"gs", b"BI", b"BDC", b"DP"})
"""Operators of choices: their operands are equal or mean something else. No image is drawn."""
DEEPEST = 100
PROGRAMS = frozenset({"/FontFile2"})
"""Entries of a font that the letters' shapes are in."""


LETTER_WIDTH = 612
"""Width of a letter page in points; A4 has 595."""


def paper(pdf: bytes) -> str:
    """Return the paper of the first page: `letter`, else `a4`."""
    with Pdf.open(BytesIO(pdf)) as document:
        box: Any = document.pages[0].mediabox
        left, _, right, _ = (float(each) for each in box)
        return "letter" if round(right - left) == LETTER_WIDTH else "a4"


def producer(pdf: bytes) -> str:
    """Return the program that wrote a file, as the file states it."""
    with Pdf.open(BytesIO(pdf)) as document:
        information: Any = document.docinfo
        return str(information.get("/Creator", ""))


def box_corners(pdf: bytes, field: str) -> tuple[int, int, int, int]:
    """Return the corners of a field's box, in whole points; KeyError without such a field."""
    with Pdf.open(BytesIO(pdf)) as document:
        sides: Any = _field(document, field).Rect
        x0, y0, x1, y1 = (round(float(side)) for side in sides)
        return x0, y0, x1, y1


def box_drawn_by(pdf: bytes, field: str) -> str | None:
    """Return the version that signed a field and drew its box, if it is this program's."""
    with Pdf.open(BytesIO(pdf)) as document:
        signature: Any = _field(document, field).V
        program = signature.get("/Prop_Build", Dictionary()).get("/App", Dictionary())
        return str(program.REx) if program.get("/Name") == f"/{PROGRAM}" else None


def stated_texts(pdf: bytes, field: str) -> tuple[str | None, str | None]:
    """Return reason and place of a signature, as the file states them beside it."""
    with Pdf.open(BytesIO(pdf)) as document:
        signature: Any = _field(document, field).V
        reason, place = (signature.get(key) for key in ("/Reason", "/Location"))
        return None if reason is None else str(reason), None if place is None else str(place)


def _field(document: Pdf, name: str) -> Any:
    fields: Any = document.Root.AcroForm.Fields
    for each in fields:
        if str(each.get("/T")) == name:
            return each
    raise KeyError(name)


def differences(
    signed: bytes, fresh: bytes, boxes: Mapping[str, Box], unsure: frozenset[str] = frozenset()
) -> Iterator[str]:
    """Yield each difference of a signed file from `fresh`; none if they show the same.

    `boxes` are the places of the signature fields, by their names; `unsure` are faces whose
    programs are not compared. Raises the library's
    exceptions if one of the two is damaged.
    """
    with Pdf.open(BytesIO(signed)) as one, Pdf.open(BytesIO(fresh)) as other:
        yield from _catalog(one, other)
        yield from _form(one, boxes)
        if len(one.pages) != len(other.pages):
            yield f"it has {len(one.pages)} pages; expected {len(other.pages)}"
            return
        comparison = _Comparison(unsure, one, other)
        for number, (page, expected) in enumerate(zip(one.pages, other.pages, strict=True), 1):
            if fault := _page(comparison, page.obj, expected.obj):
                yield f"page {number} {fault}"
            links = [filter(_is_link, _annotations(each)) for each in (page, expected)]
            if not comparison.same(*map(Array, links)):
                yield f"page {number} has other links"


def _page(comparison: _Comparison, one: Any, other: Any) -> str | None:
    keys = set(other.keys()) - UPON
    if set(one.keys()) - UPON != keys:
        return "has other entries"
    if all(comparison.same(one[key], other[key], content=key == "/Contents") for key in keys):
        return None
    return "shows something else"


def _catalog(one: Pdf, other: Pdf) -> Iterator[str]:
    theirs, ours = (set(each.Root.keys()) - BY_SIGNING for each in (one, other))
    if theirs != ours:
        yield f"the catalog differs in {', '.join(sorted(theirs ^ ours))}"
        return
    if set(one.Root.Names.keys()) != {"/EmbeddedFiles"}:
        yield "the catalog names more than attached files"
    comparison = _Comparison(frozenset(), one, other)
    for key in sorted(ours - EVIDENCE - {"/Pages"}):
        if not comparison.same(one.Root[key], other.Root[key]):
            yield ALOUD if key == "/StructTreeRoot" else f"the catalog has another {key[1:]}"
    yield from _attached(one, other)
    stated: Any = one.docinfo
    expected: Any = other.docinfo
    for key in sorted((set(stated.keys()) | set(expected.keys())) - DATED):
        if str(stated.get(key)) != str(expected.get(key)):
            yield f"the file has another {key[1:].lower()}"


def _attached(one: Pdf, other: Pdf) -> Iterator[str]:
    """Check how the attachments are described; what they contain is compared elsewhere."""
    found, expected = ({str(each.F): each for each in pdf.Root.AF} for pdf in (one, other))
    for name in sorted(found.keys() & expected.keys()):
        mine, theirs = found[name], expected[name]
        files = mine.EF.F, theirs.EF.F
        params = [{**file.Params, "/Size": 0, "/CheckSum": 0} for file in files]
        same = (
            all(str(mine[key]) == str(theirs[key]) for key in ("/AFRelationship", "/Desc"))
            and str(files[0].Subtype) == str(files[1].Subtype)
            and {key: str(each) for key, each in params[0].items()}
            == {key: str(each) for key, each in params[1].items()}
        )
        if not same:
            yield f"attachment {name} is described otherwise"


def _form(one: Pdf, boxes: Mapping[str, Box]) -> Iterator[str]:
    """Check that the fields are where they are drawn, and that the pages have no others."""
    expected = {
        (name, page, tuple(round(each) for each in corners))
        for name, (page, *corners) in boxes.items()
    }
    found = set()
    for number, page in enumerate(one.pages):
        for each in filterfalse(_is_link, _annotations(page)):
            corners = tuple(round(float(side)) for side in each.get("/Rect", ()))
            name = str(each.get("/T")) if each.get("/Subtype") == Name.Widget else "a note"
            if (name, number, corners) in found:
                yield f"page {number + 1} has two fields {name}"
            found.add((name, number, corners))
    for name, number, _ in sorted(found - expected):
        yield f"page {number + 1} has {name}, which does not belong there"
    if set(one.Root.get("/AcroForm", Dictionary()).keys()) - FORM:
        yield "its form has more than fields"


def box_differences(
    signed: bytes, shown: Mapping[str, bytes | None], unsure: frozenset[str] = frozenset()
) -> Iterator[str]:
    """Yield the fields of a signed file whose box shows something else than is expected.

    `shown` are PDFs by the names of fields, with the box's appearance as `/Shown` in their
    catalogs; None for an empty box. Raises as `differences`.
    """
    with Pdf.open(BytesIO(signed)) as document:
        for name, expected in shown.items():
            field = _field(document, name)
            if not (_is_empty(field) if expected is None else _shows(field, expected, unsure)):
                yield f"the box of {name} shows something else than its signature states"


def _is_empty(field: Any) -> bool:
    """Return whether a box shows nothing, in its whole size."""
    left, lower, right, upper = (float(side) for side in field.Rect)
    shown = field.AP.N
    whole = [float(side) for side in shown.BBox] == [0.0, 0.0, right - left, upper - lower]
    return whole and not shown.Resources.keys() and _decoded(shown, 2) in EMPTY_BOXES


def _shows(field: Any, expected: bytes, unsure: frozenset[str]) -> bool:
    with Pdf.open(BytesIO(expected)) as drawn:
        return _Comparison(unsure).same(field.AP.N, drawn.Root.Shown)


class _Comparison:
    """A walk through two objects of two files side by side.

    What refers to a page or to a field of a page, such as a structure tree, refers in both to the
    same one.
    """

    def __init__(self, unsure: frozenset[str], *files: Pdf) -> None:
        self._unsure = {f"/{font_name(face)}" for face in unsure}
        """Names of fonts whose programs are not compared."""
        self._pages = [{page.obj.objgen: at for at, page in enumerate(pdf.pages)} for pdf in files]
        self._fields = [
            {each.objgen: str(each.get("/T")) for page in pdf.pages for each in _annotations(page)}
            for pdf in files
        ]
        self._known: set[tuple[Any, Any]] = set()
        """Pairs already compared: they are equal, or the walk has already failed."""

    def same(self, one: Any, other: Any, *, content: bool = False, depth: int = 0) -> bool:
        """Return whether both are equal, with all they refer to; `content`: it is drawing."""
        if depth > DEEPEST:
            raise ValueError("its objects refer to each other too deeply")
        if isinstance(one, Object) and isinstance(other, Object) and one.is_indirect:
            pair = one.objgen, other.objgen
            if other.is_indirect and pair in self._known:
                return True
            self._known.add(pair)
        return self._equal(one, other, content, depth + 1)

    def _equal(self, one: Any, other: Any, content: bool, depth: int) -> bool:
        if isinstance(other, Stream):
            return isinstance(one, Stream) and self._streams(one, other, content, depth)
        if isinstance(other, Dictionary):
            if not isinstance(one, Dictionary):
                return False
            if other.get("/Type") == Name.Page:
                return _alike(self._pages, one, other)
            if other.get("/Type") == Name.Annot and not _is_link(other):
                return _alike(self._fields, one, other) and all(
                    one.get(key) == other.get(key) for key in WIDGET
                )
            return self._entries(one, other, self._free(other), depth)
        if isinstance(other, Array):
            return (
                isinstance(one, Array)
                and len(one) == len(other)
                and all(
                    self.same(mine, theirs, depth=depth)
                    for mine, theirs in zip(one, other, strict=True)
                )
            )
        return type(one) is type(other) and bool(one == other)

    def _free(self, other: Any) -> frozenset[str]:
        return PROGRAMS if str(other.get("/FontName")) in self._unsure else frozenset()

    def _entries(self, one: Any, other: Any, free: frozenset[str], depth: int) -> bool:
        keys = set(other.keys()) - free
        return set(one.keys()) - free == keys and all(
            self.same(one[key], other[key], depth=depth) for key in sorted(keys)
        )

    def _streams(self, one: Any, other: Any, content: bool, depth: int) -> bool:
        if not self._entries(one, other, CODING, depth):
            return False
        expected = other.read_bytes()
        drawing = content or other.get("/Subtype") == Name.Form
        found = _decoded(one, 2 * len(expected) + 1000)
        return found == expected or (drawing and found is not None and _close(found, expected))


def _is_link(annotation: Any) -> bool:
    return bool(annotation.get("/Subtype") == Name.Link)


def _annotations(page: Any) -> Iterator[Any]:
    yield from page.obj.get("/Annots", ())


def _alike(known: Sequence[Mapping[tuple[int, int], Any]], one: Any, other: Any) -> bool:
    """Return whether both objects are known in their files, under the same name."""
    mine, theirs = (names.get(each.objgen) for names, each in zip(known, (one, other), strict=True))
    return mine is not None and mine == theirs


def _decoded(stream: Any, most: int) -> bytes | None:
    """Decode a stream, up to `most` bytes; None if its coding is not one that we write."""
    coding = stream.get("/Filter")
    if coding is None:
        return bytes(stream.read_raw_bytes())
    filters = list(coding) if isinstance(coding, Array) else [coding]
    raw = stream.read_raw_bytes()
    if filters == [Name.ASCII85Decode, Name.FlateDecode]:
        filters, raw = filters[1:], from_ascii85(raw)
    if filters == [Name.FlateDecode] and "/DecodeParms" not in stream:
        return zlib.decompressobj().decompress(raw, most)
    return None


def _close(one: bytes, other: bytes) -> bool:
    """Return whether two drawings differ at most in the last digits of numbers.

    What does not follow the grammar of PDF is close to nothing: readers differ about it.
    """
    operands: list[tuple[bytes, bytes]] = []
    try:
        for mine, theirs in zip_longest(read_tokens(one), read_tokens(other)):
            if mine is None or theirs is None or mine.kind != theirs.kind:
                return False
            if mine.kind == "number":
                operands.append((mine.raw, theirs.raw))
            elif mine.raw != theirs.raw:
                return False
            elif mine.kind == "word":
                if not _near(operands, mine.raw):
                    return False
                operands.clear()
    except UnsoundError:
        return False
    return not operands


def _near(operands: Sequence[tuple[bytes, bytes]], operator: bytes) -> bool:
    """Return whether an operator does the same with both of each pair of numbers."""
    if operator in WHOLE:
        return all(one == other for one, other in operands)
    factors = FACTORS.get(operator, 0)
    return all(
        abs(float(one) - float(other)) <= (SCALE if place < factors else CLOSE)
        for place, (one, other) in enumerate(operands)
    )
