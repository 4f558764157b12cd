"""Before and after: what calibration changed, headroom, and pairs that are hardly of one slot."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from helpers import shipped, simulated
from helpers.shipped import other_primaries, shipped_rule

from compliance.assessment import assess
from compliance.colour import spaces
from compliance.colour.spaces import PRIMARIES
from compliance.documents import assessment_document
from compliance.model import Assessment, Job, Measurement, Readings, ReadingsEntry, Rule
from compliance.report.words import remark_text

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
SDR = "sdr-broadcast"


def read(rule: Rule, **how: object) -> Readings:
    how.setdefault("black", 0.03)
    read = simulated.readings(simulated.ideal(rule, **how), rule.encoding)  # type: ignore[arg-type]
    return replace(read, sha256=str(sorted(how.items(), key=str)))


def pair(before: Readings, after: Readings, rule: str = SDR, job: Job | None = None) -> Assessment:
    return assess(Measurement(shipped_rule(rule), after, before=before, job=job), now=NOW)


def text(assessment: Assessment, kind: str) -> str:
    """The text of the only remark of a kind; empty where there is none."""
    found = [remark_text(one) for one in assessment.state.remarks if one.kind == kind]
    assert len(found) <= 1
    return found[0] if found else ""


# ---------------------------------------------------------------- what changed


def test_what_calibration_changed() -> None:
    rule = shipped_rule(SDR)
    made = pair(read(rule, white=112.0), read(rule, white=99.0))
    found = made.calibration
    assert found is not None
    assert (found.white_before, found.white_after) == pytest.approx((112.0, 99.0))
    assert found.lost == pytest.approx(100 * (1 - 99 / 112))
    assert (found.asked, found.wanted) == pytest.approx((100.0, 112.0))
    shifts = {one.id: one for one in found.shifts}
    assert shifts["white-level"].before == pytest.approx(112.0)
    assert shifts["white-level"].after == pytest.approx(99.0)
    assert "surround" not in shifts
    stated = assessment_document(made)["calibration"]
    assert stated["lost"] == found.lost
    assert len(stated["shifts"]) == len(found.shifts)


def test_without_readings_before_nothing_is_said_of_it() -> None:
    rule = shipped_rule(SDR)
    made = assess(Measurement(rule, read(rule, white=100.0)), now=NOW)
    assert made.calibration is None
    assert assessment_document(made)["calibration"] is None


def test_what_is_asked_for_is_the_rules() -> None:
    """The nominal white; the least, where that is a range; the peak in high range."""
    for rule, asked in (("web-srgb", 80.0), ("hdr-pq-1000", 950.0), ("cinema-review-room", 48.0)):
        loaded = shipped_rule(rule)
        shown = simulated.readings(shipped.ideal(loaded), loaded.encoding)
        found = pair(shown, replace(shown, sha256="other"), rule).calibration
        assert found is not None
        assert found.asked == asked, rule


# ---------------------------------------------------------------- headroom


@pytest.mark.parametrize(("white", "noted"), [(100.0, True), (108.0, True), (112.0, False)])
def test_headroom(white: float, noted: bool) -> None:
    """Practice: a calibration costs 10 to 15 %, so 100 cd/m² want about 112 to start from."""
    rule = shipped_rule(SDR)
    told = text(pair(read(rule, white=white), read(rule, white=99.0)), "headroom")
    assert bool(told) == noted
    if noted:
        assert "wants about 112\u00a0cd/m² to start from; it ended at 99.00\u00a0cd/m²" in told


def test_a_slot_that_gained_light_and_got_there_had_the_headroom() -> None:
    rule = shipped_rule(SDR)
    assert not text(pair(read(rule, white=82.0), read(rule, white=100.0)), "headroom")
    assert text(pair(read(rule, white=82.0), read(rule, white=90.0)), "headroom")


def test_headroom_of_a_slot_that_is_not_calibrated_yet() -> None:
    rule = shipped_rule(SDR)
    made = assess(Measurement(rule, None, before=read(rule, white=100.0)), now=NOW)
    assert made.heading == "before"
    assert "wants about 112" in text(made, "headroom")


@pytest.mark.parametrize(
    ("before", "after", "noted"),
    [(160.0, 100.0, False), (120.0, 90.0, True), (112.0, 98.0, False)],
)
def test_luminance_lost(before: float, after: float, noted: bool) -> None:
    """Much light lost is noted only where the slot ends too dark."""
    rule = shipped_rule(SDR)
    told = text(pair(read(rule, white=before), read(rule, white=after)), "luminance-lost")
    assert bool(told) == noted


# ---------------------------------------------------------------- pairs


def test_an_ordinary_pair_is_not_questioned() -> None:
    rule = shipped_rule(SDR)
    wide = other_primaries(PRIMARIES["p3"], rule)
    made = pair(read(rule, white=130.0, fault=wide), read(rule, white=100.0))
    assert not text(made, "pair")


def test_a_white_that_rose_much() -> None:
    rule = shipped_rule(SDR)
    told = text(pair(read(rule, white=70.0), read(rule, white=100.0)), "pair")
    assert "white rose from 70.00 to 100.0" in told


def test_primaries_outside_those_before() -> None:
    rule = shipped_rule(SDR)
    wide = other_primaries(PRIMARIES["p3"], rule)
    told = text(pair(read(rule, white=112.0), read(rule, white=100.0, fault=wide)), "pair")
    assert "red lies" in told
    assert "green lies" in told
    assert "blue lies" not in told


def test_how_far_outside_is_the_way_to_the_nearest_point() -> None:
    """Of the triangle's edges, as densely as a search needs."""
    rule = shipped_rule(SDR)
    wide = other_primaries(PRIMARIES["p3"], rule)
    told = text(pair(read(rule, white=112.0), read(rule, white=100.0, fault=wide)), "pair")
    corners = spaces.xyz_to_uv(spaces.xy_to_xyz(np.array(PRIMARIES["bt709"]), np.ones(3)))
    along = np.linspace(0, 1, 20_001)[:, None, None]
    edges = corners + along * (np.roll(corners, -1, axis=0) - corners)
    for place, name in enumerate(("red", "green")):
        point = spaces.xyz_to_uv(spaces.xy_to_xyz(np.array(PRIMARIES["p3"][place]), np.ones(())))
        away = float(np.linalg.norm(edges - point, axis=-1).min())
        assert f"{name} lies Δu'v' {away:.2g} outside" in told


def test_a_session_without_primaries_is_not_questioned_for_them() -> None:
    rule = shipped_rule(SDR)
    whole, wide = read(rule, white=112.0), other_primaries(PRIMARIES["p3"], rule)
    shown = [one for one in simulated.ideal(rule, black=0.03) if len(set(one.codes)) == 1]
    few = simulated.readings(shown, rule.encoding)
    for before, after in ((few, read(rule, white=100.0, fault=wide)), (whole, few)):
        assert "lies Δu'v'" not in text(pair(before, after), "pair")


def test_a_black_that_fell_alone() -> None:
    rule = shipped_rule(SDR)
    told = text(
        pair(read(rule, white=110.0, black=0.2), read(rule, white=100.0, black=0.01)), "pair"
    )
    assert "black fell from 0.2000 to 0.01000\u00a0cd/m² at the same white" in told


def test_the_same_file_twice() -> None:
    rule = shipped_rule(SDR)
    one = read(rule, white=112.0)
    assert "byte for byte" in text(pair(one, one), "pair")


def test_readings_before_that_are_later() -> None:
    rule = shipped_rule(SDR)
    made = shipped.job(rule)
    entry = ReadingsEntry(made.file, "r.csv", NOW, rule.encoding)
    later = replace(entry, measured=NOW + timedelta(hours=1))
    slot = replace(made.slots[0], readings=entry, before=later)
    job = replace(made, slots=(slot,))
    told = text(pair(read(rule, white=112.0), read(rule, white=100.0), job=job), "pair")
    assert "dated no earlier" in told


def test_nothing_of_it_changes_a_verdict() -> None:
    rule = shipped_rule(SDR)
    after = read(rule, white=100.0)
    alone = assess(Measurement(rule, after), now=NOW)
    assert pair(read(rule, white=70.0), after).verdict == alone.verdict
