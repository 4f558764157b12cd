"""A delivery of two invented sheets, as files, and changes to it."""

from __future__ import annotations

import hashlib
import struct
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path

from compliance.delivery.build import build_delivery, sign_delivery
from compliance.delivery.check import verify_delivery
from compliance.delivery.contents import PackedSheet, Sheet, packed_sheet
from compliance.delivery.stored_zip import Entry, zip_bytes
from compliance.model.results import DeliveryVerification, Verification
from compliance.report.verification import step_details, step_text
from compliance.sheet.make_sheet import countersign_sheet, write_sheet
from compliance.verification import verify_sheet
from helpers import near_limit
from helpers.near_limit import AGAIN
from helpers.signing import identity

Files = dict[str, bytes]
TRUST, CLIENTS = (identity().pem,), (near_limit.client().pem,)


@cache
def verify(data: bytes) -> Verification:
    """The verification of a sheet with the tests' signers; each only once in all tests."""
    rules = [near_limit.rule().digest]
    return verify_sheet(data, trust=TRUST, client_trust=CLIENTS, rules=rules)


@cache
def first() -> bytes:
    """A sheet that is signed twice."""
    return countersign_sheet(
        near_limit.sheet(accepted=True), identity=near_limit.client(), role="Client", when=AGAIN
    )


@cache
def second() -> bytes:
    """A sheet of another slot."""
    return write_sheet(near_limit.assessment(slot="2"), identity=identity())


def packed(**pdfs: bytes) -> list[PackedSheet]:
    """Sheets with their files; default: the two above."""
    given = pdfs or {"one": first(), "two": second()}
    return [packed_sheet(name, data, verify(data)) for name, data in given.items()]


def sheets(**pdfs: bytes) -> list[Sheet]:
    """The facts of the same."""
    return [each.sheet for each in packed(**pdfs)]


@cache
def _delivery() -> Mapping[str, bytes]:
    return sign_delivery(build_delivery(packed()), identity(), AGAIN)


def delivery() -> Files:
    """Its files by path, signed as a whole."""
    return dict(_delivery())


def resealed(files: Files) -> Files:
    """The files with correct manifests, unsigned: the work of a careful forger."""
    kept = {name: data for name, data in files.items() if name != "signature.p7s"}
    for manifest, payload in (("manifest-sha256.txt", True), ("tagmanifest-sha256.txt", False)):
        kept.pop(manifest, None)
        lines = [
            f"{hashlib.sha256(data).hexdigest()}  {name}\n"
            for name, data in sorted(kept.items())
            if name.startswith("data/") is payload and not name.startswith("tagmanifest")
        ]
        kept[manifest] = "".join(lines).encode()
    return kept


def as_folder(files: Mapping[str, bytes], place: Path) -> Path:
    """Write the files below `place`."""
    for name, data in files.items():
        target = place / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
    return place


def as_zip(files: Mapping[str, bytes], place: Path) -> Path:
    """Write the files to one .zip."""
    place.write_bytes(zip_bytes(files, "delivery"))
    return place


def zip_of(entries: Sequence[tuple[str, bytes]]) -> bytes:
    """A .zip in the form of a delivery, of any names in any order."""
    parts, directory, at = [], [], 0
    for name, data in entries:
        entry = Entry(name, zlib.crc32(data), len(data), at)
        parts += [entry.header, data]
        directory.append(entry.in_directory)
        at += len(entry.header) + len(data)
    length, count = len(b"".join(directory)), len(directory)
    end = struct.pack("<4sHHHHIIH", b"PK\x05\x06", 0, 0, count, count, length, at, 0)
    return b"".join([*parts, *directory, end])


def with_entries(place: Path, *entries: tuple[str, bytes]) -> Path:
    """The .zip at `place` with more entries."""
    with zipfile.ZipFile(place) as archive:
        present = [(each.filename, archive.read(each)) for each in archive.infolist()]
    place.write_bytes(zip_of([*present, *entries]))
    return place


def checked(place: Path, **given: object) -> DeliveryVerification:
    """The verification with the expected signers."""
    trusted = [identity().signer, near_limit.client().signer]
    return verify_delivery(place, verify, **{"trusted": trusted, **given})  # type: ignore[arg-type]


def told(found: DeliveryVerification, number: int) -> str:
    """The status and all texts of a step."""
    step = found.steps[number - 1]
    return "\n".join([str(step.status), step_text(step), *step_details(step)])
