"""Groups of mutated files that are signed: sheets and deliveries. None may be accepted, unless
what changed is nothing that a reader sees."""

from __future__ import annotations

import hashlib
import json
import random
import shutil
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from adversary import forging, zips
from helpers import deliveries
from helpers.signing import countersigned, identity
from mutations import changes, pdf_changes
from mutations.readers import Input
from mutations.watch import FaultError

from compliance.delivery import bag
from compliance.delivery.check import verify_delivery
from compliance.delivery.stored_zip import zip_bytes
from compliance.errors import ComplianceError
from compliance.evidence import recompute
from compliance.model.results import Check, DeliveryVerification, Expected, Status, Verification
from compliance.report.verification import delivery_data, sheet_data, step_details, step_text
from compliance.sheet import make_sheet
from compliance.signing.pdf_file import read_file
from compliance.verification import verify_as
from compliance.verification.compare_pages import _close

TRUST = Expected(
    signers=(identity().signer,),
    clients=(identity("Cleo Client").signer,),
    stamping=(),
    any_signer=False,
    now=forging.NOW,
)


@cache
def sheets() -> dict[str, bytes]:
    """A signed sheet, and the same one countersigned."""
    once = forging.honest()
    return {"signed": once, "countersigned": countersigned(once)}


def _check_lines(found: Verification | DeliveryVerification) -> None:
    """Every text that would be printed is a line, and there is one of each step."""
    for step in found.steps:
        for line in (step_text(step), *step_details(step)):
            if "\n" in line or "Error: " in line or not line:
                raise FaultError(f"not a line for a reader: {line[:200]!r}")


# ---------------------------------------------------------------- sheets, without a key


def raw_input(source: random.Random) -> Input:
    name = source.choice(("signed", "signed", "signed", "countersigned"))
    return f"{name} as bytes", changes.changed_bytes(source, sheets()[name], changes.PDF)


def structured_input(source: random.Random) -> Input:
    name = source.choice(("signed", "signed", "countersigned"))
    change = source.choice((pdf_changes.changed_update, pdf_changes.changed_in_place))
    data, what = change(source, sheets()[name])
    return f"{name}, {what}", data


def judge_sheet(what: str, data: bytes) -> str:
    found = verify_as(data, TRUST)
    sheet_data("sheet.pdf", found)
    _check_lines(found)
    if found.exit_code != 0:
        return "refused"
    name = "countersigned" if what.startswith("countersigned") else "signed"
    if data == sheets()[name]:
        return "unseen: the same bytes"
    if data == sheets()["signed"]:
        return "unseen: cut back to the sheet before it was countersigned"
    raise FaultError("a changed sheet is valid")


# ---------------------------------------------------------------- sheets, by the facility


@cache
def unsigned() -> forging.Unsigned:
    """An honest sheet before it is signed."""
    return forging.drawn(forging.passing())


@cache
def without_repeated_work() -> None:
    """The same evidence is assessed once, and its pages are drawn once."""
    assess, draw = recompute.assess_again, make_sheet.archival_sheet
    assessed: dict[str, Any] = {}
    pages: dict[str, Any] = {}

    def assess_once(files: Any, **how: Any) -> Any:
        key = hashlib.sha256(repr((sorted(files.items()), how)).encode()).hexdigest()
        if key not in assessed:
            assessed.clear()
            assessed[key] = assess(files, **how)
        return assessed[key]

    def draw_once(assessment: Any, **how: Any) -> Any:
        key = repr((id(assessment.state), assessment.number, how))
        if key not in pages:
            pages.clear()
            pages[key] = (draw(assessment, **how), assessment)
        return pages[key][0]

    recompute.assess_again = assess_once
    make_sheet.archival_sheet = draw_once


def resigned_input(source: random.Random) -> Input:
    data, what = pdf_changes.rebuilt_with_change(source, unsigned().pdf)
    try:
        sheet = forging.Unsigned(data, unsigned().boxes, unsigned().number)
        return what, forging.sealed(sheet)
    except Exception:
        return f"cannot be signed: {what}", data  # it is still a file that somebody may send


def judge_resigned(what: str, data: bytes) -> str:
    without_repeated_work()
    found = verify_as(data, TRUST)
    sheet_data("sheet.pdf", found)
    _check_lines(found)
    if found.exit_code == 1:
        return "refused"
    if found.exit_code == 3:
        return "not compared"
    kind = unseen_kind(data)
    if kind is None:
        raise FaultError("a sheet that its facility changed is valid")
    return f"unseen: {kind}"


def unseen_kind(data: bytes) -> str | None:
    """What of a sheet, changed before it was signed, no reader sees; None if something is seen."""
    before, after = pdf_changes.parsed(unsigned().pdf), read_file(data)
    kinds = set()
    for number, stored in before.state().items():
        other = after.state(1)[number]
        if not _signing_alone_differs(stored.value, other.value):
            return None
        if stored.stream is None:
            continue
        content, now = before.content(stored, 1 << 26), after.content(other, 1 << 26)
        if content != now and not _close(content, now):
            return None
        if content != now:
            kinds.add("numbers of drawings, by 0.02 points at most")
    return ", ".join(sorted(kinds)) or "spaces between values, or how a stream is packed"


BY_SIGNING = {"AcroForm", "Annots", "Extensions", "Length", "ModDate", "Perms"}
"""What signing adds or sets."""


def _signing_alone_differs(before: Any, after: Any) -> bool:
    if isinstance(before, dict) and isinstance(after, dict):
        return all(before.get(key) == after.get(key) for key in {*before, *after} - BY_SIGNING)
    return bool(before == after)


# ---------------------------------------------------------------- deliveries


@cache
def verified(data: bytes) -> Verification:
    """The verification of a sheet in a delivery; of changed ones only the last."""
    return verify_as(data, TRUST)


def verify_once(data: bytes) -> Verification:
    known = {each for name, each in forging.delivery().items() if name.endswith(".pdf")}
    return verified(data) if data in known else verify_as(data, TRUST)


def _checked(place: Path) -> DeliveryVerification:
    found = verify_delivery(place, verify_once, trusted=TRUST.signers, now=TRUST.now)
    delivery_data("delivery", found)
    _check_lines(found)
    return found


def _verdict(place: Path, *, signed: bool) -> str:
    """How a changed delivery ends; `signed`: its signature is still there."""
    try:
        found = _checked(place)
    except ComplianceError:
        return "refused"
    if found.exit_code not in (0, 3):
        return "refused"
    unsound = [
        step
        for step in found.steps
        if step.status is not Status.OK and step.check is not Check.SIGNED
    ]
    if unsound:
        return "refused"
    if found.exit_code == 3 and not signed:
        return "not signed as a whole"
    raise FaultError("a changed delivery is valid")


@cache
def place() -> Path:
    """A folder in memory, if the system has one."""
    memory = Path("/dev/shm")
    folder = tempfile.TemporaryDirectory(
        prefix="mutations-", dir=memory if memory.is_dir() else None
    )
    _kept.append(folder)
    return Path(folder.name)


_kept: list[tempfile.TemporaryDirectory[str]] = []


@cache
def archive() -> bytes:
    return zip_bytes(forging.delivery(), "delivery")


def zip_input(source: random.Random) -> Input:
    what = source.randrange(4)
    if what < 2:
        data = changes.changed_bytes(source, archive(), changes.ZIP)
        return "bytes", data
    if what == 2:
        return _entry_changed(source)
    name, data = _file_changed(source)
    return f"packed again: {name}", zip_bytes(_mended(source, name, data), "delivery")


ENTRY: dict[str, Callable[[random.Random, zips.Entry], Any]] = {
    "name": lambda s, e: e.name + s.choice((b"x", b"/", b"\0", b".pdf", b"")),
    "local_name": lambda s, e: e.name[:-1] + s.choice((b"x", b"g", b"/")),
    "extra": lambda s, e: s.choice((b"\x75\x70\x05\x00\x01abcd", b"ab", b"\0" * 9)),
    "local_extra": lambda s, e: s.choice((b"\x75\x70\x05\x00\x01abcd", b"ab", b"\0" * 9)),
    "comment": lambda s, e: s.choice((b"x", b"\0" * 9)),
    "flags": lambda s, e: 1 << s.randrange(16),
    "method": lambda s, e: s.choice((8, 9, 12, 14, 99)),
    "behind": lambda s, e: s.choice((b"x", b"PK\x03\x04", b"\0" * 30)),
    "size": lambda s, e: s.choice((0, 1, len(e.data) + 1, 1 << 31)),
    "crc": lambda s, e: s.randrange(1 << 32),
    "descriptor": lambda s, e: True,
    "data": lambda s, e: changes.changed_bytes(s, e.data),
}


def _entry_changed(source: random.Random) -> Input:
    """One field of one entry's headers, or the order of the entries."""
    given = zips.entries(forging.delivery())
    key = source.choice((*ENTRY, "order", "twice", "gone", "before", "behind all"))
    at = source.randrange(len(given))
    before = comment = b""
    if key in ENTRY:
        given[at] = zips.replace(given[at], **{key: ENTRY[key](source, given[at])})
    elif key == "order":
        given.insert(source.randrange(len(given)), given.pop(at))
    elif key == "twice":
        given.insert(source.randrange(len(given)), given[at])
    elif key == "gone":
        del given[at]
    elif key == "before":
        before = source.choice((b"x", b"PK\x05\x06", b"%PDF-1.7\n", b"\0" * 100))
    else:
        comment = source.choice((b"x", b"PK\x05\x06" + b"\0" * 18))
    return f"entry's {key}", zips.archive(given, before=before, comment=comment)


def judge_zip(what: str, data: bytes) -> str:
    if data == archive():
        return "unseen: the same bytes"
    file = place() / "delivery.zip"
    file.write_bytes(data)
    return _verdict(file, signed=f"/{bag.SIGNATURE}".encode() in data and "packed" not in what)


def _file_changed(source: random.Random) -> Input:
    files = forging.delivery()
    name = source.choice(sorted(files))
    data = files[name]
    if name.endswith(".pdf") and source.randrange(2):
        return name, pdf_changes.changed_update(source, data)[0]
    if name.endswith(".json") and source.randrange(2):
        return name, _changed_json(source, data)
    return name, changes.changed_bytes(source, data)


def _changed_json(source: random.Random, data: bytes) -> bytes:
    return changes.dumped(changes.changed_value(source, json.loads(data)))


def _mended(source: random.Random, name: str, data: bytes) -> deliveries.Files:
    """The delivery with that file, and manifests that fit but are not signed."""
    files = {**forging.delivery(), name: data}
    if not source.randrange(3):
        del files[name]
    return deliveries.resealed(files)


def folder_input(source: random.Random) -> Input:
    """A changed file of a folder, whose name comes first, after what else is done."""
    name, data = _file_changed(source)
    how = source.choice(("alone", "alone", "mended", "mended", "renamed", "gone", "doubled"))
    return f"{how} {name}", data


def judge_folder(what: str, data: bytes) -> str:
    how, _, name = what.partition(" ")
    files = forging.delivery()
    if how in ("alone", "mended") and data == files[name]:
        return "unseen: the same bytes"
    if how == "gone":
        del files[name]
    elif how == "renamed":
        files[name + "x"] = files.pop(name)
    elif how == "doubled":
        files[f"{name}.copy"] = data
    else:
        files[name] = data
    if how == "mended":
        files = deliveries.resealed(files)
    folder = place() / "delivery"
    shutil.rmtree(folder, ignore_errors=True)
    deliveries.as_folder(files, folder)
    return _verdict(folder, signed=bag.SIGNATURE in files)
