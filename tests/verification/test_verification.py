"""The plan carried out on sheets: sound ones, strangers', changed ones, and rubbish."""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import cache
from io import BytesIO
from typing import Any

import pytest
from helpers import near_limit
from helpers.authorities import Within, clock
from helpers.budget import LONG
from helpers.evidence_of_a_slot import (
    assessment,
    document,
    dumped,
    evidence,
    first_passing,
    mended,
    sealed,
    with_assessment,
    with_reading,
    with_rule,
)
from helpers.signing import PASSWORD, SIGNED, archived, byte_ranges, countersigned, identity, signed
from pikepdf import Pdf

import compliance.evidence.recompute
import compliance.signing.timestamps
from compliance.errors import IdentityError
from compliance.evidence.recompute import attachments
from compliance.model.results import Status, Today, Verification
from compliance.model.stated import ENGINE
from compliance.report.verification import sheet_outcome, step_details, step_text
from compliance.sheet.make_sheet import write_sheet
from compliance.signing.keys import LIFE, load_identity, new_identity
from compliance.verification import verify_sheet
from compliance.verification.compare import Topic
from compliance.verification.versions import RELEASED

ME = [identity().pem]
EARLIER = "0.1.0"
"""A released version with earlier definitions."""
STRANGER = identity("Mallory")


@cache
def sheet() -> bytes:
    """The slot's sheet as the program writes it."""
    return write_sheet(assessment(), identity=identity())


def statuses(verification: Verification) -> list[str]:
    """Of all steps but the last, the rule's: see test_shipped_rule.py."""
    return [str(step.status) for step in verification.steps[:-1]]


def told(verification: Verification, number: int) -> str:
    """Everything that a step says."""
    step = verification.steps[number - 1]
    return "\n".join([step_text(step), *step_details(step)])


# ---------------------------------------------------------------- sound sheets


def test_a_sheet_holds_when_its_signer_is_trusted() -> None:
    found = verify_sheet(sheet(), trust=ME)
    assert statuses(found) == ["ok"] * 6, [step_text(step) for step in found.steps]
    assert found.exit_code == 0
    assert found.number == assessment().number
    assert found.verdict == "compliant"


def test_without_trust_the_signer_is_unknown() -> None:
    found = verify_sheet(sheet())
    assert statuses(found) == ["ok", "unknown", "ok", "ok", "ok", "ok"]
    assert found.exit_code == 3
    assert "not checked" in told(found, 2)
    assert identity().signer.fingerprint in told(found, 2)


def test_any_signer_will_do_if_asked_for() -> None:
    assert verify_sheet(sheet(), any_signer=True).exit_code == 0


def test_a_signer_who_is_not_among_the_trusted() -> None:
    found = verify_sheet(sheet(), trust=[STRANGER.pem])
    assert statuses(found) == ["ok", "fail", "ok", "ok", "ok", "ok"]
    assert found.exit_code == 1
    assert "not among the trusted certificates" in told(found, 2)
    lines = told(found, 2).splitlines()
    mine, theirs = (f"SHA-256 {each.signer.fingerprint}" for each in (identity(), STRANGER))
    at = lines.index(mine)
    assert lines[at + 1].startswith("expected: Mallory, ")
    assert lines[at + 2] == theirs
    assert "expected: " not in told(verify_sheet(sheet(), trust=ME), 2)


def test_trust_without_a_certificate_is_an_error() -> None:
    with pytest.raises(IdentityError, match="holds no certificate"):
        verify_sheet(sheet(), trust=[b"hello"])


def test_a_countersigned_sheet() -> None:
    data = countersigned(sheet())
    client = [identity("Cleo Client").pem]
    assert verify_sheet(data, trust=ME, client_trust=client).exit_code == 0
    found = verify_sheet(data, trust=ME)
    assert (statuses(found)[1], found.exit_code) == ("unknown", 3)
    assert "Cleo Client" in told(found, 2)
    assert verify_sheet(data, trust=client, client_trust=client).exit_code == 1
    assert verify_sheet(data).exit_code == 3


def test_one_key_does_not_sign_twice() -> None:
    """Whoever is trusted."""
    data = countersigned(sheet(), identity())
    for found in (verify_sheet(data, trust=ME), verify_sheet(data, any_signer=True)):
        assert statuses(found) == ["ok", "fail", *["ok"] * 4]
        assert told(found, 2).startswith("Ada Quill, Low House, ada@example.org")
        assert "signed twice with the same key; a second signature needs" in told(found, 2)


def test_an_unsigned_sheet() -> None:
    found = verify_sheet(write_sheet(assessment()), any_signer=True)
    assert statuses(found) == ["fail", "fail", "fail", "ok", "not done", "not done"]
    assert found.exit_code == 1
    assert "NOT SIGNED" in told(found, 1)
    assert told(found, 5) == told(found, 6) == "not done: the sheet is not signed (step 1)"


def test_a_file_that_was_changed_costs_no_computation(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor is it ever said that its pages show the evidence."""
    monkeypatch.setattr(compliance.evidence.recompute, "assess_again", lambda _: 1 / 0)
    found = verify_sheet(sheet() + b"\n", trust=ME)
    assert statuses(found) == ["fail", "ok", "ok", "ok", "not done", "not done"]
    assert told(found, 5) == told(found, 6)
    assert told(found, 6) == "not done: the file is not as it was signed (step 1)"
    assert found.exit_code == 1


# ---------------------------------------------------------------- strangers


def test_a_stranger_signs_the_same_evidence_afresh() -> None:
    data = write_sheet(assessment(), identity=STRANGER)
    assert verify_sheet(data).exit_code == 3
    assert verify_sheet(data, trust=ME).exit_code == 1


# ---------------------------------------------------------------- changed files


def test_flipped_bytes_are_refused() -> None:
    chance = random.Random(11)
    data = sheet()
    _, before, after, length = byte_ranges(data)[0]
    covered = [*range(before), *range(after, after + length)]
    for place in chance.sample(covered, 2000 if LONG else 80):
        broken = bytearray(data)
        broken[place] ^= chance.randrange(1, 256)
        found = verify_sheet(bytes(broken), trust=ME)
        assert found.exit_code == 1, place
        assert found.steps[0].status is Status.FAIL, place


def test_appended_bytes_are_refused_and_said() -> None:
    found = verify_sheet(sheet() + b"\n% more", trust=ME)
    assert found.exit_code == 1
    assert "data was added after it" in told(found, 1)


@pytest.mark.parametrize(
    "data", [b"", b"hello", b"%PDF-1.7", b"%PDF-1.7\n%%EOF\n", b"\x00" * 1000, None]
)
def test_rubbish_fails_and_raises_nothing(data: bytes | None) -> None:
    found = verify_sheet(sheet()[:5000] if data is None else data, trust=ME)
    assert found.exit_code == 1
    assert statuses(found) == [*["fail"] * 5, "not done"]


def test_a_pdf_that_is_no_sheet() -> None:
    found = verify_sheet(archived({}), any_signer=True)
    assert found.exit_code == 1
    assert "assessment.json is missing" in told(found, 4)


def test_there_is_a_largest_sheet(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("compliance.verification.LARGEST_SHEET", 1000)
    found = verify_sheet(sheet(), any_signer=True)
    assert found.exit_code == 1
    assert "expected at most 1000" in told(found, 1)


def test_an_empty_list_of_steps_is_no_success() -> None:
    assert Verification((), (), None, None).exit_code == 1


# ---------------------------------------------------------------- changed and signed again


def again(files: Mapping[str, bytes]) -> Verification:
    """The evidence signed by the right signer, with nothing to see from outside."""
    found = verify_sheet(sealed(files), trust=ME)
    assert statuses(found)[:3] == ["ok"] * 3
    return found


def test_evidence_signed_again_as_it_was_holds() -> None:
    assert again(evidence()).exit_code == 0
    assert again(mended(evidence())).exit_code == 0


def test_a_changed_reading() -> None:
    found = again(with_reading())
    assert found.exit_code == 1
    assert "readings.csv: the readings were changed" in told(found, 4)
    assert "the attached readings are not those stated" in told(found, 5)
    assert "white-level: after: 100.16" in told(found, 5)


def test_a_changed_reading_whose_digest_was_mended() -> None:
    found = again(mended(with_reading()))
    assert (found.exit_code, statuses(found)[3:5]) == (1, ["ok", "fail"])
    assert step_text(found.steps[4]) == (
        "stated values differ from those computed from the attached readings and rule"
    )


def test_a_changed_rule() -> None:
    found = again(with_rule())
    assert found.exit_code == 1
    assert "rule.json: the rule was changed" in told(found, 4)


def test_a_changed_rule_whose_digest_was_mended() -> None:
    found = again(mended(with_rule()))
    assert (found.exit_code, statuses(found)[3:5]) == (1, ["ok", "fail"])
    assert step_text(found.steps[4]) == "stated limits or texts are not those of the attached rule"
    assert "finding black-level, limits: max: 0.1 stated, 5.0 computed" in told(found, 5)


def test_a_changed_verdict_of_the_sheet() -> None:
    files = with_assessment(lambda stated: stated.update(verdict="undecided"))
    found = again(files)
    assert found.exit_code == 1
    assert "assessment.json: the assessment was changed" in told(found, 4)
    assert (
        step_text(found.steps[4]) == "a stated verdict does not follow from its values and limits"
    )
    found = again(mended(files))
    assert (found.exit_code, statuses(found)[3:5]) == (1, ["ok", "fail"])
    assert told(found, 5).endswith('verdict: "undecided" stated, "compliant" computed')


def test_a_changed_verdict_of_a_finding() -> None:
    found = again(mended(with_assessment(lambda it: first_passing(it).update(verdict="fail"))))
    assert found.exit_code == 1
    name = first_passing(document())["id"]
    assert told(found, 5) == (
        "a stated verdict does not follow from its values and limits\n"
        f'finding {name}: verdict: "fail" stated, "pass" computed'
    )


@pytest.mark.parametrize(
    ("name", "path", "value", "words"),
    [
        ("job.json", ("title",), "Another film", "job.json: the job was changed"),
        ("meter.json", ("lowest",), 0.5, "meter.json: the meter was changed"),
    ],
)
def test_a_changed_job_or_meter(
    name: str, path: tuple[str, ...], value: object, words: str
) -> None:
    data = json.loads(evidence()[name])
    data[path[0]] = value
    found = again({**evidence(), name: dumped(data)})
    assert found.exit_code == 1
    assert words in told(found, 4)
    assert f"the stated {name[:-5]} is not the attached one" in told(found, 5)


def test_changed_readings_before_calibration() -> None:
    rows = evidence()["before.csv"].replace(b"940,940,940,9", b"940,940,940,8")
    found = again({**evidence(), "before.csv": rows})
    assert "before.csv: the readings before calibration were changed" in told(found, 4)


@pytest.mark.parametrize("name", sorted(evidence()))
def test_a_missing_attachment(name: str) -> None:
    files = {each: data for each, data in evidence().items() if each != name}
    found = again(files)
    assert found.exit_code == 1
    assert f"{name} is missing" in told(found, 4)


def test_an_attachment_too_many() -> None:
    found = again({**evidence(), "notes.txt": b"trust me"})
    assert found.exit_code == 1
    assert "notes.txt does not belong to a sheet" in told(found, 4)


# ---------------------------------------------------------------- hostile evidence


def with_text(**parts: Any) -> bytes:
    return dumped({**document(), **parts})


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("assessment.json", b"\n", "assessment.json: invalid JSON"),
        ("assessment.json", b"[]", "assessment.json: is not a JSON object"),
        ("assessment.json", b"{}", "its number is None"),
        ("assessment.json", b"\xff\xfe", "assessment.json: invalid JSON"),
        ("assessment.json", b'{"a": 1, "a": 2}', "duplicate key"),
        ("assessment.json", b'{"a": NaN}', "NaN is not a number"),
        ("assessment.json", b'{"a": 1e999}', "assessment.json"),
        ("assessment.json", b'{"a": ' + b"[" * 100_000, "assessment.json: invalid JSON"),
        ("assessment.json", with_text(findings="none"), "assessment.json"),
        ("assessment.json", with_text(findings=[1, 2]), "assessment.json"),
        ("assessment.json", with_text(rule=None), "assessment.json"),
        ("assessment.json", with_text(assessed="yesterday"), "assessment.json"),
        ("assessment.json", with_text(assessed=7), "assessment.json"),
        ("assessment.json", with_text(decision=[]), "assessment.json"),
        ("rule.json", b"{}", "rule.json: the rule was changed"),
        ("rule.json", b"null", "rule.json: is not a JSON object"),
        ("job.json", b'{"job": 7}', "job.json: the job was changed"),
        ("meter.json", b"7", "meter.json: is not a JSON object"),
        ("readings.csv", b"\n", "readings.csv: the readings were changed"),
        ("readings.csv", b"\x00\xff" * 99, "readings.csv: the readings were changed"),
    ],
)
def test_hostile_evidence_fails_and_raises_nothing(name: str, data: bytes, words: str) -> None:
    found = again({**evidence(), name: data})
    assert found.exit_code == 1
    assert statuses(found)[3:5] == ["fail", "fail"]
    assert words in told(found, 4)


@pytest.mark.parametrize(
    "parts", [{"assessed": "yesterday"}, {"assessed": 7}, {"before": []}, {"heading": 7}]
)
def test_what_has_not_the_shape_of_an_assessment_is_told_in_our_words(parts: Any) -> None:
    found = again({**evidence(), "assessment.json": with_text(**parts)})
    assert told(found, 5) == "not possible: assessment.json is not an assessment document"


def test_a_digest_cannot_be_looked_up_in_another_shape() -> None:
    found = again({**evidence(), "assessment.json": with_text(deviations=7)})
    assert told(found, 4).endswith("\nassessment.json is not an assessment document")


def test_a_damaged_attachment_is_told_in_our_words() -> None:
    data = sheet()
    with Pdf.open(BytesIO(data)) as document:
        packed = document.attachments["readings.csv"].get_file().obj.read_raw_bytes()
    assert data.count(packed) == 1
    broken = data.replace(packed, packed[:40] + bytes(99) + packed[139:])
    found = verify_sheet(broken, trust=ME)
    assert told(found, 1).endswith("FacilitySignature: the signed bytes were changed")
    assert told(found, 4) == "cannot be read: attachment readings.csv is damaged"
    assert told(found, 6).endswith("(step 1)")


# ---------------------------------------------------------------- another engine


def older(stated: dict[str, Any]) -> None:
    stated["tool"].update(version=EARLIER, engine=RELEASED[EARLIER])


def test_an_earlier_engine_with_other_numbers_is_not_called_tampering() -> None:
    def moved(stated: dict[str, Any]) -> None:
        older(stated)
        first_passing(stated)["value"] += 0.01
        first_passing(stated)["verdict"] = "fail"
        stated["verdict"], stated["conditional"] = "not-compliant", True

    found = again(mended(with_assessment(moved)))
    assert (found.exit_code, statuses(found)[3:]) == (3, ["ok", "unknown", "ok"])
    name = first_passing(document())["id"]
    assert f"(engine) {RELEASED[EARLIER]}, and with today's, {ENGINE}, 1 of" in told(found, 5)
    assert f"finding {name}: value:" in told(found, 5)
    assert f'finding {name}: verdict: "fail" stated, "pass" computed' in told(found, 5)
    state = assessment().state
    today = Today(state.verdict, state.conditional, None)
    assert (found.verdict, found.today) == ("not-compliant", today)
    first, second, last = sheet_outcome(found)
    assert first == (
        "The sheet states: not compliant (within the uncertainty) (definitions of engine "
        f"{RELEASED[EARLIER]})."
    )
    assert second.startswith(f"Computed again by today's definitions (engine {ENGINE}): ")
    assert second.endswith("compliant.")
    assert "not" not in second
    assert last.startswith("Intact as far as it was checked.")


def test_an_earlier_engine_with_the_same_numbers_is_not_called_valid_either() -> None:
    found = again(mended(with_assessment(older)))
    assert (found.exit_code, statuses(found)[3:]) == (3, ["ok", "unknown", "ok"])
    assert told(found, 5).endswith("all requirements come out as stated")


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        (lambda stated: first_passing(stated).update(limits={"min": None, "max": 1e6}), Topic.RULE),
        (lambda stated: first_passing(stated).update(level="should"), Topic.RULE),
        (lambda stated: first_passing(stated).update(clause="another"), Topic.RULE),
        (lambda stated: stated["findings"].append({**first_passing(stated), "id": "more"}),
         Topic.RULE),
        (lambda stated: stated["decision"].update(confidence=0.5), Topic.RULE),
        (lambda stated: stated["job"].update(title="another"), Topic.JOB),
        (lambda stated: stated["readings"].update(count=3), Topic.READING),
    ],
)  # fmt: skip
def test_no_engine_explains_other_evidence_or_limits(
    change: Callable[[dict[str, Any]], None], fault: Topic
) -> None:
    def moved(stated: dict[str, Any]) -> None:
        older(stated)
        change(stated)

    found = again(mended(with_assessment(moved)))
    assert (found.exit_code, statuses(found)[4]) == (1, "fail")
    assert told(found, 5).startswith(fault)


def test_a_later_engine_needs_a_newer_version() -> None:
    def later(stated: dict[str, Any]) -> None:
        stated["tool"]["engine"] = ENGINE + 1
        stated["findings"] = []

    found = again(mended(with_assessment(later)))
    assert (found.exit_code, statuses(found)[3:]) == (3, ["ok", "unknown", "not done"])
    assert told(found, 5) == (
        f"not possible: made with definitions (engine) {ENGINE + 1}, and this version knows them "
        f"up to {ENGINE}; use a newer version"
    )
    (line,) = sheet_outcome(found)
    assert "use a newer version" in line
    assert found.is_newer


def test_other_remarks_are_a_fault_unless_a_released_version_made_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def worded(stated: dict[str, Any]) -> None:
        stated["remarks"] = [{"kind": "drift", "text": "none to speak of"}]

    found = again(mended(with_assessment(worded)))
    assert (found.exit_code, statuses(found)[3:5]) == (1, ["ok", "fail"])
    assert "the remarks do not follow from the evidence" in told(found, 5)

    def reworded(stated: dict[str, Any]) -> None:
        worded(stated)
        stated["tool"]["version"] = "0.1.9"

    found = again(mended(with_assessment(reworded)))
    assert (found.exit_code, statuses(found)[3:5]) == (1, ["ok", "fail"])
    assert f"no version 0.1.9 with definitions (engine) {ENGINE} was released" in told(found, 5)
    monkeypatch.setattr("compliance.verification.versions.RELEASED", {"0.1.9": ENGINE})
    found = again(mended(with_assessment(reworded)))
    assert (found.exit_code, statuses(found)[3:5]) == (3, ["ok", "unknown"])
    assert "which version 0.1.9 made otherwise" in told(found, 5)

    def bolder(stated: dict[str, Any]) -> None:
        reworded(stated)
        first_passing(stated)["verdict"] = "fail"

    assert again(mended(with_assessment(bolder))).exit_code == 1


def test_a_fault_in_computing_again_is_a_failed_step(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> dict[str, Any]:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr(compliance.evidence.recompute, "assess_again", broken)
    found = verify_sheet(sheet(), trust=ME)
    assert statuses(found)[4] == "fail"
    assert told(found, 5) == ("not possible: ZeroDivisionError: division by zero")


# ---------------------------------------------------------------- time


@pytest.mark.parametrize("when", [SIGNED - LIFE * 2, SIGNED + LIFE])
def test_a_time_outside_the_certificates_dates(
    when: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a certificate that is valid long before the sheet is signed, or long after."""
    monkeypatch.setattr(compliance.signing.timestamps, "_check_validity", lambda *_: None)
    data = new_identity("Ada Quill", "Low House", "ada@example.org", PASSWORD, when)
    who = load_identity(data, PASSWORD)
    found = verify_sheet(sealed(evidence(), who), trust=[who.pem])
    assert statuses(found) == ["ok", "ok", "fail", "ok", "ok", "ok"]
    assert "outside its certificate's dates" in told(found, 3)


def test_a_claimed_time_is_said_to_be_claimed() -> None:
    assert "2026-11-20 16:00 UTC as the signer claims" in told(verify_sheet(sheet()), 3)


def test_a_stamped_time_comes_from_an_authority() -> None:
    data = sealed(evidence(), stamper=Within(SIGNED.replace(minute=5)))
    found = verify_sheet(data, trust=ME)
    assert (statuses(found)[:3], found.exit_code) == (["ok"] * 3, 0)
    assert "16:00 UTC as the signer claims; time stamp of Clock: 2026-11-20" in told(found, 3)
    found = verify_sheet(data, trust=ME, timestamp_trust=[identity().pem])
    assert (statuses(found)[:3], found.exit_code) == (["ok", "ok", "unknown"], 3)
    assert "but its authority is not trusted" in told(found, 3)
    found = verify_sheet(data, trust=ME, timestamp_trust=[clock().root.pem])
    assert (statuses(found)[:3], found.exit_code) == (["ok"] * 3, 0)
    assert "2026-11-20 16:05 UTC by a trusted time stamp, Clock" in told(found, 3)


def test_nobody_chooses_the_draws() -> None:
    """The wanted verdict could be drawn for: with other seeds, or with a few draws."""
    for chosen in ({"seed": 37}, {"draws": 20}, {"draws": 10**15}):
        found = again(mended({**evidence(), "assessment.json": with_text(**chosen)}))
        assert (found.exit_code, statuses(found)[4]) == (1, "fail")
        assert "the draws are not those of every assessment" in told(found, 5)


def test_a_verdict_on_the_edge_is_told_both_ways() -> None:
    """Another processor's rounding may turn it: no fault, and not valid either."""
    at_limit = near_limit.assessment(white=(99.8, 105.0, 114.3))
    files = attachments(at_limit)
    stated = json.loads(files["assessment.json"])
    finding = next(each for each in stated["findings"] if each["id"] == "white-level")
    finding["verdict"] = finding["points"][0]["verdict"] = "fail"
    stated.update(verdict="not-compliant", conditional=False)
    data = signed(mended({**files, "assessment.json": dumped(stated)}))
    found = verify_sheet(data, trust=ME, rules=[near_limit.rule()])
    assert (found.exit_code, statuses(found)[4]) == (3, "unknown"), told(found, 5)
    assert "so close to a limit that rounding turns them" in told(found, 5)
    assert 'finding white-level: verdict: "fail" stated, "pass" computed' in told(found, 5)
    first, second, third = sheet_outcome(found)
    assert (first, second) == (
        "The sheet states: not compliant.",
        "Computed again from its evidence: conditionally compliant.",
    )
    assert third.startswith("Intact as far as it was checked.")
