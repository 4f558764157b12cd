"""What a sheet may not contain beside what it shows: hidden bytes, scripts, other fields.

Read by the grammar alone and without a library. None of it is ever explained by another
version or library, since no version writes it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from compliance.signing.attached_files import text_of
from compliance.signing.pdf_file import (
    PdfFile,
    Stored,
    dictionaries,
    references,
    resolved,
)
from compliance.signing.pdf_syntax import Ref
from compliance.signing.sign import COUNTER_FIELD, FACILITY_FIELD, LABELS

State = Mapping[int, Stored]

# fmt: off
ACTIVE = frozenset(
    {
        "A", "AA", "Alternates", "Collection", "Dests", "JS", "JavaScript", "Launch",
        "Linearized", "Next", "OC", "OCGs", "OCProperties", "OpenAction", "OPI", "PresSteps",
        "RF", "RichMediaContent", "Threads", "Trans", "URI", "XFA"
    }
)
"""Keys of dictionaries for actions, scripts, layers and further files; no sheet has any.

Of a linearized file some readers begin with another cross-reference table (ISO 32000-1, F).
"""
KINDS = frozenset(
    {
        "3D", "Action", "FileAttachment", "GoTo3DView", "GoToE", "GoToR", "ImportData",
        "JavaScript", "Launch", "Movie", "Named", "OCG", "OCMD", "ObjStm", "Rendition",
        "ResetForm", "RichMedia", "Screen", "SetOCGState", "Sound", "SubmitForm", "URI",
        "XRef"
    }
)
"""The same as values of /S, /Type and /Subtype."""
# fmt: on

BOOKMARK = frozenset({"Title", "Parent", "Prev", "Next", "Dest"})
"""All that a bookmark may have; others have actions."""
ATTRIBUTES = frozenset({"O", "Scope", "ColSpan", "BBox"})
"""All that the attributes of an element that is read aloud may have."""

EMPTY = {"Type": "XObject", "Subtype": "Form", "Resources": {}, "Length": 0}
"""The appearance of an empty field, without its size. The library leaves one behind, unused."""
EMPTY_BOXES = (b"", b"\n")
"""What it draws: as the library adds it, and as a sheet has it."""
BY_SIGNING = frozenset({"AcroForm", "Annots", "Extensions", "Perms"})
"""Entries of the catalog and the first page that the first signature adds."""
FILLED = frozenset({"AP", "V"})
"""Entries of a field that its signature adds or replaces."""
TRAILER = frozenset({"Root", "Info", "ID", "Size", "Prev"})
LARGEST_NUMBER = 1_000_000
"""Readers take a file with larger numbers of objects for damaged, each from another one on."""
NAMES = frozenset({"Names", "Kids", "Limits"})
"""Entries of a node of the tree that names the attachments."""
FORM = {"SigFlags": 3}
WIDGET = {"FT": "Sig", "Type": "Annot", "Subtype": "Widget", "F": 132}
FREE_IN_WIDGET = frozenset({"T", "Rect", "P", "TU", "AP", "V", "StructParent"})
LINK = {"Type": "Annot", "Subtype": "Link", "Border": [0, 0, 0], "F": 4}
FREE_IN_LINK = frozenset({"Contents", "Dest", "Rect", "StructParent"})
FREE_IN_SIGNATURE = frozenset(
    {"Contents", "ByteRange", "SubFilter", "M", "Reason", "Location", "Prop_Build"}
)
HANDLER = "Adobe.PPKLite"
"""What viewers are told to check signatures with (ISO 32000-1, 12.8.1)."""
CERTIFIES = [
    {
        "Type": "SigRef",
        "TransformMethod": "DocMDP",
        "TransformParams": {"Type": "TransformParams", "V": "1.2", "P": 2},
    }
]


def hidden_faults(file: PdfFile) -> Iterator[str]:
    """Yield each part of a signed file that no sheet has."""
    yield from _bytes_between(file)
    for count, revision in enumerate(file.revisions, 1):
        state = file.state(count)
        yield from _unreachable(state, revision.objects, revision.trailer)
        yield from _tree_faults(state, revision.trailer)
        for number, stored in revision.objects.items():
            yield from _active(state, number, stored.value)
            if stored.stream is not None and not file.is_whole(stored):
                yield f"object {number} is damaged, or has more than its content"
    yield from _replaced(file)
    yield from _form_faults(file)


def _bytes_between(file: PdfFile) -> Iterator[str]:
    for revision in file.revisions:
        at = revision.start
        for stored in sorted(revision.objects.values(), key=lambda each: each.start):
            if not _is_blank(file.data, at, stored.start):
                yield f"there are bytes between its objects, at {at}"
            at = stored.end
        if not _is_blank(file.data, at, revision.table):
            yield f"there are bytes between its objects, at {at}"
    if len(file.data) - file.revisions[-1].end > len(b"\r\n") or not _is_blank(
        file.data, file.revisions[-1].end, len(file.data)
    ):
        yield "there are bytes after its end"


def _is_blank(data: bytes, start: int, end: int) -> bool:
    return not data[start:end].strip(b"\0\t\n\f\r ")


def _unreachable(
    state: State, written: Mapping[int, Stored], trailer: Mapping[str, Any]
) -> Iterator[str]:
    """Yield the objects of a revision that nothing in the file uses, and uses of none."""
    known: set[int] = set()
    values = [dict(trailer)]
    while values:
        for number in references(values.pop()):
            if number not in known and number in state:
                values.append(state[number].value)
            elif number not in state:
                yield f"it refers to object {number}, which it does not have"
            known.add(number)
    for number, stored in written.items():
        if number not in known and not _is_empty_appearance(stored):
            yield f"object {number} is used by nothing"


def _is_empty_appearance(stored: Stored) -> bool:
    return stored.stream is not None and _without(stored.value, {"BBox"}) == EMPTY


def _is_empty_box(file: PdfFile, stored: Stored) -> bool:
    """Return whether an appearance draws nothing: the library's own, or a sheet's."""
    if stored.stream is None:
        return False
    kept, drawn = (_without(each, {"BBox", "Length", "Filter"}) for each in (EMPTY, stored.value))
    return kept == drawn and file.content(stored, 2) in EMPTY_BOXES


def _active(state: State, number: int, value: Any) -> Iterator[str]:
    for each in dictionaries(value):
        for key in sorted(ACTIVE & each.keys()):
            if key == "Next" and each.keys() <= BOOKMARK:
                continue
            if key == "A" and _has_attributes(state, each):
                continue
            yield f"object {number} has /{key}, as no sheet has"
        for key in ("S", "Type", "Subtype"):
            kind = each.get(key)
            if isinstance(kind, str) and kind in KINDS:
                yield f"object {number} is a /{kind}, as no sheet has"


def _replaced(file: PdfFile) -> Iterator[str]:
    """Yield what the first signature replaced: it adds entries to catalog, page and field only,
    and fills boxes that were empty."""
    drawn, signed = (revision.objects for revision in file.revisions[:2])
    state = file.state(1)
    for stored in drawn.values():
        if isinstance(stored.value, Mapping) and "FT" in stored.value and "AP" in stored.value:
            shown = resolved(state, stored.value["AP"]).get("N")
            if not isinstance(shown, Ref) or not _is_empty_box(file, state[shown.number]):
                yield "a box of a signature was not empty before the file was signed"
    for number in drawn.keys() & signed.keys():
        field = isinstance(drawn[number].value, Mapping) and "FT" in drawn[number].value
        free = FILLED if field else BY_SIGNING
        before, after = (_without(each[number].value, free) for each in (drawn, signed))
        if before != after or drawn[number].stream is not None:
            yield f"object {number} was another one before the file was signed"


# ---------------------------------------------------------------- the trees


def _tree_faults(state: State, trailer: Mapping[str, Any]) -> Iterator[str]:
    """Check what leads to the pages and files of a revision; readers go down and up."""
    if trailer.keys() - TRAILER or _refers({**trailer, "Root": None, "Info": None}):
        yield "its trailer has other entries than in a sheet"
    size = trailer.get("Size")
    if type(size) is not int or not max(state) < size <= LARGEST_NUMBER:
        yield f"it states {size} as the number of its objects, at which readers repair it"
    if _refers(resolved(state, trailer.get("Info", {}))):
        yield "its information has other entries than in a sheet"
    root = resolved(state, trailer["Root"])
    if _refers(resolved(state, root.get("Extensions", {}))):
        yield "its extensions are not those of a sheet"
    tree = resolved(state, root["Pages"])
    pages = resolved(state, tree["Kids"])
    # What pages inherit, each of them has itself.
    if tree != {"Type": "Pages", "Kids": tree["Kids"], "Count": len(pages)}:
        yield "the node above its pages has other entries than in a sheet"
    for number, place in enumerate(pages, 1):
        page = resolved(state, place) if isinstance(place, Ref) else {}
        if page.get("Type") != "Page":
            yield f"page {number} is not a page"
        elif page.get("Parent") != root["Pages"]:
            yield f"page {number} has another node above it than the one of all pages"
    places = [resolved(state, root.get("Names", {})).get("EmbeddedFiles", {})]
    for place in places:
        node = resolved(state, place)
        places += [each for each in resolved(state, node.get("Kids", [])) if each not in places]
        if node.keys() - NAMES or _refers(node.get("Limits")):
            yield "the tree of its attachments has other entries than in a sheet"


def _refers(value: Any) -> bool:
    return next(references(value), None) is not None


def _has_attributes(state: State, element: Mapping[str, Any]) -> bool:
    """Return whether the entry `A` of an element of the structure tree is what it has there."""
    attributes = resolved(state, element["A"])
    return (
        "S" in element
        and "Type" not in element
        and "Subtype" not in element
        and isinstance(attributes, Mapping)
        and attributes.keys() <= ATTRIBUTES
    )


# ---------------------------------------------------------------- the form


def _form_faults(file: PdfFile) -> Iterator[str]:
    state = file.state()
    root = resolved(state, file.revisions[-1].trailer["Root"])
    form = resolved(state, root.get("AcroForm", {}))
    places = resolved(state, form.get("Fields", []))
    if _without(form, {"Fields"}) != FORM:
        yield "its form has more than fields of signatures"
    pages = resolved(state, resolved(state, root["Pages"])["Kids"])
    for number, page in enumerate(pages, 1):
        annotations = resolved(state, resolved(state, page).get("Annots", []))
        fields = [each for each in annotations if not _is_link(state, each, pages)]
        if fields != (places if number == 1 else []):
            yield f"page {number} has other annotations than the fields of signatures"
    certified = [
        field.get("V")
        for field in (resolved(state, each) for each in places)
        if text_of(resolved(state, field.get("T", b""))) == FACILITY_FIELD
    ]
    if [resolved(state, root.get("Perms", {}))] != [{"DocMDP": each} for each in certified]:
        yield "its permissions are not those of a certified sheet"
    first = pages[0] if pages else None
    for place in places:
        yield from _field_faults(file, resolved(state, place), first)


def _is_link(state: State, place: Any, pages: Sequence[Any]) -> bool:
    """Return whether an annotation leads to a page of the sheet and does nothing else."""
    link = resolved(state, place)
    to = link.get("Dest")
    return (
        link.keys() == LINK.keys() | FREE_IN_LINK
        and _without(link, FREE_IN_LINK) == LINK
        and isinstance(to, list)
        and to[0] in pages
        and to[1:] == ["XYZ", None, None, None]
    )


def _field_faults(file: PdfFile, field: Mapping[str, Any], page: Any) -> Iterator[str]:
    state = file.state()
    name = text_of(resolved(state, field.get("T", b"")))
    if _without(field, FREE_IN_WIDGET) != WIDGET or field.get("P") != page:
        yield f"the field {name} has other entries than in a sheet"
    value = resolved(state, field.get("V", {}))
    if not isinstance(value, Mapping):
        yield f"the field {name} is not of a signature"
        return
    if name in LABELS:
        if text_of(field.get("TU", b"")) != LABELS[name]:
            yield f"the field {name} has another label"
        appearance = resolved(state, field.get("AP", {}))
        if appearance.keys() != {"N"} or not isinstance(appearance["N"], Ref):
            yield f"the field {name} has other appearances than one"
        elif not value and not _is_empty_box(file, state[appearance["N"].number]):
            yield f"the box of {name} is not empty"
    elif "AP" in field or field.get("Rect") != [0, 0, 0, 0] or value.get("Type") != "DocTimeStamp":
        yield f"the field {name} is neither of a signature nor of an archive stamp"
    kind = "Sig" if name in LABELS else "DocTimeStamp"
    expected: dict[str, Any] = {"Type": kind, "Filter": HANDLER}
    if name == FACILITY_FIELD:
        expected["Reference"] = CERTIFIES
    if value and (_without(value, FREE_IN_SIGNATURE) != expected or _refers(value)):
        yield f"the signature {name} has other entries than in a sheet"
    if not value and name != COUNTER_FIELD:
        yield f"the field {name} is empty"


def _without(value: Mapping[str, Any], free: frozenset[str] | set[str]) -> dict[str, Any]:
    return {key: each for key, each in value.items() if key not in free}
