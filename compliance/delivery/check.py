"""Verify a delivery: is it complete, is it as it was packed, and is each sheet valid?

The plan; each block below is tagged with its number.

    1  The folder is a complete bag: every file has the digest that the manifests state, none
       is missing, none was added, and no path leads out.
    2  The delivery itself is signed, by whom and when.
    3  Every sheet is valid by itself (`verification.verify_sheet`).
    4  The delivery describes its sheets correctly: number, outcome and signatures of each; the
       evidence beside a sheet is what is attached to it; no number is used twice.

Every step is carried out even if an earlier one failed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from compliance.delivery import bag
from compliance.delivery.build import AGENT, build_delivery
from compliance.delivery.contents import (
    SHEETS,
    Sheet,
    bag_info,
    duplicate_faults,
    opened_sheet,
    payload,
)
from compliance.delivery.open_delivery import Opened, open_delivery
from compliance.model import Statement
from compliance.model.results import (
    Check,
    DeliveryVerification,
    Status,
    Step,
    Verification,
    worst_status,
)
from compliance.verification.steps import first_details, quoted, trust_status
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
) -> DeliveryVerification:
    """Carry out the plan on a folder or .zip; nothing is written.

    `verify` checks one sheet's bytes, with the caller's trusted certificates. With `stamping`,
    certificates of time-stamping authorities, the signature needs a time stamp; it must not be
    later than `now`. Raises DeliveryError if `path` is neither a folder nor a .zip.
    """
    with open_delivery(path) as files:
        texts = _texts(files)
        whole = _whole(files, texts)
        sheets = list(_sheets(files, verify))
        steps = (
            whole,
            _signed(texts, trusted, stamping, any_signer, now, as_listed=whole.status is Status.OK),
            _hold(sheets),
            _as_stated(files, texts, sheets),
        )
    return DeliveryVerification(
        steps=steps,
        sheets={sheet.path: sheet.verification for sheet in sheets},
        signed=bag.SIGNATURE in texts,
    )


# ---------------------------------------------------------------- 1: complete


def _whole(files: Opened, texts: Mapping[str, bytes]) -> Step:
    """Check that the bag is complete and unchanged (1)."""
    listed = bag.read_manifests(texts, files.names)
    faults = [*files.faults, *listed.faults, *_changed(files, listed.digests)]
    if faults:
        details = first_details(map(quoted, faults))
        return Step(Check.WHOLE, Status.FAIL, Statement("not-as-packed"), details)
    count = sum(name.startswith("data/") for name in files.names)
    return Step(Check.WHOLE, Status.OK, Statement("as-packed", {"count": count}))


def _changed(files: Opened, digests: Mapping[str, str]) -> Iterable[str]:
    listed = {digest: name for name, digest in digests.items()}
    for name in sorted(digests.keys() & set(files.names)):
        try:
            found = hashlib.sha256(files.read(name)).hexdigest()
        except ValueError as fault:
            yield str(fault)
            continue
        if found == digests[name]:
            continue
        if found in listed:
            yield f"{name}: has the content of {listed[found]}"
        else:
            yield f"{name}: was changed: SHA-256 {digests[name]} stated, {found} found"


def _texts(files: Opened) -> dict[str, bytes]:
    """Read the tag files that exist and are readable."""
    found = {}
    for name in (*bag.TOP,):
        if name in files.names:
            try:
                found[name] = files.read(name)
            except ValueError:
                continue  # step 1 reports it
    return found


# ---------------------------------------------------------------- 2: signed


def _signed(
    texts: Mapping[str, bytes],
    trusted: Sequence[Signer],
    stamping: Sequence[Signer],
    any_signer: bool,
    now: datetime | None,
    *,
    as_listed: bool,
) -> Step:
    """Check who signed the delivery (2)."""
    if bag.SIGNATURE not in texts:
        return Step(Check.SIGNED, Status.UNKNOWN, Statement("only-sheets-signed"))
    from compliance.signing.detached import read_detached

    manifest = texts.get(bag.TAG_MANIFEST, b"")
    try:
        signature = read_detached(manifest, texts[bag.SIGNATURE], trusted, stamping)
    except ValueError as fault:
        return _unsound(str(fault))
    if signature.faults:
        return _unsound(signature.faults[0])
    signer = signature.signer
    who = ", ".join(part for part in (signer.name, signer.organisation) if part)
    status, trust = trust_status(signature, trusted, any_signer)
    in_time, time = check_signing_time(signature, bool(stamping), now)
    details = [time, Statement("certificate-digest", {"sha256": signer.fingerprint})]
    if not as_listed:
        details.append(Statement("list-signed"))
    by_whom = Statement("delivery-signer", {"who": who, "trust": trust})
    return Step(Check.SIGNED, worst_status((status, in_time)), by_whom, tuple(details))


def _unsound(fault: str) -> Step:
    unsound = Statement("signature-faulty", {"file": bag.SIGNATURE, "fault": fault})
    return Step(Check.SIGNED, Status.FAIL, unsound)


# ---------------------------------------------------------------- 3: sheets


def _sheets(files: Opened, verify: Verify) -> Iterable[Sheet]:
    place = f"data/{SHEETS}"
    for name in files.names:
        if name.startswith(place) and name.endswith(".pdf"):
            try:
                data = files.read(name)
            except ValueError:
                data = b""
            yield opened_sheet(name[len(place) : -len(".pdf")], data, verify(data))


def _hold(sheets: Sequence[Sheet]) -> Step:
    """Check that every sheet is valid (3)."""
    if not sheets:
        return Step(Check.SHEETS, Status.FAIL, Statement("no-sheet"))
    found = [sheet.verification for sheet in sheets]
    details = first_details(
        Statement("sheet-step", {"path": sheet.path, "check": step.check, "result": step.result})
        for sheet in sheets
        for step in sheet.verification.steps
        if step.status in (Status.FAIL, Status.UNKNOWN)
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


# ---------------------------------------------------------------- 4: as stated


def _as_stated(files: Opened, texts: Mapping[str, bytes], sheets: Sequence[Sheet]) -> Step:
    """Check that the delivery describes its sheets correctly (4)."""
    faults = [
        *_info_faults(texts, sheets),
        *duplicate_faults(sheets),
        *_payload_faults(files, sheets),
    ]
    if faults:
        details = first_details(map(quoted, faults))
        return Step(Check.AS_STATED, Status.FAIL, Statement("states-otherwise"), details)
    count = sum(len(sheet.verification.signatures) for sheet in sheets)
    listed = Statement("as-listed", {"sheets": len(sheets), "signatures": count})
    return Step(Check.AS_STATED, Status.OK, listed, tuple(_not_compared(texts)))


def _not_compared(texts: Mapping[str, bytes]) -> Iterable[Statement]:
    """Say that the page is not compared: another version may word it differently."""
    agent = _agent(texts)
    if agent != AGENT:
        facts = {"file": bag.PAGE, "theirs": agent, "ours": AGENT}
        yield Statement("not-compared", facts)


def _agent(texts: Mapping[str, bytes]) -> str:
    """Return the program that the bag states as its maker; ValueError on a malformed list."""
    agents = [
        text for label, text in bag.tags_in(texts.get(bag.INFO, b"")) if label == bag.AGENT_LABEL
    ]
    return agents[0] if len(agents) == 1 else "an unnamed program"


def _info_faults(texts: Mapping[str, bytes], sheets: Sequence[Sheet]) -> Iterable[str]:
    if bag.INFO not in texts:
        return
    try:
        tags = bag.tags_in(texts[bag.INFO])
    except ValueError as fault:
        yield str(fault)
        return
    expected = [(label, " ".join(text.split())) for label, text in bag_info(sheets)]
    stated = [tag for tag in tags if tag[0].startswith("Compliance-")]
    found = [tag for tag in expected if tag[0].startswith("Compliance-")]
    yield from (f"stated but not found: {text}" for _, text in stated if (_, text) not in found)
    yield from (f"found but not stated: {text}" for _, text in found if (_, text) not in stated)
    if len(stated) != len(found) or len(set(stated)) != len(stated):
        yield f"{bag.INFO}: states {len(stated)} sheets and signatures; there are {len(found)}"
    if _agent(texts) == AGENT:
        yield from _own_words(texts, sheets)


def _own_words(texts: Mapping[str, bytes], sheets: Sequence[Sheet]) -> Iterable[str]:
    if not all(sheet.attached for sheet in sheets):
        return
    try:
        again = build_delivery(sheets)
    except (KeyError, TypeError, ValueError, AttributeError):
        yield f"{bag.PAGE}: cannot be made again from the sheets"
        return
    for name in (bag.INFO, bag.PAGE):
        if texts.get(name) != again[name]:
            yield f"{name}: does not agree with the sheets"


def _payload_faults(files: Opened, sheets: Sequence[Sheet]) -> Iterable[str]:
    expected = {f"data/{name}": data for name, data in payload(sheets).items()}
    there = {name for name in files.names if name.startswith("data/")}
    yield from (f"{name}: belongs to no sheet" for name in sorted(there - expected.keys()))
    yield from (f"{name}: is missing" for name in sorted(expected.keys() - there))
    for name in sorted(expected.keys() & there):
        try:
            same = files.read(name) == expected[name]
        except ValueError:
            continue  # step 1 reports it
        if not same:
            yield f"{name}: is not the file attached to the sheet"
