"""The contents of a delivery and its list of sheets, both for packing and for checking."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from compliance.delivery.bag import Sum, Tag, sum_of
from compliance.delivery.departures import Departure, departures
from compliance.documents import read_document
from compliance.evidence.attachments import (
    RULE,
    is_deviation,
    largest_size,
    parse_json,
    read_assessment,
)
from compliance.evidence.deviation_file import read_deviation
from compliance.model import Acceptor
from compliance.model.stated import StatedAssessment, StatedJob
from compliance.plain_data import timestamp
from compliance.report.verification import sheet_says

if TYPE_CHECKING:
    from compliance.model.results import Verification
    from compliance.model.signatures import Signature


SHEETS = "sheets/"
"""Folders below data/."""
EVIDENCE = "evidence/"
CERTIFICATES = "certificates/"
SHEET_LABEL = "Compliance-Sheet"
SIGNATURE_LABEL = "Compliance-Signature"


@dataclass(frozen=True, slots=True)
class Sheet:
    """The facts of one sheet of a delivery, without the bytes of its files."""

    name: str
    """The name of its file, without .pdf."""
    files: Mapping[str, Sum]
    """All of its files by path in the delivery: itself, attachments, signers' certificates."""
    stated: StatedAssessment | None
    """Its assessment, without single readings; None if it could not be read."""
    departures: tuple[Departure, ...]
    """The changes of a house rule from its parent."""
    acceptors: tuple[Acceptor, ...]
    """The signers of the deviations attached to it, without invalid ones."""
    verification: Verification

    @property
    def number(self) -> str:
        """The number of the assessment."""
        return str(self.verification.number)

    @property
    def assessment(self) -> StatedAssessment:
        """Its assessment; ValueError if it could not be read."""
        if self.stated is None:
            raise ValueError(f"{self.name}: the assessment cannot be read")
        return self.stated

    @property
    def job(self) -> StatedJob | None:
        """The job, if it is known."""
        return self.stated.job if self.stated else None

    @property
    def path(self) -> str:
        """The path in the delivery."""
        return f"data/{SHEETS}{self.name}.pdf"

    @property
    def evidence(self) -> str:
        """The folder of its attachments in the delivery."""
        return f"data/{EVIDENCE}{self.name}/"

    @property
    def attached(self) -> list[str]:
        """The paths of its attachments in the delivery, sorted; none if it is damaged."""
        return sorted(path for path in self.files if path.startswith(self.evidence))


@dataclass(frozen=True, slots=True)
class PackedSheet:
    """A sheet with its files: what is written to a delivery."""

    sheet: Sheet
    files: Mapping[str, bytes]
    """Bytes by path in the delivery."""

    @property
    def attached(self) -> dict[str, bytes]:
        """Its attachments by their names; none if it is damaged."""
        place = self.sheet.evidence
        return {path.removeprefix(place): self.files[path] for path in self.sheet.attached}


def packed_sheet(name: str, pdf: bytes, verification: Verification) -> PackedSheet:
    """Open a sheet with its attachments; without them if it is damaged."""
    attached, stated = _parts(pdf)
    departing: tuple[Departure, ...] = ()
    if stated is not None:
        with suppress(Exception):  # as in `_parts`
            departing = departures(stated.rule, parse_json(attached[RULE], RULE))
    signers = _acceptors(attached)
    place = Sheet(name, {}, stated, departing, signers, verification)
    files = {place.path: pdf}
    files |= {f"{place.evidence}{each}": data for each, data in attached.items()}
    for signature in verification.signatures:
        signer = signature.signer
        files[f"data/{CERTIFICATES}{signer.fingerprint}.pem"] = _pem(signer.certificate)
    for acceptor in signers:
        files[f"data/{CERTIFICATES}{acceptor.sha256}.pem"] = _pem(acceptor.certificate)
    sums = {path: sum_of(data) for path, data in files.items()}
    return PackedSheet(replace(place, files=sums), files)


def opened_sheet(name: str, pdf: bytes, verification: Verification) -> Sheet:
    """Open a sheet for its facts, and forget its bytes."""
    return packed_sheet(name, pdf, verification).sheet


def _parts(pdf: bytes) -> tuple[Mapping[str, bytes], StatedAssessment | None]:
    """Read the attachments and the assessment of a sheet, as far as possible.

    A damaged file can raise any exception; its verification reports the fault.
    """
    from compliance.signing.attached_files import read_attachments

    try:
        attached = read_attachments(pdf, largest=largest_size)
        document = read_assessment(attached)
    except Exception:
        return {}, None
    try:
        return attached, _without_points(read_document(document))
    except Exception:
        return attached, None


def _without_points(stated: StatedAssessment) -> StatedAssessment:
    """Return an assessment without what no list of a delivery tells: most of its size."""
    findings = tuple(
        replace(finding, points=(), not_judged=()) for finding in stated.state.findings
    )
    state = replace(stated.state, findings=findings, remarks=())
    return replace(stated, state=state, before=None, causes=(), calibration=None)


def payload(sheets: Iterable[Sheet]) -> dict[str, Sum]:
    """Return all files of the sheets by path in the delivery, sorted."""
    found: dict[str, Sum] = {}
    for sheet in sheets:
        found |= sheet.files
    return dict(sorted(found.items()))


def _acceptors(attached: Mapping[str, bytes]) -> tuple[Acceptor, ...]:
    found = []
    for name in filter(is_deviation, sorted(attached)):
        with suppress(Exception):  # as in `_parts`
            found.append(read_deviation(attached[name], name)[0].signer)
    return tuple(found)


def _pem(certificate: bytes) -> bytes:
    from cryptography import x509
    from cryptography.hazmat.primitives.serialization import Encoding

    return x509.load_der_x509_certificate(certificate).public_bytes(Encoding.PEM)


def bag_info(sheets: Sequence[Sheet]) -> list[Tag]:
    """Return the lines of bag-info.txt for the delivery, each sheet and each signature."""
    jobs = [sheet.job for sheet in sheets if sheet.job]
    tags: list[Tag] = [
        ("Source-Organization", _first(job.facility.name for job in jobs if job.facility)),
        ("External-Identifier", _first(job.reference for job in jobs)),
        ("External-Description", _first(job.title for job in jobs)),
    ]
    for sheet in sheets:
        tags.append((SHEET_LABEL, f"{sheet.path} {sheet.number} {sheet_says(sheet.verification)}"))
        tags += [
            (SIGNATURE_LABEL, f"{sheet.path} {_signature(each)}")
            for each in sheet.verification.signatures
        ]
    return tags


def _signature(signature: Signature) -> str:
    """Write field, certificate, times and role in one line; parts with spaces come last."""
    stamp = signature.stamp
    parts = [signature.field, f"sha256={signature.signer.fingerprint}"]
    parts.append(f"claimed={timestamp(signature.claimed) or 'none'}")
    if stamp is not None:
        parts.append(f"stamped={timestamp(stamp.time)}")
    return " ".join([*parts, f"{signature.signer.name} as {signature.role}"])


def _first(texts: Iterable[str | None]) -> str:
    return next((text for text in texts if text is not None), "")


def duplicate_faults(sheets: Sequence[Sheet]) -> list[str]:
    """Return faults if two sheets have the same number or each other's names, one replaces another,
    or jobs differ.
    """
    numbers = Counter(sheet.number for sheet in sheets if sheet.attached)
    faults = [
        f"{count} sheets have the number {number}: "
        + ", ".join(sheet.path for sheet in sheets if sheet.number == number)
        for number, count in sorted(numbers.items())
        if count > 1
    ]
    newer = {sheet.verification.replaces: sheet.path for sheet in sheets if sheet.attached}
    faults += [
        f"{sheet.path}: {sheet.number} is replaced by {newer[sheet.number]}; deliver one"
        for sheet in sheets
        if sheet.number in newer
    ]
    named = {_begins(sheet): sheet.number for sheet in sheets if sheet.attached}
    faults += [
        f"{sheet.path}: is sheet {sheet.number}, but its name belongs to {named[sheet.name]}"
        for sheet in sheets
        if sheet.name in named and sheet.name != _begins(sheet)
    ]
    jobs = {json.dumps(sheet.job.reference if sheet.job else None) for sheet in sheets}
    if len(jobs) > 1:
        faults.append(f"sheets of {len(jobs)} jobs: {', '.join(sorted(jobs))}")
    return faults


def _begins(sheet: Sheet) -> str:
    """Return the beginning of a sheet's number: what `assess` calls its file."""
    return sheet.number.rpartition("-")[0]
