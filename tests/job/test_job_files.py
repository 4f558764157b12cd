"""Jobs: what a file becomes, what is said about a wrong one, what one slot may show."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from helpers.sample_text import JOB, complaint, edited, write

from compliance.errors import JobError
from compliance.job_file import job_from_document, load_job, only_slot
from compliance.model import (
    ENCODINGS,
    Declaration,
    Display,
    Job,
    Party,
    People,
    ReadingsEntry,
    Room,
)
from compliance.plain_data import canonical_bytes

SECOND = (
    "    readings: {file: readings/slot-2.csv, measured: 2026-11-20T16:10:00+01:00, "
    "encoding: rgb-8-full}\n"
)

MESSAGES = [
    ("job: SY-0412\n", "", "job.yaml:1: job: missing; expected a name, e.g. job: SY-0412"),
    ("job: SY-0412\n", "jop: SY-0412\n", "job.yaml:1: jop: unknown key 'jop'; did you mean 'job'?"),
    ("\nencoding", "\ntimezone: Europe/Lisboa\nencoding", "job.yaml:7: timezone: unknown time "
     "zone 'Europe/Lisboa'; did you mean 'Europe/Lisbon'?"),
    ("\nencoding", "\ntimezone: +01:00\nencoding", "job.yaml:7: timezone: unknown time zone "
     "'+01:00'; expected a name of the IANA, e.g. Europe/Lisbon"),
    ("\nencoding: rgb-10-full", "\nencoding: rgb-10-ful", "job.yaml:7: encoding: unknown "
     "encoding 'rgb-10-ful'; did you mean 'rgb-10-full'?"),
    ("encoding: rgb-10-full\n", "", "job.yaml:1: encoding: missing; expected encoding, e.g. "
     "encoding: rgb-10-full"),
    ("encoding: rgb-10-full", "encoding: rgb-10-full\nobserver: cie-2015-10", "job.yaml:8: "
     "observer: unknown observer 'cie-2015-10'; expected cie-1931-2"),
    ("client: {name: Low Tide Films, contact: production office}", "client: Low Tide Films",
     "job.yaml:2: client: found 'Low Tide Films'; expected a mapping of name and contact, e.g. "
     "client: {name: Low Tide Films}"),
    ("surround: 5.0", "surround: dim", "job.yaml:5: suite.room.surround: 'dim' is not a number; "
     "expected cd/m², e.g. surround: 5"),
    ("ambient: 12}}", "ambient: -12}}", "job.yaml:5: suite.room.ambient: '-12' is below 0; "
     "expected lx, e.g. ambient: 12"),
    ("technology: lcd", "technology: LED backlit", "job.yaml:6: display.technology: unknown "
     "display technology 'LED backlit'; expected one of lcd, oled, led, crt, plasma, projector"),
    ("hours: 1840", "hours: 1,840", "job.yaml:6: display.840: unknown key '840'; a comma "
     "separates entries in brackets: write a decimal point, e.g. 1.5"),
    ("meter: meters/spot-1.yaml", "meter: {file: meters/spot-1.yaml}", "job.yaml:8: meter: found "
     "a mapping; expected the path of a file, e.g. meter: meters/spot-1.yaml"),
    ("meter: meters/spot-1.yaml", "meter: ../meters/spot-1.yaml", "job.yaml:8: meter: "
     "'../meters/spot-1.yaml' is outside the job's folder; expected a file in it or below"),
    ("readings/slot-1.csv", "/tmp/slot-1.csv", "job.yaml:18: slots[0].readings.file: "
     "'/tmp/slot-1.csv' is outside the job's folder; expected a file in it or below"),
    ("slot: 2", "slot: 1", "job.yaml:19: slots[1].slot: '1' is already the name of another slot "
     "(line 11)"),
    ("    deliverable: sdr-broadcast\n", "", "job.yaml:11: slots[0].deliverable: missing; "
     "expected a rule's id, the path of a rule file, or a list of them, e.g. deliverable: "
     "sdr-broadcast"),
    ("[web-srgb, rules/house.yaml]", "[]", "job.yaml:20: slots[1].deliverable: a list with no "
     "entries; expected a rule's id, the path of a rule file, or a list of them, e.g. "
     "deliverable: sdr-broadcast"),
    ("[web-srgb, rules/house.yaml]", "[web-srgb, web-srgb]", "job.yaml:20: "
     "slots[1].deliverable[1]: 'web-srgb' is listed twice"),
    (SECOND, "", "job.yaml:19: slots[1].readings: missing; expected e.g. readings: {file: "
     "readings/slot-1.csv, measured: …}"),
    ("measured: 2026-11-20T15:10:00Z", "measurd: 2026-11-20T15:10:00Z", "job.yaml:18: "
     "slots[0].readings.measurd: unknown key 'measurd'; did you mean 'measured'?"),
    ("2026-11-20T15:10:00Z", "2026-11-20T15:10:00", "job.yaml:18: slots[0].readings.measured: "
     "'2026-11-20T15:10:00' is not a time with offset; expected a time with its offset, e.g. "
     "measured: 2026-11-20T15:10:00Z"),
    ("2026-11-20T15:10:00Z", "20 November", "job.yaml:18: slots[0].readings.measured: '20 "
     "November' is not a time with offset; expected a time with its offset, e.g. measured: "
     "2026-11-20T15:10:00Z"),
    ("2026-11-20T15:10:00Z", "2026-11-20T14:00:00Z", "job.yaml:18: slots[0].readings.measured: "
     "2026-11-20T14:00:00Z is earlier than calibrated, 2026-11-20T14:05:00Z; readings taken "
     "before a calibration belong under before"),
    ("ambient: off", "started: 2026-11-20T15:20:00Z", "job.yaml:18: slots[0].readings.started: "
     "2026-11-20T15:20:00Z is later than measured, 2026-11-20T15:10:00Z"),
    ("ambient: off", "ended: 2026-11-20T15:00:00Z", "job.yaml:18: slots[0].readings.ended: "
     "2026-11-20T15:00:00Z is earlier than measured, 2026-11-20T15:10:00Z"),
    ("ambient: off", "started: 2026-11-20T14:00:00Z", "job.yaml:18: slots[0].readings.started: "
     "2026-11-20T14:00:00Z is earlier than calibrated; readings after a calibration begin after "
     "it"),
    ("ambient: off", "temperature: 72.5", "job.yaml:18: slots[0].readings.temperature: '72.5' is "
     "above 60; expected °C, e.g. temperature: 22.5"),
    ("measured_by: A", "measured_by: {function: A}", "job.yaml:9: people.measured_by.name: "
     "missing; expected a text, e.g. name: …"),
    ("measured_by: A", "measured_by: [A, B]", "job.yaml:9: people.measured_by: found a list; "
     "expected a name, or a mapping of name and function, e.g. measured_by: {name: …, function: "
     "colour engineer}"),
    ("2026-11-20T13:20:00Z", "2026-11-20T14:20:00Z", "job.yaml:17: slots[0].before.measured: "
     "2026-11-20T14:20:00Z is later than calibrated; readings taken after a calibration belong "
     "under readings"),
    ("warm_up: 45", "warm_up: 45 min", "job.yaml:15: slots[0].warm_up: '45 min' is not a number; "
     "expected minutes, e.g. warm_up: 45"),
    ("warm_up: 45", "nominal_peak: 0", "job.yaml:15: slots[0].nominal_peak: '0' is not above 0; "
     "expected cd/m², e.g. nominal_peak: 1000"),
    ("value: yes", "value: sure", "job.yaml:16: slots[0].declared.local-dimming-off.value: found "
     "'sure'; expected yes, no or a number, e.g. value: yes"),
    ("by: A, date: 2026-11-20", "by: A, date: 20.11.2026", "job.yaml:16: "
     "slots[0].declared.local-dimming-off.date: '20.11.2026' is not a date; expected "
     "year-month-day, e.g. date: 2026-11-20"),
    ("by: A, date: 2026-11-20", "date: 2026-11-20", "job.yaml:16: "
     "slots[0].declared.local-dimming-off.by: missing; expected a text, e.g. by: the engineer on "
     "duty"),
    ("backlight: 25", "backlight: [25]", "job.yaml:14: slots[0].settings.backlight: found a "
     "list; expected a text, e.g. backlight: 25"),
    ("    warm_up: 45", "    encoding: rgb-8-full", "job.yaml:15: slots[0].encoding: unknown key "
     "'encoding'; it belongs in before or readings"),
    ("ambient: off}", "warm_up: 45}", "job.yaml:18: slots[0].readings.warm_up: unknown key "
     "'warm_up'; it belongs in slots[0]"),
    ("    warm_up: 45", "    observer: cie-1931-2", "job.yaml:15: slots[0].observer: unknown key "
     "'observer'; it belongs at the top of the file"),
    ("technology: lcd", "technology: lcd, surround: 5", "job.yaml:6: display.surround: unknown "
     "key 'surround'; it belongs in suite.room"),
    ("slots:\n", "slots: none\nslot:\n", "job.yaml:10: slots: found 'none'; expected a list of "
     "slots, e.g. slots: [{slot: 1, deliverable: sdr-broadcast, readings: {file: "
     "readings/slot-1.csv, measured: 2026-11-20T15:10:00Z}}]\njob.yaml:11: slot: unknown key "
     "'slot'; did you mean 'slots'?"),
]  # fmt: skip


def loaded(folder: Path, text: str = JOB) -> Job:
    write(folder, {"job.yaml": text})
    return load_job(folder / "job.yaml")


@pytest.mark.parametrize(("old", "new", "message"), MESSAGES)
def test_a_wrong_job_is_told_exactly(tmp_path: Path, old: str, new: str, message: str) -> None:
    with pytest.raises(JobError) as failure:
        loaded(tmp_path, edited(JOB, old, new))
    assert complaint(tmp_path, failure) == message


def test_a_job(tmp_path: Path) -> None:
    job = loaded(tmp_path)
    assert (job.reference, job.title, job.suite) == (
        "SY-0412",
        "A river documentary in six parts",
        "suite-2",
    )
    assert job.client == Party("Low Tide Films", contact="production office")
    assert job.facility == Party("Harbour Finishing", address="1 Quay")
    assert (job.room, job.people) == (Room(5.0, 12.0), People("A", "B"))
    assert [slot.name for slot in job.slots] == ["1", "2"]
    assert job.file == tmp_path / "job.yaml"


def test_a_slot_states_its_nominal_peak(tmp_path: Path) -> None:
    stated = loaded(tmp_path, edited(JOB, "warm_up: 45", "nominal_peak: 1500"))
    assert [slot.nominal_peak for slot in stated.slots] == [1500.0, None]


def test_a_slot(tmp_path: Path) -> None:
    slot = loaded(tmp_path).slots[0]
    assert slot.deliverables == ("sdr-broadcast",)
    assert slot.calibrated == datetime(2026, 11, 20, 14, 5, tzinfo=UTC)
    assert slot.settings == {"preset": "1:30", "backlight": "25", "lut": "luts/slot-1.cube"}
    assert slot.warm_up == 45.0
    assert slot.declared == {"local-dimming-off": Declaration(1.0, "A", date(2026, 11, 20))}
    assert slot.display == Display(serial="RD-31-0007", technology="lcd", hours=1840.0)
    assert slot.meter == tmp_path / "meters/spot-1.yaml"
    assert slot.readings == ReadingsEntry(
        file=tmp_path / "readings/slot-1.csv",
        named="readings/slot-1.csv",
        measured=datetime(2026, 11, 20, 15, 10, tzinfo=UTC),
        encoding=ENCODINGS["rgb-10-full"],
        ambient="off",
    )
    assert slot.before is not None
    assert slot.before.named == "readings/slot-1-before.csv"


def test_a_slot_may_have_its_own_display_meter_and_encoding(tmp_path: Path) -> None:
    slot = loaded(tmp_path).slots[1]
    assert slot.deliverables == ("web-srgb", "rules/house.yaml")
    assert slot.display == Display(serial="PR-1", technology="projector")
    assert slot.meter == tmp_path / "meters/spectro-1.yaml"
    assert slot.readings is not None
    assert slot.readings.encoding == ENCODINGS["rgb-8-full"]
    assert slot.readings.measured == datetime(2026, 11, 20, 15, 10, tzinfo=UTC)


def test_what_a_job_need_not_say(tmp_path: Path) -> None:
    text = (
        "job: 0412\nencoding: rgb-8-full\nslots:\n  - slot: a\n    deliverable: web-srgb\n"
        "    before: {file: a.csv, measured: 2026-11-20T13:20:00Z}\n"
    )
    job = loaded(tmp_path, text)
    assert (job.reference, job.client, job.suite, job.room) == ("0412", None, None, Room())
    slot = job.slots[0]
    assert (slot.display, slot.meter, slot.readings) == (Display(), None, None)
    assert (slot.settings, slot.declared, slot.calibrated) == ({}, {}, None)


@pytest.mark.parametrize(("value", "number"), [("yes", 1.0), ("no", 0.0), ("70", 70.0)])
def test_declarations(tmp_path: Path, value: str, number: float) -> None:
    slot = loaded(tmp_path, edited(JOB, "value: yes", f"value: {value}")).slots[0]
    assert slot.declared["local-dimming-off"].value == number


def test_a_file_outside_the_folder_may_be_allowed(tmp_path: Path) -> None:
    write(tmp_path, {"job.yaml": edited(JOB, "meters/spot-1.yaml", "../meters/spot-1.yaml")})
    job = load_job(tmp_path / "job.yaml", allow_outside=True)
    assert job.slots[0].meter == tmp_path / "../meters/spot-1.yaml"


def test_a_job_comes_back_from_its_document(tmp_path: Path) -> None:
    job = loaded(tmp_path)
    again = job_from_document(json.loads(canonical_bytes(job.document)), job.file)
    assert again == job


def test_one_slot_shows_no_trace_of_the_others(tmp_path: Path) -> None:
    job = loaded(tmp_path)
    first, second = only_slot(job, "1"), only_slot(job, "2")
    assert first.slots == (job.slots[0],)
    assert second.slots == (job.slots[1],)
    for word in ("slot-2", "spectro-1", "PR-1", "house.yaml", "web-srgb"):
        assert word not in repr(first)
    for word in ("slot-1", "spot-1", "RD-31", "sdr-broadcast", "local-dimming", "1:30", "lcd"):
        assert word not in repr(second)
    assert first.document["client"] == job.document["client"]


def test_a_reduced_job_comes_back_too(tmp_path: Path) -> None:
    job = loaded(tmp_path)
    for name in ("1", "2"):
        reduced = only_slot(job, name)
        again = job_from_document(json.loads(canonical_bytes(reduced.document)), job.file)
        assert again == reduced
        assert only_slot(again, name) == again


def test_an_unknown_slot_gets_the_nearest(tmp_path: Path) -> None:
    job = replace(loaded(tmp_path), file=Path("job.yaml"))
    with pytest.raises(JobError) as failure:
        only_slot(job, "3")
    assert str(failure.value) == (
        "job.yaml: slots: '3' is not a slot of this job; expected one of 1, 2"
    )


@pytest.mark.parametrize(
    ("key", "value", "message"),
    [
        ("job", 412, "job.json: has values in another form than those read from a file"),
        ("slots", [], "job.json: slots: a list with no entries; "),
        ("encoding", None, "job.json: encoding: is empty; "),
        ("extra", 1, "job.json: extra: unknown key 'extra'; "),
    ],
)
def test_a_spoilt_document_is_refused(
    tmp_path: Path, key: str, value: object, message: str
) -> None:
    document = {**loaded(tmp_path).document, key: value}
    with pytest.raises(JobError) as failure:
        job_from_document(document, "job.json")
    assert str(failure.value).startswith(message)


@pytest.mark.parametrize("document", [None, [], "job", 3, {}])
def test_what_is_no_document_is_refused(document: object) -> None:
    with pytest.raises(JobError):
        job_from_document(document, "job.json")  # type: ignore[arg-type]


def test_a_job_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(JobError) as failure:
        load_job(tmp_path / "none.yaml")
    assert complaint(tmp_path, failure) == "none.yaml: no such job file"
