"""A channel that ends below white, one that bends in the middle, channels that leak, another table.

The displays are simulated here from their physics: drive, light, primaries, black.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime

import numpy as np
import pytest
from helpers import faulty_displays, physical
from helpers.faulty_displays import Fault
from helpers.shipped import shipped_rule

from compliance.assessment import assess
from compliance.diagnosis.channel_faults import find_channel_fault
from compliance.diagnosis.deliverables import TABLES
from compliance.diagnosis.inputs import gather
from compliance.grading.match import match_readings
from compliance.grading.patches import PlannedPatch
from compliance.model import Cause, Measurement
from compliance.report.words import cause_title
from compliance.rules.library import shipped_rules

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
Array = np.ndarray
ADOBE_RGB = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))
"""IEC 61966-2-5"""
LEAK = 0.01
"""cd/m²"""


def causes(rule: str, *faults: Fault, seed: int = 4) -> tuple[Cause, ...]:
    loaded = shipped_rule(rule)
    read = faulty_displays.readings(loaded, faults, np.random.RandomState(seed))
    return assess(Measurement(loaded, read), now=NOW).state.causes


def native(change: Callable[[Array], Array], cause: str) -> Fault:
    """A fault of the display's own channels, whose light is 1 at the peak."""
    return Fault(cause, "", native=lambda light, target: change(light))


def ended(channel: int, top: float) -> Fault:
    def change(light: Array) -> Array:
        light = light.copy()
        light[:, channel] = np.minimum(light[:, channel], top)
        return light

    return native(change, "clipping")


def bent(channel: int, size: float) -> Fault:
    """A channel that is off by a share in the middle, in a cosine of its level."""

    def change(light: Array) -> Array:
        level = np.clip(light[:, channel], 0, 1) ** (1 / 2.4)
        light = light.copy()
        light[:, channel] *= 1 + size * (1 - np.cos(2 * np.pi * level)) / 2
        return light

    return native(change, "tint")


@pytest.mark.parametrize("rule", ["sdr-broadcast", "web-srgb"])
@pytest.mark.parametrize(("channel", "top"), [(0, 0.93), (1, 0.9), (2, 0.95), (2, 0.75)])
def test_a_channel_that_ends_below_white(rule: str, channel: int, top: float) -> None:
    first, *_ = causes(rule, ended(channel, top))
    assert first.kind == "clipping"
    assert first.facts["channel"] == ("red", "green", "blue")[channel]
    assert first.facts["top"] == pytest.approx(top, abs=0.03)
    assert first.explains


@pytest.mark.parametrize("rule", ["sdr-broadcast", "web-srgb"])
@pytest.mark.parametrize(("channel", "size"), [(0, 0.08), (1, -0.04), (2, 0.08)])
def test_a_channel_that_bends_in_the_middle(rule: str, channel: int, size: float) -> None:
    first, *_ = causes(rule, bent(channel, size))
    assert first.kind == "tint"
    assert first.facts["channel"] == ("red", "green", "blue")[channel]
    assert first.facts["size"] == pytest.approx(size, abs=0.3 * abs(size))
    assert ("much" in cause_title(first)) is (size > 0)


@pytest.mark.parametrize(
    "fault",
    [faulty_displays.gained(2, 0.9), faulty_displays.shifted(1, 0.03), faulty_displays.power(2.2),
     faulty_displays.white("d50", (0.3457, 0.3585)), faulty_displays.clipped(0.85)],
    ids=lambda fault: fault.cause,
)  # fmt: skip
def test_what_is_no_fault_of_one_channel_along_the_greys(fault: Fault) -> None:
    """A gain is the same at all levels, an offset grows into the dark, a clip takes all three."""
    for rule in ("sdr-broadcast", "web-srgb", "hdr-pq-1000"):
        loaded = shipped_rule(rule)
        read = faulty_displays.readings(loaded, (fault,), np.random.RandomState(1))
        inputs = gather(match_readings(loaded, read))
        assert inputs is not None
        assert find_channel_fault(inputs) is None


@pytest.mark.parametrize("share", [0.03, 0.06])
def test_channels_that_leak(share: float) -> None:
    def change(light: Array) -> Array:
        drive = np.clip(light, 0, None) ** (1 / 2.4)
        mixing = (1 - 3 * share) * np.eye(3) + share
        return np.asarray((drive @ mixing) ** 2.4)

    first, *_ = causes("sdr-broadcast", native(change, "crosstalk"))
    assert first.kind == "crosstalk"
    assert first.facts["share"] == pytest.approx(share, abs=0.015)


def srgb(signal: Array) -> Array:
    return physical.srgb(signal, 120.0) + LEAK


def power(exponent: float, white: float) -> Callable[[Array], Array]:
    return lambda signal: physical.power(signal, white, exponent) + LEAK


def bt1886(signal: Array) -> Array:
    return physical.bt1886(signal, 100.0, LEAK)


SHOWN: dict[str, tuple[Callable[[Array], Array], physical.Points, tuple[float, float]]] = {
    "web-p3": (srgb, physical.P3, physical.D65),
    "web-srgb": (srgb, physical.BT709, physical.D65),
    "sdr-broadcast": (bt1886, physical.BT709, physical.D65),
    "cinema-p3d65": (power(2.6, 48.0), physical.P3, physical.D65),
    "stills-d50": (power(563 / 256, 120.0), ADOBE_RGB, (0.3457, 0.3585)),
}


@pytest.mark.parametrize(
    ("rule", "loaded"),
    [("web-srgb", "cinema-p3d65"), ("sdr-broadcast", "web-p3"), ("sdr-broadcast", "stills-d50"),
     ("cinema-p3d65", "sdr-broadcast"), ("hdr-pq-p3", "web-srgb")],
)  # fmt: skip
def test_a_slot_with_another_deliverables_table(rule: str, loaded: str) -> None:
    """What an ideal display of the one deliverable shows of the other's codes."""
    curve, primaries, white = SHOWN[loaded]

    def shows(_: Array, rows: Sequence[PlannedPatch]) -> Array:
        light = curve(np.array([row.signal for row in rows]))
        return np.asarray(light @ physical.matrix(primaries, white).T)

    first, *_ = causes(rule, Fault("deliverable", loaded, light=shows))
    assert (first.kind, first.facts["deliverable"]) == ("deliverable", loaded)


def test_every_shipped_table_is_known() -> None:
    """The curve, primaries and white of each shipped rule with an R'G'B' signal."""
    known = {(table.curve, table.primaries, table.signal, table.white) for table in TABLES.values()}
    targets = [shipped_rule(name).target for name in shipped_rules()]
    shipped = {
        (target.curve, target.primaries_name, target.container_name, target.white_name)
        for target in targets
        if target.container is not None
    }
    assert shipped == known


@pytest.mark.parametrize("rule", ["sdr-broadcast", "hdr-hlg-1000", "hdr-pq-1000"])
@pytest.mark.parametrize("at", [0.35, 0.5])
def test_a_tint_is_told_at_its_level_of_the_signal(rule: str, at: float) -> None:
    """Half of an HLG signal is far less than half of a panel's drive."""

    def shows(signal: Array) -> Array:
        beyond = 0.05 * np.exp(-(((signal.max(axis=1) - at) / 0.12) ** 2) / 2)
        return physical.asked(rule, signal) * (1 + np.outer(beyond, [0.18, 0.07, 0.95]))

    inputs = gather(match_readings(shipped_rule(rule), physical.read(rule, shows).readings))
    assert inputs is not None
    found = find_channel_fault(inputs)
    assert found is not None and found.cause.kind == "tint"
    assert dict(found.cause.facts)["level"] == pytest.approx(at, abs=0.06)  # type: ignore[arg-type]
