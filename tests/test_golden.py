"""What earlier versions signed: today's verification reads all of it, as is written beside it."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from helpers import near_limit
from helpers.evidence_of_a_slot import mended
from helpers.signing import signed

from compliance import __version__
from compliance.delivery.check import verify_delivery
from compliance.evidence.deviation_file import load_deviation
from compliance.evidence.recompute import attachments
from compliance.model.results import Verification
from compliance.model.stated import ENGINE
from compliance.report.verification import (
    sheet_outcome,
    sheet_says,
    step_details,
    step_title,
)
from compliance.verification import verify_sheet
from compliance.verification.versions import RELEASED

GOLDEN = Path(__file__).resolve().parent / "golden"
BEHIND = "expectations change only with ENGINE; say why in CHANGELOG.md"
VERSIONS = sorted(path.name for path in GOLDEN.iterdir() if path.is_dir())


def cases() -> Iterator[tuple[str, str, dict[str, Any]]]:
    for version in VERSIONS:
        expected = json.loads((GOLDEN / version / "expected.json").read_text(encoding="utf-8"))
        for name, what in expected.items():
            yield version, name, what


CASES = list(cases())


def test_every_file_has_its_expectation() -> None:
    assert VERSIONS
    for version in VERSIONS:
        files = {path.name for path in (GOLDEN / version).iterdir()}
        named = {name for each, name, _ in CASES if each == version}
        assert files == named | {"expected.json", "facility.pem", "client.pem"}


def as_expected(found: Verification, expected: dict[str, Any]) -> None:
    """What an earlier engine computed is told beside today's outcome, and never called valid."""
    statuses = {step_title(step): str(step.status) for step in found.steps}
    assert found.exit_code == expected["exit_code"], f"{BEHIND}\n{found.steps}"
    assert (found.number, found.verdict) == (expected["number"], expected["verdict"])
    assert (found.disposition, found.engine) == (expected["disposition"], expected["engine"])
    signers = [f"{each.signer.name} as {each.role}" for each in found.signatures]
    assert signers == expected["signed_by"]
    assert statuses == expected["steps"]
    if expected["engine"] == ENGINE:
        return
    assert found.exit_code in (1, 3)
    assert found.today is not None
    if found.exit_code == 1:
        return
    stated, today, *_ = sheet_outcome(found)
    assert stated.startswith(f"The sheet states: {sheet_says(found)} (definitions of engine")
    assert today.startswith(f"Computed again by today's definitions (engine {ENGINE}): ")


@pytest.mark.parametrize(
    ("version", "name", "expected"), CASES, ids=[f"{version}-{name}" for version, name, _ in CASES]
)
def test_it_is_read_as_expected(version: str, name: str, expected: dict[str, Any]) -> None:
    folder = GOLDEN / version
    facility, client = ((folder / each).read_bytes() for each in ("facility.pem", "client.pem"))
    place = folder / name
    if name.endswith(".pdf"):
        found = verify_sheet(place.read_bytes(), trust=[facility], client_trust=[client])
        as_expected(found, expected)
    elif name.endswith(".zip"):
        found = verify_delivery(
            place, lambda data: verify_sheet(data, trust=[facility]), any_signer=True
        )
        assert found.exit_code == expected["exit_code"], f"{BEHIND}\n{found.steps}"
        assert found.sheets.keys() == expected["sheets"].keys()
        for path, sheet in found.sheets.items():
            as_expected(sheet, expected["sheets"][path])
    else:
        deviation = load_deviation(place)
        assert deviation.requirement == expected["requirement"]
        assert deviation.value == expected["value"]
        assert deviation.signer.name == expected["signed_by"]


def test_somebody_else_is_not_taken_for_the_signer() -> None:
    folder = GOLDEN / VERSIONS[0]
    data = (folder / "accepted.pdf").read_bytes()
    assert verify_sheet(data, trust=[(folder / "client.pem").read_bytes()]).exit_code == 1
    broken = bytearray(data)
    broken[len(broken) // 3] ^= 1
    assert verify_sheet(bytes(broken), any_signer=True).exit_code == 1


def test_only_keys_that_came_later_may_be_absent() -> None:
    """A version that was never released may leave out nothing, and none its failures."""
    files = attachments(near_limit.assessment())

    def again(version: str, leave_out: Callable[[dict[str, Any]], object]) -> Verification:
        stated = json.loads(files["assessment.json"])
        stated["tool"].update(version=version, engine=RELEASED.get(version, ENGINE))
        leave_out(stated)
        data = json.dumps(stated).encode()
        return verify_sheet(signed(mended({**files, "assessment.json": data})), any_signer=True)

    def failures(stated: dict[str, Any]) -> None:
        stated["findings"] = [each for each in stated["findings"] if each["verdict"] == "pass"]
        stated.update(verdict="compliant", reason=None, conditional=False, causes=[])

    for version in ("0.0.9", "0.1.0", __version__):
        found = again(version, failures)
        assert (found.exit_code, str(found.steps[4].status)) == (1, "fail")
        assert sheet_outcome(found) == [
            "Not valid: do not rely on this sheet.",
            "The sheet states: compliant.",
            "Computed again from its evidence: not compliant.",
        ]
    late = again("0.1.0", lambda stated: stated["readings"].pop("replaced"))
    assert str(late.steps[4].status) == "unknown"
    for version in ("0.0.9", __version__):
        early = again(version, lambda stated: stated["readings"].pop("replaced"))
        assert str(early.steps[4].status) == "fail"
        assert "readings: replaced: nothing stated, 0 computed" in step_details(early.steps[4])
    assert str(again("0.1.0", lambda stated: stated.pop("before")).steps[4].status) == "fail"
