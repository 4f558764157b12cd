"""Times in a job's time zone: which offset, on which times, and that nothing else changes."""

from __future__ import annotations

import copy
import pickle
from datetime import UTC, date, datetime

import pytest
from helpers.evidence_of_a_slot import assessment, in_zone

from compliance.documents import assessment_document, read_document
from compliance.model.local_time import PrintedOffset, read_offset, written_offset
from compliance.model.stated import StatedOffset, StatedTimezone
from compliance.plain_data import ShapeError
from compliance.report.build import build_report
from compliance.report.numbers import format_date, format_time
from compliance.time_zones import Zone, offset_at, zone_names, zone_of

NIGHT = datetime(2026, 11, 20, 23, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("name", "moment", "offset"),
    [  # the tz database, release 2026
        ("Europe/Berlin", "2026-10-25T00:59:59", "+02:00"),
        ("Europe/Berlin", "2026-10-25T01:00:00", "+01:00"),
        ("Europe/London", "2026-11-20T12:00:00", "+00:00"),
        ("America/St_Johns", "2026-11-20T12:00:00", "-03:30"),
        ("Asia/Kathmandu", "2026-11-20T12:00:00", "+05:45"),
        ("Pacific/Kiritimati", "2026-11-20T12:00:00", "+14:00"),
        ("Africa/Monrovia", "1971-06-01T12:00:00", "-00:44"),  # to the second −00:44:30
    ],
)
def test_offset_of_a_zone(name: str, moment: str, offset: str) -> None:
    found = offset_at(name, datetime.fromisoformat(moment).replace(tzinfo=UTC))
    assert found is not None and found.tzname(None) == offset
    assert read_offset(offset) == found


@pytest.mark.parametrize("name", ["Europe/Atlantis", "Europe", "../Europe/Berlin", "localtime", ""])
def test_what_is_no_zone_has_no_offset(name: str) -> None:
    assert name not in zone_names()
    assert offset_at(name, NIGHT) is None


@pytest.mark.parametrize("text", ["+14:01", "-15:00", "+01:60", "+1:00", "01:00", "+01:00:30", "Z"])
def test_no_zone_has_such_an_offset(text: str) -> None:
    with pytest.raises(ValueError, match="is not an offset"):
        read_offset(text)


def test_a_local_time_is_the_instant_that_it_was() -> None:
    local = Zone("Europe/Berlin").local(NIGHT)
    assert local == NIGHT and hash(local) == hash(NIGHT)
    for other in (copy.deepcopy(local), pickle.loads(pickle.dumps(local))):
        assert (other, written_offset(other)) == (NIGHT, "+01:00")


def test_only_a_carried_offset_is_printed() -> None:
    local = Zone("Europe/Berlin").local(NIGHT)
    elsewhere = datetime.fromisoformat("2026-11-21T01:30:00+02:00")
    assert format_time(local) == "2026-11-21 00:30 +01:00"
    assert format_date(local) == "2026-11-21"
    assert format_time(elsewhere) == format_time(NIGHT) == "2026-11-20 23:30 UTC"
    assert format_date(elsewhere) == format_date(date(2026, 11, 20)) == "2026-11-20"


@pytest.mark.parametrize(
    ("stated", "printed"),
    [("+02:00", "+02:00"), ("+00:00", "+00:00"), ("+01:45", "+01:45"), ("+03:00", "+01:00")],
)
def test_a_stated_offset_holds_if_the_zone_may_have_had_it(stated: str, printed: str) -> None:
    zone = zone_of("Europe/Berlin", StatedTimezone("", (StatedOffset(NIGHT, stated),)))
    assert written_offset(zone.local(NIGHT)) == printed


def test_every_printed_time_has_the_offset_of_its_day() -> None:
    report = build_report(in_zone("America/St_Johns"))
    facts = [fact for group in report.provenance for fact in group.facts]
    texts = [report.dates, report.validity, *(f.value for f in (*facts, *report.measured))]
    assert not [text for text in texts if "UTC" in text]
    values = {fact.label: fact.value for fact in facts}
    assert values["Calibrated"] == "2026-11-20 05:30 -03:30"
    assert "valid until 2026-12-20 06:30 -03:30" in report.dates


def test_a_zone_changes_only_what_is_printed() -> None:
    there, here = (assessment_document(each) for each in (in_zone("Asia/Tokyo"), assessment()))
    zone = there.pop("timezone")
    assert here.pop("timezone") is None and zone["name"] == "Asia/Tokyo"
    assert {each["offset"] for each in zone["offsets"]} == {"+09:00"}
    times = [each["time"] for each in zone["offsets"]]
    assert times == sorted(
        {
            there["assessed"],
            there["valid_until"],
            there["slot"]["calibrated"],
            there["readings"]["measured"],
            there["before"]["readings"]["measured"],
        }
    )
    for document in (there, here):
        document.pop("number")
        document["job"].pop("digest")
    assert there == here


def test_a_document_is_read_with_the_offsets_that_it_states() -> None:
    document = assessment_document(in_zone("Asia/Tokyo"))
    document["timezone"]["offsets"][0]["offset"] = "+08:00"
    stated = read_document(document)
    assert stated.before is not None
    assert format_time(stated.before.readings.measured) == "2026-11-20 16:00 +08:00"
    assert format_time(stated.assessed).endswith("+09:00")
    document["timezone"]["offsets"][0]["offset"] = "+14:30"
    with pytest.raises(ShapeError, match=r"timezone\.offsets: \+14:30 is not an offset"):
        read_document(document)


def test_an_offset_is_of_whole_minutes() -> None:
    assert repr(PrintedOffset(-90)) == "PrintedOffset(-90)"
    assert PrintedOffset(-90).tzname(None) == "-01:30"
