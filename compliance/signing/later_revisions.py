"""Check what was added to a certified file: each revision is a signature or an archive stamp.

An archive stamp's revision adds one invisible field with a document time stamp (ETSI EN 319
142-1, 5.4.3), and may add certificates, revocation lists and answers to the document security
store (5.4.2). Every object that it writes is compared with the revision before.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence, Set
from typing import Any

from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation.pdf_embedded import EmbeddedPdfSignature

from compliance.signing.revocation import LOADERS, is_material

ARCHIVE_FIELD = "ArchiveStamp"
"""The beginning of the name of an archive stamp's field; its number follows, from 1."""
ARCHIVE_LABEL = "Archive time stamp"
MOST_MATERIAL = 100
"""Most certificates, lists or answers in the store; real ones have some ten."""
LARGEST_STORE = 4 << 20
"""Most bytes of all of them; a list of a megabyte takes a second to read."""

Ref = tuple[int, int]
NEW_FIELD = frozenset({"/FT", "/T", "/Type", "/Subtype", "/F", "/Rect", "/P", "/TU", "/V"})
FIXED_FIELD: Mapping[str, Any] = {
    "/FT": "/Sig",
    "/Type": "/Annot",
    "/Subtype": "/Widget",
    "/F": 132,
    "/Rect": [0, 0, 0, 0],
    "/TU": ARCHIVE_LABEL,
}
NEW_STAMP = frozenset({"/Type", "/Filter", "/SubFilter", "/Contents", "/ByteRange"})
FIXED_STAMP: Mapping[str, Any] = {
    "/Type": "/DocTimeStamp",
    "/Filter": "/Adobe.PPKLite",
    "/SubFilter": "/ETSI.RFC3161",
}


def archive_names(count: int) -> list[str]:
    """Return the names of the fields of so many archive stamps."""
    return [f"{ARCHIVE_FIELD}{number}" for number in range(1, count + 1)]


def revision_faults(
    reader: PdfFileReader, embedded: Sequence[EmbeddedPdfSignature]
) -> Iterator[str]:
    """Yield what the revisions after the first signature add beyond signatures and stamps.

    `embedded` are signatures and archive stamps in the order of their revisions.
    """
    if [each.signed_revision for each in embedded] != list(range(1, len(embedded) + 1)):
        yield "its signatures and archive stamps are not one in each revision"
        return
    stamps = [each for each in embedded if is_stamp(each)]
    if [each.field_name for each in stamps] != archive_names(len(stamps)):
        yield "its archive stamps are not named in their order"
    for each in embedded:
        if is_stamp(each):
            fault = _Revision(reader, each).fault()
        elif each.signed_revision > 1 or not stamps:
            fault = None if _store_kept(reader, each.signed_revision) else "it changes /DSS"
        else:
            fault = "/DSS was in the file" if "/DSS" in _at(reader, 1).root else None
        if fault is not None:
            yield f"{each.field_name}: its revision adds more than it should: {fault}"


def is_stamp(embedded: EmbeddedPdfSignature) -> bool:
    """Return whether a signature object is a document time stamp."""
    return bool(embedded.sig_object_type == "/DocTimeStamp")


def read_store(reader: PdfFileReader) -> dict[str, list[bytes]]:
    """Return the contents of the store by the names of its entries; empty without a store.

    The caller has to check the revisions first.
    """
    return _contents(reader.root["/DSS"]) if "/DSS" in reader.root else {}


def _contents(store: Any) -> dict[str, list[bytes]]:
    return {key: [each.get_object().data for each in store[key]] for key in LOADERS if key in store}


def _at(reader: PdfFileReader, revision: int) -> Any:
    return reader.get_historical_resolver(revision)


def _store_kept(reader: PdfFileReader, revision: int) -> bool:
    """Return whether a revision leaves the store as it was; also: there is none."""
    before, after = (_at(reader, each).root for each in (revision - 1, revision))
    if "/DSS" not in before and "/DSS" not in after:
        return True
    if "/DSS" not in before or "/DSS" not in after or not _equal(before, after, "/DSS"):
        return False
    store = after["/DSS"]
    kept = {_ref(after.raw_get("/DSS"))}
    kept |= {_ref(each) for key in LOADERS if key in store for each in store[key]}
    return kept.isdisjoint(_written(reader, revision))


def _written(reader: PdfFileReader, revision: int) -> set[Ref]:
    return {
        (each.idnum, each.generation) for each in reader.xrefs.explicit_refs_in_revision(revision)
    }


class _Revision:
    """The revision of one archive stamp, beside the one before."""

    def __init__(self, reader: PdfFileReader, stamp: EmbeddedPdfSignature) -> None:
        self._reader = reader
        self._number = stamp.signed_revision
        self._name = stamp.field_name
        self._before, self._after = (_at(reader, each) for each in (self._number - 1, self._number))
        self._written = _written(reader, self._number)
        self._explained: set[Ref] = set()

    def fault(self) -> str | None:
        """Return the first thing in it that is not as it should be."""
        checks: tuple[Callable[[], str | None], ...] = (
            self._catalog_fault,
            self._store_fault,
            self._field_fault,
        )
        for check in checks:
            if (fault := check()) is not None:
                return fault
        freed = {
            each
            for each in self._reader.xrefs.refs_freed_in_revision(self._number)
            if each.idnum != 0
        }
        if freed or self._after.object_streams_used():
            return "objects were removed or packed"
        if rest := sorted(self._written - self._explained):
            return f"object {rest[0][0]}"
        return None

    def _is_new(self, reference: Any) -> bool:
        """Return whether an object begins to exist in this revision."""
        ref = _ref(reference)
        introduced = self._reader.xrefs.get_introducing_revision(
            generic.Reference(*ref, pdf=self._reader)
        )
        return ref in self._written and introduced == self._number

    def _catalog_fault(self) -> str | None:
        before, after = self._before.root, self._after.root
        if _ref(self._before.root_ref) != _ref(self._after.root_ref):
            return "another catalog"
        # A form in the catalog itself grows by the stamp's field; `_field_fault` compares it.
        form = {"/AcroForm"} if isinstance(after.raw_get("/AcroForm"), dict) else set()
        if not _equal_entries(before, after, but={"/DSS"} | form):
            return "the catalog"
        self._explained.add(_ref(self._after.root_ref))
        return None

    def _store_fault(self) -> str | None:
        before, after = self._before.root, self._after.root
        held = "/DSS" in before
        if "/DSS" not in after:
            return "/DSS was removed" if held else None
        place, store = after.raw_get("/DSS"), after["/DSS"]
        if not isinstance(place, generic.IndirectObject) or not set(store) <= set(LOADERS):
            return "/DSS contains more than certificates and revocation data"
        if not _same(before.raw_get("/DSS"), place) if held else not self._is_new(place):
            return "/DSS is another object"
        self._explained.add(_ref(place))
        for key in LOADERS:
            kept = _entries(before["/DSS"], key) if held else []
            found = _entries(store, key)
            if kept is None or found is None or len(found) > MOST_MATERIAL:
                return f"{key} is not a list of at most {MOST_MATERIAL}"
            if not _same(kept, found[: len(kept)]):
                return f"{key} does not continue the earlier one"
            for each in found[len(kept) :]:
                if not self._is_material(each, key):
                    return f"{key} contains something else"
                self._explained.add(_ref(each))
        if sum(map(len, itertools.chain(*_contents(store).values()))) > LARGEST_STORE:
            return f"/DSS has more than {LARGEST_STORE >> 20} MiB"
        return None

    def _is_material(self, place: Any, kind: str) -> bool:
        """Return whether a new object is a plain stream of one certificate, list or answer."""
        if not isinstance(place, generic.IndirectObject) or not self._is_new(place):
            return False
        stream = self._after(place.reference)
        if not isinstance(stream, generic.StreamObject) or set(stream) != {"/Length"}:
            return False
        return is_material(kind, stream.encoded_data)

    def _field_fault(self) -> str | None:
        """Check the new field, its stamp, and the two lists that it is entered in."""
        forms = [each.root["/AcroForm"] for each in (self._before, self._after)]
        places = list(forms[1]["/Fields"])
        field: Any = self._after(places[-1].reference) if places else {}
        if not places or not self._is_new(places[-1]) or str(field.get("/T")) != self._name:
            return "its field is not the new one of the form"
        if set(field) != NEW_FIELD or not _has(field, FIXED_FIELD):
            return "its field is not an invisible one with nothing but a time stamp"
        stamp, page = field.raw_get("/V"), field.raw_get("/P")
        if not isinstance(stamp, generic.IndirectObject) or not self._is_new(stamp):
            return "its time stamp is not new"
        value = self._after(stamp.reference)
        if set(value) != NEW_STAMP or not _has(value, FIXED_STAMP):
            return "its time stamp has other entries"
        self._explained |= {_ref(places[-1]), _ref(stamp)}
        pages = [each(page.reference) for each in (self._before, self._after)]
        if pages[0].get("/Type") != "/Page":
            return "its field is not on a page"
        form = self._after.root.raw_get("/AcroForm")
        if not self._grew(forms, "/Fields", form, places[-1]):
            return "the form"
        if not self._grew(pages, "/Annots", page, places[-1]):
            return "the page"
        return None

    def _grew(self, pair: Sequence[Any], key: str, holder: Any, by: Any) -> bool:
        """Return whether a dictionary differs only in a list that has one entry more."""
        before, after = pair
        if not _equal_entries(before, after, but={key}):
            return False
        old, new = (each.raw_get(key) if key in each else [] for each in pair)
        if isinstance(old, generic.IndirectObject):
            if not _same(old, new):
                return False
            self._explained.add(_ref(new))
        elif isinstance(holder, generic.IndirectObject):
            self._explained.add(_ref(holder))
        kept = list(before[key]) if key in before else []
        return _same([*kept, by], list(after[key]))


# ---------------------------------------------------------------- objects side by side


def _ref(place: Any) -> Ref:
    return place.idnum, place.generation


def _entries(store: Any, key: str) -> list[Any] | None:
    """Return the entries of a list in the store; None if there is something else."""
    found = store.raw_get(key) if key in store else []
    return list(found) if isinstance(found, list) else None


def _has(dictionary: Any, fixed: Mapping[str, Any]) -> bool:
    return all(dictionary.raw_get(key) == value for key, value in fixed.items())


def _equal_entries(before: Any, after: Any, *, but: Set[str]) -> bool:
    keys = set(before) - but
    return set(after) - but == keys and all(_equal(before, after, key) for key in keys)


def _equal(before: Any, after: Any, key: str) -> bool:
    return _same(before.raw_get(key), after.raw_get(key))


def _same(one: Any, other: Any) -> bool:
    """Return whether two objects are written alike; references are not followed."""
    if isinstance(one, generic.IndirectObject) or isinstance(other, generic.IndirectObject):
        return type(one) is type(other) and _ref(one) == _ref(other)
    if isinstance(one, dict) and isinstance(other, dict):
        return (
            type(one) is type(other)
            and not isinstance(one, generic.StreamObject)
            and set(one) == set(other)
            and all(_equal(one, other, key) for key in one)
        )
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(_same, one, other))
    return type(one) is type(other) and bool(one == other)
