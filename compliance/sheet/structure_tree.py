"""Write what a sheet says when it is read aloud: structure tree, bookmarks, links, fields.

ISO 32000-1, 14.7 and 14.8 (logical structure, tagged PDF), as ISO 14289-1 (PDF/UA-1) asks.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import Any, NamedTuple

from pikepdf import Array, Dictionary, Name, Pdf, String

from compliance.pictures.structure import Element, Node, Stretch, Structure

EMPTY_BOX = b"\n"
"""What an empty box draws; no bytes at all would be stored as something that cannot be unpacked."""
BOOKMARKED = ("H1", "H2")
SIGNATURES_EXIST, APPEND_ONLY = 1, 2
PRINTED, LOCKED = 4, 128
"""Flags of a form and of an annotation (ISO 32000-1, tables 165 and 219)."""


class Field(NamedTuple):
    """A field for a signature."""

    label: str
    page: int
    """Counted from 0."""
    corners: tuple[int, int, int, int]
    """Points from the lower left corner of the page."""


def write_structure(document: Pdf, structure: Structure, fields: Mapping[str, Field]) -> None:
    """Add tree, bookmarks and empty fields, by name, to a drawn document."""
    root = document.Root
    root.MarkInfo = Dictionary(Marked=True)
    root.ViewerPreferences = Dictionary(DisplayDocTitle=True)
    widgets = _add_fields(document, fields)
    _Tree(document, widgets).write(structure.document)
    marks = list(_bookmarks(structure.document))
    if marks:
        root.Outlines = _outlines(document, marks)
    for page in document.pages:
        page.obj.Tabs = Name.S


def _add_fields(document: Pdf, fields: Mapping[str, Field]) -> dict[str, Any]:
    """Add fields with empty boxes; return them by name."""
    widgets: dict[str, Any] = {}
    for name, (label, at, corners) in fields.items():
        x0, y0, x1, y1 = corners
        page = document.pages[at].obj
        empty = document.make_stream(
            EMPTY_BOX,
            Type=Name.XObject,
            Subtype=Name.Form,
            BBox=Array([0, 0, x1 - x0, y1 - y0]),
            Resources=Dictionary(),
        )
        widgets[name] = document.make_indirect(
            Dictionary(
                Type=Name.Annot,
                Subtype=Name.Widget,
                FT=Name.Sig,
                T=String(name),
                TU=String(label),
                F=PRINTED | LOCKED,
                Rect=Array(corners),
                P=page,
                AP=Dictionary(N=empty),
            )
        )
        page.Annots = Array([*page.get("/Annots", ()), widgets[name]])
    if widgets:
        document.Root.AcroForm = Dictionary(
            Fields=Array(list(widgets.values())), SigFlags=SIGNATURES_EXIST | APPEND_ONLY
        )
    return widgets


class _Tree:
    """The tree while it is written."""

    def __init__(self, document: Pdf, widgets: Mapping[str, Any]) -> None:
        self._document = document
        self._widgets = widgets
        self._pages = [page.obj for page in document.pages]
        self._owners: dict[int, dict[int, Any]] = {at: {} for at in range(len(self._pages))}
        """The element of each stretch, by page and number."""
        self._of_annotations: list[Any] = []
        """The element of each annotation."""
        self._attributes: dict[tuple[str, int], Any] = {}

    def write(self, top: Node) -> None:
        root = self._document.make_indirect(Dictionary(Type=Name.StructTreeRoot))
        self._document.Root.StructTreeRoot = root
        root.K = self._element(top, root)
        entries: list[Any] = []
        for number, owners in self._owners.items():
            self._pages[number].StructParents = number
            entries += [number, Array([owners[at] for at in range(len(owners))])]
        for number, owner in enumerate(self._of_annotations, len(self._owners)):
            entries += [number, owner]
        root.ParentTree = self._document.make_indirect(Dictionary(Nums=Array(entries)))
        root.ParentTreeNextKey = len(self._owners) + len(self._of_annotations)

    def _element(self, node: Node, above: Any) -> Any:
        """Write a node and what is below it."""
        element = node.element
        written = self._document.make_indirect(
            Dictionary(S=Name(f"/{element.role if element else 'Document'}"), P=above)
        )
        stretches = [part for part in node.parts if isinstance(part, Stretch)]
        page = stretches[0].page if stretches else None
        if page is not None:
            written.Pg = self._pages[page]
        if element is not None:
            self._describe(written, element)
        parts = [
            self._element(part, written)
            if isinstance(part, Node)
            else self._stretch(part, written, page)
            for part in node.parts
        ]
        if element is not None and element.role == "Form":
            widget = self._widgets[element.text]
            parts.append(self._annotation(widget, widget.P, written))
        if element is not None and element.role == "Link":
            for number, box in node.lines:
                link = self._link(element, self._pages[number], box)
                parts.append(self._annotation(link, self._pages[number], written))
        if parts:
            written.K = parts[0] if len(parts) == 1 else Array(parts)
        return written

    def _describe(self, written: Any, element: Element) -> None:
        if element.role == "Figure":
            written.Alt = String(element.text)
        if element.role == "Span" and element.text:
            written.ActualText = String(element.text)
        if element.scope:
            written.A = self._cell(element.scope, element.span)
        if element.box is not None:
            written.A = Dictionary(O=Name.Layout, BBox=Array(element.box))

    def _cell(self, scope: str, span: int) -> Any:
        """The attributes of the heading of a column or a row, one object for all alike."""
        found = self._attributes.get((scope, span))
        if found is None:
            made = Dictionary(O=Name.Table, Scope=Name(f"/{scope}"))
            if span > 1:
                made.ColSpan = span
            found = self._attributes[scope, span] = self._document.make_indirect(made)
        return found

    def _stretch(self, stretch: Stretch, owner: Any, page: int | None) -> Any:
        self._owners[stretch.page][stretch.number] = owner
        if stretch.page == page:
            return stretch.number
        return Dictionary(Type=Name.MCR, Pg=self._pages[stretch.page], MCID=stretch.number)

    def _link(self, element: Element, page: Any, box: tuple[int, int, int, int]) -> Any:
        """Add a link to a page, which draws nothing."""
        link = self._document.make_indirect(
            Dictionary(
                Type=Name.Annot,
                Subtype=Name.Link,
                Rect=Array(box),
                Border=Array([0, 0, 0]),
                Contents=String(element.text),
                Dest=_place(self._pages[element.target]),
                F=PRINTED,
            )
        )
        page.Annots = Array([*page.get("/Annots", ()), link])
        return link

    def _annotation(self, annotation: Any, page: Any, owner: Any) -> Any:
        annotation.StructParent = len(self._owners) + len(self._of_annotations)
        self._of_annotations.append(owner)
        return Dictionary(Type=Name.OBJR, Obj=annotation, Pg=page)


def _place(page: Any, top: int | None = None) -> Array:
    """Make a destination: a page from `top` down, or as it is shown, in the size it has."""
    return Array([page, Name.XYZ, None, top, None])


# ---------------------------------------------------------------- bookmarks


def _bookmarks(node: Node) -> Iterator[tuple[str, int, float]]:
    """Yield the headings below a node: text, page and upper edge."""
    for part in node.parts:
        if not isinstance(part, Node) or part.element is None:
            continue
        if part.element.role in BOOKMARKED and part.place is not None:
            yield part.element.text, *part.place
        yield from _bookmarks(part)


def _outlines(document: Pdf, marks: list[tuple[str, int, float]]) -> Any:
    outlines = document.make_indirect(Dictionary(Type=Name.Outlines, Count=len(marks)))
    items = [
        document.make_indirect(
            Dictionary(
                Title=String(title),
                Parent=outlines,
                Dest=_place(document.pages[page].obj, round(top)),
            )
        )
        for title, page, top in marks
    ]
    for item, following in pairwise(items):
        item.Next, following.Prev = following, item
    outlines.First, outlines.Last = items[0], items[-1]
    return outlines
