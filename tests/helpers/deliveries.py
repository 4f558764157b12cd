"""A delivery of two invented sheets, as files, and changes to it."""

from __future__ import annotations

import hashlib
import zipfile
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from compliance.delivery.build import build_delivery, sign_delivery, zip_bytes
from compliance.delivery.check import verify_delivery
from compliance.delivery.contents import Sheet, opened_sheet
from compliance.model.results import DeliveryVerification, Verification
from compliance.report.verification import step_details, step_text
from compliance.sheet.make_sheet import countersign_sheet, write_sheet
from compliance.verification import verify_sheet
from helpers import near_limit
from helpers.near_limit import AGAIN
from helpers.signing import identity

Files = dict[str, bytes]
TRUST = (identity().pem, near_limit.client().pem)


@cache
def verify(data: bytes) -> Verification:
    """The verification of a sheet with the tests' signers; each only once in all tests."""
    return verify_sheet(data, trust=TRUST)


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


def sheets(**pdfs: bytes) -> list[Sheet]:
    """Opened sheets; default: the two above."""
    given = pdfs or {"one": first(), "two": second()}
    return [opened_sheet(name, data, verify(data)) for name, data in given.items()]


@cache
def _delivery() -> Mapping[str, bytes]:
    return sign_delivery(build_delivery(sheets()), identity(), AGAIN)


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


def with_entries(place: Path, *entries: tuple[zipfile.ZipInfo | str, bytes]) -> Path:
    """The .zip at `place` with more entries."""
    with zipfile.ZipFile(place, "a") as archive:
        for entry, data in entries:
            archive.writestr(entry, data)
    return place


def checked(place: Path, **given: object) -> DeliveryVerification:
    """The verification with the expected signers."""
    trusted = [identity().signer, near_limit.client().signer]
    return verify_delivery(place, verify, **{"trusted": trusted, **given})  # type: ignore[arg-type]


def told(found: DeliveryVerification, number: int) -> str:
    """The status and all texts of a step."""
    step = found.steps[number - 1]
    return "\n".join([str(step.status), step_text(step), *step_details(step)])
