"""The spectral simulation against facts from outside, and a few clear faults named first.

`python -m outside.causes` prints the rates, `test_causes.py` holds a small fixed budget of them.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from helpers.outside_tools import colour

from outside import cause_counts, causes, faults, spectral_draw, spectral_meters
from outside.acceptance import book_of
from outside.displays import Array
from outside.fault_steps import Case
from outside.spectra import WAVELENGTHS, panels, xyz_of_spectra
from outside.spectral_slot import Slot


@cache
def ideal_slots() -> tuple[Slot, ...]:
    """Give every rule's ideal slot on every panel that it is for."""
    return tuple(
        spectral_draw.ideal(book_of(rule), panel, kind)
        for rule in causes.RULES
        for panel, kind in spectral_draw.able(book_of(rule))[0]
    )


def target_xyz(slot: Slot) -> Array:
    """Give the rule's target (row, 3) for the slot's white and black."""
    target = slot.book.target
    codes = slot.book.row_codes
    return target.xyz(codes, slot.white, slot.black, gamma=slot.gamma, black_xyz=target.white_xyz)


# The simulation


def test_every_rule_has_panels() -> None:
    """Each rule has at least three panels of two technologies, and skips some with a reason."""
    for rule in causes.RULES:
        able, skipped = spectral_draw.able(book_of(rule))
        assert len(able) >= 3 and len({panel.technology for panel, _ in able}) >= 2, rule
        assert len(able) + len(skipped) == len(panels())
        assert skipped.keys() >= {"measured-1", "measured-2"}


def test_slot_without_fault_is_the_target() -> None:
    """To 1e-6 of the white, for rows within the panel's gamut, not clipped, of even white."""
    for slot in ideal_slots():
        target = slot.book.target
        wanted = target_xyz(slot)
        leak = slot.black * target.white_xyz
        light = np.linalg.solve(slot.full(), (wanted - leak).T).T
        own = (wanted - leak) @ np.linalg.inv(target.matrix(target.primaries)).T
        exact = (light.min(axis=1) >= 0) & (light.max(axis=1) <= 1) & (own.min(axis=1) >= 0)
        exact &= np.array(
            [row.position == "centre" and row.pattern != "checkerboard" for row in slot.book.rows]
        )
        if target.curve == "pq":
            exact &= own.max(axis=1) <= slot.white
        assert exact.sum() > 25, (slot.book.id, slot.panel.name)
        off = np.abs(slot.shown() - wanted)[exact]
        assert off.max() < 1e-6 * slot.white, (slot.book.id, slot.panel.name)


def test_chromaticities_are_those_of_another_library() -> None:
    """x, y of each primary by colour-science's own integration, to 1e-5."""
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy()
    observer = observer.align(colour.SpectralShape(380, 780, 1))
    for panel in panels().values():
        for spectrum, (x, y) in zip(panel.primaries, panel.corners, strict=True):
            table = colour.SpectralDistribution(dict(zip(WAVELENGTHS, spectrum, strict=True)))
            found = colour.XYZ_to_xy(
                colour.sd_to_XYZ(table, cmfs=observer, method="Integration", k=1)
            )
            assert np.allclose(found, (x, y), atol=1e-5), panel.name


def test_line_at_555_has_683_lumens() -> None:
    """A watt at 555 nm has 683 lm (CIE 15)."""
    line = (WAVELENGTHS == 555.0).astype(float)
    assert xyz_of_spectra(line)[1] == pytest.approx(683.0, rel=1e-4)


def test_filters_differ_by_a_few_per_cent() -> None:
    """f1' by its published formula with another library's V(λ) and illuminant A."""
    photopic = colour.SDS_LEFS["CIE 1924 Photopic Standard Observer"]
    lamp = colour.SDS_ILLUMINANTS["A"]
    luminous = np.interp(WAVELENGTHS, photopic.wavelengths, photopic.values)
    light = np.interp(WAVELENGTHS, lamp.wavelengths, lamp.values)
    sizes = []
    for seed in range(20):
        response = spectral_meters.filters(1.0, np.random.default_rng(seed))[1]
        relative = response * np.sum(light * luminous) / np.sum(light * response)
        published = np.sum(np.abs(relative - luminous)) / np.sum(luminous)
        assert spectral_meters.f1_prime(response) == pytest.approx(published, abs=3e-4)
        sizes.append(published)
    assert 0.015 < np.median(sizes) < 0.05
    assert spectral_meters.f1_prime(luminous) < 3e-4


def test_illuminant_a_is_planck() -> None:
    """Illuminant A of CIE 15 against colour-science's table."""
    assert spectral_meters.planck_is_illuminant_a() < 1e-4


def test_stated_uncertainties_are_honest() -> None:
    """Good meters err within what is stated in 9 of 10; an uncorrected colorimeter does not."""
    generator = np.random.default_rng(3)
    inside, outside = [], []
    for panel in panels().values():
        for _ in range(8):
            for meter in (
                spectral_meters.good_spectroradiometer(generator),
                spectral_meters.colorimeter(panel, "this", generator),
            ):
                inside.append(_within(meter, spectral_meters.error_of(meter, panel)))
            meter = spectral_meters.colorimeter(panel, "none", generator, size=2.0)
            outside.append(_within(meter, spectral_meters.error_of(meter, panel)))
    assert np.mean(inside) > 0.9
    assert np.mean(outside) < 0.6


def _within(meter: spectral_meters.SpectralMeter, errors: Array) -> float:
    """Give the share of errors (4, 3) of Y, x, y that are within the stated U."""
    stated = meter.certificate
    assert stated.saturated is not None
    colour_u = np.hypot(stated.chromaticity[-1][1], stated.saturated[0])
    light_u = np.hypot(stated.luminance[-1][1], stated.saturated[1]) / 100
    return float((np.abs(errors) <= (light_u, colour_u, colour_u)).mean())


def test_perfect_meter_reads_what_is_shown() -> None:
    """Readings by spectra are the light's X, Y, Z."""
    slot = ideal_slots()[0]
    assert np.allclose(spectral_meters.perfect().exact(slot), slot.shown(), rtol=1e-9)


# Faults


@pytest.mark.parametrize("rule", ["sdr-broadcast", "hdr-hlg-1000", "cinema-theatre"])
def test_every_fault_changes_what_is_read(rule: str) -> None:
    """No fault is without effect; a display fault changes light, the others the readings."""
    book = book_of(rule)
    panel, kind = spectral_draw.able(book)[0][-1]
    slot = spectral_draw.ideal(book, panel, kind)
    true = slot.shown()
    for fault in faults.catalogue():
        if not fault.possible(slot):
            continue
        case = fault.change(Case(slot), np.random.default_rng(5))
        shown = case.slot.shown()
        for step in case.readings:
            shown = step(shown, book, np.random.default_rng(6))
        if fault.of_meter:
            assert case.correction is not None
        else:
            changed = np.abs(shown - true).max(axis=1) / np.maximum(true[:, 1], 0.05)
            assert changed.max() > 0.004, (fault.name, fault.strength)
        if fault.name == "misread" and fault.strength != "previous patch":
            assert (np.abs(shown - true).max(axis=1) > 0).sum() == 1


def test_faults_do_what_they_say() -> None:
    """A gain scales one channel everywhere; a limiter leaves greys; crosstalk leaves neutrals."""
    slot = next(
        s for s in ideal_slots() if s.book.id == "sdr-broadcast" and s.panel.name == "laser"
    )

    def native(name: str, strength: str) -> Array:
        case = faults.find(name, strength).change(Case(slot), np.random.default_rng(1))
        return case.slot.emitted()[:, :3]

    plain = slot.emitted()[:, :3]
    neutral = slot.book.neutral[slot.book.patch_of_row]
    dark = slot.rows().level < 0.5
    gain = (native("gain", "-0.1") / np.maximum(plain, 1e-9))[plain.min(axis=1) > 0.01]
    assert np.allclose(np.sort(gain.mean(axis=0)), [0.9, 1, 1], atol=0.01)
    assert np.allclose(native("limiter", "0.5")[dark], plain[dark])
    assert native("limiter", "0.5")[neutral].max() < 0.55 * plain[neutral].max()
    mixed = native("crosstalk", "0.08")
    assert np.abs(mixed - plain)[~neutral].max() > 0.02
    crushed = native("blacks crushed", "0.02")
    assert np.allclose(crushed.max(axis=0), plain.max(axis=0), rtol=1e-6)
    assert (crushed <= plain + 1e-12).all()


# Scores


def _told(*kinds: tuple[str, int]) -> list[Any]:
    return [SimpleNamespace(kind=kind, rank=rank) for kind, rank in kinds]


def test_outcomes_by_rank() -> None:
    """A tie counts only with the right kind in it; without ranks the first is first."""
    of = cause_counts.outcome
    assert of(_told(("gain", 1), ("white", 2)), {"gain"}) == cause_counts.RIGHT
    assert of(_told(("meter", 1), ("primaries", 1)), {"meter"}) == cause_counts.TIED
    assert of(_told(("white", 2), ("gain", 1)), {"white"}) == cause_counts.WRONG
    assert of([], {"white"}) == cause_counts.SILENT
    unranked = [SimpleNamespace(kind="gain"), SimpleNamespace(kind="white")]
    assert of(unranked, {"white"}) == cause_counts.WRONG
    two = [frozenset({"curve"}), frozenset({"white"})]
    assert cause_counts.within_two(_told(("curve", 1), ("white", 2), ("gain", 3)), two)
    assert not cause_counts.within_two(_told(("curve", 1), ("gain", 2), ("white", 3)), two)


def _value(value: float, low: float, high: float, sided: int, maximum: float) -> Any:
    limits = SimpleNamespace(minimum=None, maximum=maximum, nominal=None, box=None)
    interval = SimpleNamespace(low=low, high=high, sided=sided)
    return SimpleNamespace(value=value, interval=interval, limits=limits)


def test_excess_is_in_the_findings_own_u() -> None:
    """Half of a two-sided interval, the upper part of a one-sided one."""
    assert cause_counts.excess_in_u(_value(7, 5, 9, 2, 4)) == pytest.approx(1.5)
    assert cause_counts.excess_in_u(_value(7, 0, 9, 1, 4)) == pytest.approx(1.5)
    assert cause_counts.excess_in_u(_value(1, 0, 2, 2, 4)) == pytest.approx(-3)


# The program


@pytest.fixture
def folder() -> Iterator[Path]:
    """Give a folder that goes away."""
    with tempfile.TemporaryDirectory() as name:
        yield Path(name)


CLEAR = (
    ("web-srgb", "curve", "power 2.6"),
    ("sdr-broadcast", "luminance", "0.6"),
    ("sdr-broadcast", "channels", "R, B"),
    ("cinema-p3d65", "white", "D50"),
    ("stills-adobergb", "gain", "-0.1"),
)


@pytest.mark.parametrize(("rule", "name", "strength"), CLEAR)
def test_clear_faults_come_first(folder: Path, rule: str, name: str, strength: str) -> None:
    """A strong fault is told, and as what it is."""
    bench = causes.Bench(rule, folder, seed=2)
    fault = faults.find(name, strength)
    result = bench.one(fault, 0, 1)
    assert result is not None
    tally = bench.report.tally(name, strength, of_meter=False)
    assert tally.count == 1, "no shall is outside by U"
    assert result[0] == cause_counts.RIGHT, [cause.kind for cause in result[1]]


def test_good_display_has_no_cause(folder: Path) -> None:
    """A good display of each of three panels."""
    bench = causes.Bench("web-srgb", folder, seed=2)
    for number in range(3):
        bench.good(number)
    assert bench.report.good["told"] == 0 and bench.report.good["silent"] >= 2


def test_seed_is_the_case(folder: Path) -> None:
    """The same seed gives the same readings, another one others."""
    first, same, other = (
        causes.Bench("sdr-broadcast", folder, seed).good_slot(0, _generator(seed))[0].shown()
        for seed in (1, 1, 2)
    )
    assert np.array_equal(first, same) and not np.allclose(first, other)


def _generator(seed: int) -> np.random.Generator:
    return np.random.default_rng(seed)


def test_meter_files_say_their_correction() -> None:
    """This panel's correction names the display, another's names another, none has no key."""
    panel, other = panels()["laser"], panels()["white-led"]
    generator = np.random.default_rng(1)
    text = {
        kind: spectral_meters.colorimeter(panel, kind, generator, other=other).text()  # type: ignore[arg-type]
        for kind in ("this", "other", "other, not said", "none")
    }
    assert "made_for: S-1," in text["this"] and "made_for: T-7," in text["other"]
    assert "correction" in text["other, not said"] and "made_for" not in text["other, not said"]
    assert "correction" not in text["none"]
