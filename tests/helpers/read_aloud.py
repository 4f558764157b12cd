"""A small reader of structure trees: what a listener hears of a sheet, in order.

It knows only what ISO 32000-1 says (9.10.3, 14.6 to 14.9) and nothing of how sheets are drawn.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any

import pikepdf
from pikepdf import Array, Dictionary, Name, Pdf

Key = tuple[int, int]
"""Page from 0, and the number of a stretch of its drawing."""


@dataclass
class Heard:
    """An element as it is heard."""

    role: str
    parts: list[Heard | str] = field(default_factory=list)
    """Elements and texts, in order."""
    alt: str = ""
    scope: str = ""
    span: int = 1
    leads: list[int] = field(default_factory=list)
    """The pages, from 0, that the annotations of a link lead to."""
    field: str = ""
    """The label of a form's field."""
    page: int = -1
    """Of its first text."""

    @property
    def text(self) -> str:
        """Everything in it as one text; of a picture what it shows."""
        if self.alt:
            return self.alt
        texts = (part if isinstance(part, str) else f"{part.text} " for part in self.parts)
        return " ".join("".join(texts).split(" ")).strip().replace("  ", " ")

    def all(self, *roles: str) -> list[Heard]:
        """The elements of these roles in it, in order."""
        return [each for each in self._below() if each.role in roles]

    def _below(self) -> Iterator[Heard]:
        for part in self.parts:
            if isinstance(part, Heard):
                yield part
                yield from part._below()

    def rows(self) -> list[list[Heard]]:
        """The cells of a table by row, a cell of several columns once for each."""
        return [
            [cell for cell in row.all("TH", "TD") for _ in range(cell.span)]
            for row in self.all("TR")
        ]


@dataclass(frozen=True)
class Listened:
    """A file as it is heard, and what is in it beside."""

    document: Heard
    silent: Sequence[str]
    """Texts that are not read."""
    unread: Sequence[Key]
    """Stretches that the tree does not name."""
    twice: Sequence[Key]
    """Stretches that it names more than once."""
    bookmarks: Sequence[tuple[str, int]]
    """Title and page of each."""


def listen(data: bytes) -> Listened:
    """Read a PDF as a listener hears it."""
    with Pdf.open(BytesIO(data)) as pdf:
        pages = {page.obj.objgen: number for number, page in enumerate(pdf.pages)}
        texts: dict[Key, str] = {}
        silent: list[str] = []
        for number, page in enumerate(pdf.pages):
            for at, text in _stretches(page):
                if at is None:
                    silent.append(text)
                else:
                    texts[number, at] = texts.get((number, at), "") + text
        named: list[Key] = []
        root: Any = pdf.Root.StructTreeRoot
        document = _element(root.K, pages, texts, named)
        marks = []
        mark: Any = pdf.Root.get("/Outlines", Dictionary()).get("/First")
        while mark is not None:
            marks.append((str(mark.Title), pages[mark.Dest[0].objgen]))
            mark = mark.get("/Next")
    twice = [key for key in set(named) if named.count(key) > 1]
    return Listened(document, silent, sorted(texts.keys() - set(named)), twice, marks)


def _element(
    element: Any, pages: Mapping[tuple[int, int], int], texts: Mapping[Key, str], named: list[Key]
) -> Heard:
    heard = Heard(str(element.S)[1:], alt=str(element.get("/Alt", "")))
    attributes: Any = element.get("/A", Dictionary())
    heard.scope = str(attributes.get("/Scope", ""))[1:]
    heard.span = int(attributes.get("/ColSpan", 1))
    kids: Any = element.get("/K", Array())
    for kid in kids if isinstance(kids, Array) else [kids]:
        if isinstance(kid, int):
            key = pages[element.Pg.objgen], kid
        elif kid.get("/Type") == Name.MCR:
            key = pages[kid.Pg.objgen], int(kid.MCID)
        elif kid.get("/Type") == Name.OBJR:
            if kid.Obj.Subtype == Name.Link:
                heard.leads.append(pages[kid.Obj.Dest[0].objgen])
            else:
                heard.field = str(kid.Obj.TU)
            continue
        else:
            below = _element(kid, pages, texts, named)
            heard.page = below.page if heard.page < 0 else heard.page
            heard.parts.append(below)
            continue
        named.append(key)
        heard.page = key[0] if heard.page < 0 else heard.page
        heard.parts.append(texts[key])
    if "/ActualText" in element:
        heard.parts = [str(element.ActualText)]
    return heard


def _stretches(page: Any) -> Iterator[tuple[int | None, str]]:
    """The texts of a page in the order of drawing, each with the number of its stretch."""
    characters = {
        name: _characters(font.ToUnicode.read_bytes())
        for name, font in page.obj.Resources.Font.items()
        if "/ToUnicode" in font
    }
    inside: list[tuple[int | None, str | None]] = []
    """Open stretches: number, and the text that is read instead of what is drawn."""
    font = ""
    for operands, operator in pikepdf.parse_content_stream(page):
        name = str(operator)
        if name in ("BDC", "BMC"):
            more: Any = operands[1] if name == "BDC" else Dictionary()
            above = inside[-1][0] if inside else None
            number = int(more["/MCID"]) if "/MCID" in more else above
            instead = str(more["/ActualText"]) if "/ActualText" in more else None
            inside.append((number, instead))
            yield number, instead or ""
        elif name == "EMC":
            inside.pop()
        elif name == "Tf":
            font = str(operands[0])
        elif name in ("Tj", "TJ") and all(instead is None for _, instead in inside):
            pieces: Any = operands[0] if name == "TJ" else [operands[0]]
            codes = b"".join(bytes(each) for each in pieces if isinstance(each, pikepdf.String))
            size, known = characters[font]
            shown = (codes[at : at + size] for at in range(0, len(codes), size))
            yield inside[-1][0] if inside else None, "".join(known[code] for code in shown)


CHARACTER = re.compile(rb"^<((?:[0-9A-Fa-f]{2}){1,2})> <([0-9A-Fa-f]{4,})>$", re.MULTILINE)


def _characters(table: bytes) -> tuple[int, dict[bytes, str]]:
    """The bytes of a code of a font, and the characters by their codes, from its table."""
    known = {
        bytes.fromhex(code.decode()): bytes.fromhex(value.decode()).decode("utf-16-be")
        for code, value in CHARACTER.findall(table)
    }
    return len(next(iter(known))), known


def sentence(row: Sequence[Heard], heads: Sequence[Heard]) -> str:
    """A row of a table in one sentence: each cell after the head of its column."""
    return "; ".join(
        f"{head.text}: {cell.text}" for head, cell in zip(heads, row, strict=True) if cell.text
    )
