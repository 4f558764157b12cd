"""Verify a delivery: is it complete, is it as it was packed, and is each sheet valid?

The plan; each block below is tagged with its number.

    1  The folder is a complete bag: every file has the digest that the manifests state, none
       is missing, none was added, and no path leads out.
    2  The delivery itself is signed, by whom and when.
    3  Every sheet is valid by itself (`verification.verify_sheet`).
    4  The delivery describes its sheets correctly: number, outcome and signatures of each; the
       evidence beside a sheet is what is attached to it; no number is used twice.

Every step is carried out even if an earlier one failed. Every file is read once, and forgotten
when its digest is taken and, of a sheet, its facts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from compliance.delivery import bag
from compliance.delivery.as_stated import check_as_stated
from compliance.delivery.contents import SHEETS, Sheet, opened_sheet
from compliance.delivery.open_delivery import Opened, open_delivery
from compliance.model import Statement
from compliance.model.results import (
    DELIVERY_PLAN,
    Check,
    DeliveryVerification,
    Status,
    Step,
    Verification,
    worst_status,
)
from compliance.verification.long_term import revocation_status
from compliance.verification.signer_check import expected_certificates, trust_status
from compliance.verification.steps import first_details, quoted
from compliance.verification.time_check import check_signing_time

if TYPE_CHECKING:
    from compliance.model.signatures import Signer


Verify = Callable[[bytes], Verification]


def verify_delivery(
    path: Path,
    verify: Verify,
    *,
    trusted: Sequence[Signer] = (),
    stamping: Sequence[Signer] = (),
    any_signer: bool = False,
    now: datetime | None = None,
    lists: Sequence[bytes] = (),
) -> DeliveryVerification:
    """Carry out the plan on a folder or .zip; nothing is written.

    `verify` checks one sheet's bytes, with the caller's trusted certificates. With `stamping`,
    certificates of time-stamping authorities, the signature needs a time stamp; it must not be
    later than `now`. `lists` are revocation lists (DER). Raises DeliveryError if `path` is neither
    a folder nor a .zip.
    """
    with open_delivery(path) as opened:
        if opened.refused:
            return _refused(opened.faults)
        found = _read_files(opened, verify)
    whole = _whole(found)
    steps = (
        whole,
        _signed(
            found.texts,
            trusted,
            stamping,
            any_signer,
            now,
            lists,
            as_listed=whole.status is Status.OK,
        ),
        _hold(found.sheets),
        check_as_stated(found.digests, found.texts, found.sheets),
    )
    return DeliveryVerification(
        steps=steps,
        sheets={sheet.path: sheet.verification for sheet in found.sheets},
        signed=bag.SIGNATURE in found.texts,
    )


def _refused(faults: Sequence[str]) -> DeliveryVerification:
    """Say why nothing of a delivery was read, and nothing else."""
    first = Step(
        Check.WHOLE, Status.FAIL, Statement("not-as-packed"), first_details(map(quoted, faults))
    )
    rest = [
        Step(check, Status.NOT_DONE, Statement("not-done-unread")) for check in DELIVERY_PLAN[1:]
    ]
    return DeliveryVerification(steps=(first, *rest), sheets={}, signed=False)


@dataclass(frozen=True, slots=True)
class _Found:
    """The facts of all files of a delivery."""

    digests: Mapping[str, str]
    """SHA-256 by path, of each file that can be read."""
    texts: Mapping[str, bytes]
    """The files beside `data`."""
    sheets: Sequence[Sheet]
    names: Sequence[str]
    """All paths, of files that cannot be read too."""
    faults: Sequence[str]


def _read_files(opened: Opened, verify: Verify) -> _Found:
    """Read every file of a delivery once."""
    digests: dict[str, str] = {}
    texts: dict[str, bytes] = {}
    sheets: list[Sheet] = []
    faults = list(opened.faults)
    for name in opened.names:
        try:
            data = opened.read(name)
        except ValueError as fault:
            faults.append(str(fault))
            data = b""
        else:
            digests[name] = bag.sum_of(data).sha256
            if name in bag.TOP:
                texts[name] = data
        if name.startswith(PLACE) and name.endswith(".pdf"):
            sheets.append(opened_sheet(name[len(PLACE) : -len(".pdf")], data, verify(data)))
    return _Found(digests, texts, sheets, opened.names, faults)


PLACE = f"data/{SHEETS}"
"""The folder of the sheets in a delivery."""


# ---------------------------------------------------------------- 1: complete


def _whole(found: _Found) -> Step:
    """Check that the bag is complete and unchanged (1)."""
    listed = bag.read_manifests(found.texts, found.names)
    faults = [*found.faults, *listed.faults, *_changed(found.digests, listed.digests)]
    if faults:
        details = first_details(map(quoted, faults))
        return Step(Check.WHOLE, Status.FAIL, Statement("not-as-packed"), details)
    count = sum(name.startswith("data/") for name in found.names)
    return Step(Check.WHOLE, Status.OK, Statement("as-packed", {"count": count}))


def _changed(found: Mapping[str, str], stated: Mapping[str, str]) -> Iterable[str]:
    listed = {digest: name for name, digest in stated.items()}
    for name in sorted(stated.keys() & found.keys()):
        digest = found[name]
        if digest == stated[name]:
            continue
        if digest in listed:
            yield f"{name}: has the content of {listed[digest]}"
        else:
            yield f"{name}: was changed: SHA-256 {stated[name]} stated, {digest} found"


# ---------------------------------------------------------------- 2: signed


def _signed(
    texts: Mapping[str, bytes],
    trusted: Sequence[Signer],
    stamping: Sequence[Signer],
    any_signer: bool,
    now: datetime | None,
    lists: Sequence[bytes],
    *,
    as_listed: bool,
) -> Step:
    """Check who signed the delivery (2)."""
    if bag.SIGNATURE not in texts:
        return Step(Check.SIGNED, Status.UNKNOWN, Statement("only-sheets-signed"))
    from compliance.signing.detached import read_detached

    manifest = texts.get(bag.TAG_MANIFEST, b"")
    try:
        signature = read_detached(manifest, texts[bag.SIGNATURE], trusted, stamping, lists)
    except ValueError as fault:
        return _unsound(str(fault))
    if signature.faults:
        return _unsound(signature.faults[0])
    signer = signature.signer
    who = ", ".join(part for part in (signer.name, signer.organisation) if part)
    revoked = revocation_status(signature)
    status, trust = revoked or trust_status(signature, trusted, any_signer)
    in_time, time = check_signing_time(signature, bool(stamping), now)
    details = [time, Statement("certificate-digest", {"sha256": signer.fingerprint})]
    if status is Status.FAIL and not revoked:
        details += expected_certificates(trusted)
    if not as_listed:
        details.append(Statement("list-signed"))
    by_whom = Statement("delivery-signer", {"who": who, "trust": trust})
    return Step(Check.SIGNED, worst_status((status, in_time)), by_whom, tuple(details))


def _unsound(fault: str) -> Step:
    unsound = Statement("signature-faulty", {"file": bag.SIGNATURE, "fault": fault})
    return Step(Check.SIGNED, Status.FAIL, unsound)


# ---------------------------------------------------------------- 3: sheets


def _hold(sheets: Sequence[Sheet]) -> Step:
    """Check that every sheet is valid (3)."""
    if not sheets:
        return Step(Check.SHEETS, Status.FAIL, Statement("no-sheet"))
    found = [sheet.verification for sheet in sheets]
    details = first_details(
        Statement("sheet-step", {"path": sheet.path, "check": step.check, "result": step.result})
        for sheet in sheets
        for step in sheet.verification.steps
        if step.status is not Status.OK
    )
    if broken := [sheet for sheet in found if sheet.exit_code == 1]:
        untrusted = all(sheet.only_untrusted for sheet in broken)
        facts = {"count": len(broken), "all": len(found)}
        fault = Statement("sheets-untrusted" if untrusted else "sheets-broken", facts)
        return Step(Check.SHEETS, Status.FAIL, fault, details)
    if unchecked := [sheet for sheet in found if sheet.exit_code == 3]:
        facts = {"count": len(unchecked), "all": len(found)}
        return Step(Check.SHEETS, Status.UNKNOWN, Statement("sheets-unchecked", facts), details)
    return Step(Check.SHEETS, Status.OK, Statement("all-hold", {"count": len(found)}))
