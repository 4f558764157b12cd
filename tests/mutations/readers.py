"""Groups of mutated files that are read: rules, jobs, meters, deviations, readings, evidence,
certificates. A changed signed file may be read only if it says what it said before."""

from __future__ import annotations

import json
import random
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

from helpers import authorities, evidence_of_a_slot, near_limit, other_formats
from helpers import signing as signed_samples
from helpers.sample_text import HOUSE, JOB, METER, RULE, STEPS, rule_folder, write
from mutations import changes
from mutations.watch import FaultError

from compliance.errors import ComplianceError, InputError, ReadingsError
from compliance.evidence.attachments import read_assessment
from compliance.evidence.deviation_file import read_deviation
from compliance.evidence.recompute import assess_again
from compliance.job_file import load_job
from compliance.meter_file import load_meter
from compliance.model import ENCODINGS
from compliance.model.results import Expected, Status, worst_status
from compliance.model.signatures import Signer
from compliance.plain_data import canonical_bytes
from compliance.readings.convert import Source, convert
from compliance.readings.load import readings_from_bytes
from compliance.rules import git_history
from compliance.rules.library import load_rule
from compliance.signing.certificates import read_certificates, same_key
from compliance.signing.read import read_signatures
from compliance.signing.revocation import read_list
from compliance.verification.shipped_rule import check_rule
from compliance.verification.steps import (
    check_attachments,
    check_recomputation,
    result_or_exception,
)

Input = tuple[str, bytes]
"""What was changed, and the file as it is now."""

NOW = datetime(2026, 11, 20, tzinfo=UTC)

# ---------------------------------------------------------------- rules, jobs, meters

LOADERS: dict[str, tuple[str, Callable[[Path], Any]]] = {
    "sdr.yaml": (RULE, load_rule),
    "house.yaml": (HOUSE, load_rule),
    "patches/steps.yaml": (STEPS, lambda path: load_rule(path.parent.parent / "sdr.yaml")),
    "job.yaml": (JOB, load_job),
    "meter.yaml": (METER, load_meter),
}


@cache
def folder() -> Path:
    """A folder with every file in order, away from any repository."""
    made = tempfile.TemporaryDirectory(prefix="mutations-")
    _kept.append(made)
    place = Path(made.name)
    git_history._ask = lambda *_: None  # type: ignore[assignment]
    rule_folder(place, house=HOUSE, job=JOB, meter=METER)
    return place


_kept: list[tempfile.TemporaryDirectory[str]] = []


def yaml_input(source: random.Random) -> Input:
    name = source.choice(sorted(LOADERS))
    return name, changes.changed_file(source, LOADERS[name][0].encode(), changes.YAML, 3)


def read_yaml(name: str, data: bytes) -> str:
    text, load = LOADERS[name]
    (folder() / name).write_bytes(data)
    try:
        load(folder() / name)
    except InputError as error:
        _in_lines(error)
        return "refused"
    finally:
        write(folder(), {name: text})
    return "read"


def _in_lines(error: InputError) -> None:
    if not error.problems:
        raise FaultError("an error without a problem")
    for problem in error.problems:
        if "\n" in str(problem) or len(str(problem)) > 2000:
            raise FaultError(f"a problem that is not a line: {str(problem)[:200]!r}")


# ---------------------------------------------------------------- readings


READINGS = {
    "csv": other_formats.CSV.encode(),
    "a sheet's csv": evidence_of_a_slot.evidence()["readings.csv"],
    "cgats": other_formats.CGATS.encode(),
    "cxf": other_formats.CXF.encode(),
    "spectra": other_formats.spectra().encode(),
}


def readings_input(source: random.Random) -> Input:
    name = source.choice(("csv", "csv", "a sheet's csv", *READINGS))
    return name, changes.changed_file(source, READINGS[name], changes.CSV, 4)


def read_readings(name: str, data: bytes) -> str:
    encoding = "rgb-10-narrow" if name == "a sheet's csv" else "rgb-10-full"
    try:
        found = readings_from_bytes(data, "f", encoding)
    except ReadingsError as error:
        _in_lines(error)
        return "refused"
    if not len(found) == len(found.lines) > 0:
        raise FaultError("readings without lines")
    if name == "csv":
        known = ENCODINGS[encoding]
        again = convert([Source("f", data)], "csv", created=NOW, tool="t", encoding=known)
        if readings_from_bytes(again.data, "f", known).xyz.tolist() != found.xyz.tolist():
            raise FaultError("converted to other readings")
    return "read"


# ---------------------------------------------------------------- deviations


@cache
def deviation_file() -> bytes:
    """A deviation file that a client signed."""
    return near_limit.file()


def deviation_input(source: random.Random) -> Input:
    return _changed_json(source, deviation_file(), "deviation.json")


def _changed_json(source: random.Random, data: bytes, name: str) -> Input:
    if source.randrange(2):
        return f"{name} as text", changes.changed_bytes(source, data)
    return f"{name} as data", changes.dumped(changes.changed_value(source, json.loads(data)))


def read_changed_deviation(what: str, data: bytes) -> str:
    try:
        deviation = read_deviation(data, "deviation.json")[0]
    except InputError as error:
        _in_lines(error)
        return "refused"
    if deviation.document["deviation"] != json.loads(deviation_file())["deviation"]:
        raise FaultError("a changed deviation is taken as signed")
    return "unseen: spaces or order of a deviation's JSON"


# ---------------------------------------------------------------- evidence


@cache
def evidence_before() -> dict[str, bytes]:
    """The evidence of a slot, by the names of the attachments."""
    return dict(evidence_of_a_slot.evidence())


def evidence_input(source: random.Random) -> Input:
    """A changed attachment, whose name comes first; `mended`: by somebody who owns a key."""
    name = source.choice(sorted(evidence_before()))
    data = evidence_before()[name]
    mended = "mended " if not source.randrange(4) else ""
    if name.endswith(".csv"):
        return f"{mended}{name}", changes.changed_bytes(source, data, changes.CSV)
    how, made = _changed_json(source, data, name)
    return f"{mended}{how}", made


@cache
def expected() -> Expected:
    return Expected(signers=(signed_samples.identity().signer,), stamping=(), any_signer=False)


def judge_evidence(what: str, data: bytes) -> str:
    """Steps 4, 5 and 7 of a verification, as if a signature held."""
    words = what.split()
    name = words[1] if words[0] == "mended" else words[0]
    files = {**evidence_before(), name: data}
    if words[0] == "mended":
        made = result_or_exception(lambda: evidence_of_a_slot.mended(files))
        files = files if isinstance(made, Exception) else dict(made)
    stated = result_or_exception(lambda: read_assessment(files))
    steps = [check_attachments(files, stated, expected(), signed_samples.identity().signer)]
    if steps[0].status is Status.FAIL and words[0] != "mended":
        return "refused"
    if isinstance(stated, Exception):
        return "refused"
    again = result_or_exception(lambda: assess_again(files))
    if isinstance(again, Exception) and not isinstance(again, ComplianceError):
        raise again
    steps.append(check_recomputation(stated, again))
    if not isinstance(again, Exception):
        steps.append(check_rule(again.measurement.rule, expected().rules))
    if worst_status([step.status for step in steps]) is not Status.OK:
        return "refused"
    if _meaning(name, files[name]) == _meaning(name, evidence_before()[name]):
        return "unseen: spaces, order or digits of an attachment's JSON"
    if words[0] == "mended":
        return f"another sheet that its facility could have signed: {name}"
    raise FaultError("changed evidence is taken as stated")


def _meaning(name: str, data: bytes) -> bytes:
    return canonical_bytes(json.loads(data)) if name.endswith(".json") else data


# ---------------------------------------------------------------- certificates


@cache
def certificates() -> dict[str, tuple[bytes, bytes]]:
    """Files of certificates, each with a PDF that is trusted by them."""
    chained = signed_samples.signed(who=authorities.leaf().identity)
    own = signed_samples.signed()
    return {
        "own.pem": (signed_samples.identity().pem, own),
        "own.der": (signed_samples.identity().signer.certificate, own),
        "root.pem": (authorities.root().pem, chained),
        "root.der": (authorities.root().identity.signer.certificate, chained),
        "leaf.pem": (authorities.leaf().pem, chained),
    }


def certificate_input(source: random.Random) -> Input:
    name = source.choice(sorted(certificates()))
    return name, changes.changed_bytes(source, certificates()[name][0])


def trust_changed(name: str, data: bytes) -> str:
    before, sheet = certificates()[name]
    try:
        signers = read_certificates(data)
    except ComplianceError:
        return "refused"
    known = {each.certificate for each in read_certificates(before)}
    if all(each.certificate in known for each in signers):
        return "unseen: text around a certificate"
    seal = read_signatures(sheet, [each for each in signers if each.certificate not in known])
    if not seal.all_faults and any(each.trusted_as for each in seal.signatures):
        if any(map(_is_authority, signers)):
            return "unseen: an authority's certificate of the same name and key"
        raise FaultError("a changed certificate is trusted")
    return "read"


def _is_authority(signer: Signer) -> bool:
    """Whether it is the authority under its name and with its key: nothing else of it counts."""
    return signer.name == authorities.root().identity.signer.name and same_key(
        signer.certificate, authorities.root().identity.signer.certificate
    )


@cache
def revoking() -> tuple[bytes, bytes]:
    """A list that revokes a signer, and a PDF that this signer signed."""
    revoked = {authorities.leaf(): authorities.SIGNED}
    return authorities.revocation_list(authorities.middle(), revoked), certificates()["root.pem"][1]


def list_input(source: random.Random) -> Input:
    return "list.crl", changes.changed_bytes(source, revoking()[0])


def judge_list(name: str, data: bytes) -> str:
    try:
        der = read_list(data)
    except ComplianceError:
        return "refused"
    seal = read_signatures(revoking()[1], [authorities.root().identity.signer], lists=[der])
    if seal.all_faults:
        raise FaultError(f"a list breaks a sheet: {seal.all_faults[0]}")
    return "read"
