"""True values against documents and another library, and the program's values against them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from helpers.budget import LONG
from helpers.outside_tools import colour

import compliance
from outside import differences, kinds, slots
from outside.acceptance import book_of
from outside.displays import Array
from outside.ideal import system_gamma
from outside.qualities import Values, frame_of
from outside.rulebook import SPECS, Rulebook

RULES = sorted(file.stem for file in SPECS.glob("*.yaml"))
FEW = ["cinema-review-room", "hdr-hlg-1000", "hdr-pq-1000", "sdr-broadcast", "web-srgb"]


def test_differences_are_those_of_another_library() -> None:
    """CIEDE2000 and ΔE ITP of random colours are those of colour-science."""
    generator = np.random.default_rng(3)
    one = generator.uniform((5, -60, -60), (95, 60, 60), (400, 3))
    two = one + generator.normal(0, 8, (400, 3))
    expected = colour.difference.delta_E_CIE2000(one, two)
    assert np.allclose(differences.delta_2000_of_lab(one, two), expected, atol=1e-9)

    xyz = generator.uniform(20, 60, (50, 3)) * (0.95, 1, 1.09)
    other = xyz * generator.normal(1, 0.02, (50, 3))
    parts = [colour.XYZ_to_ICtCp(values, method="ITU-R BT.2100-2 PQ") for values in (xyz, other)]
    expected = 720 * np.linalg.norm((parts[0] - parts[1]) * (1, 0.5, 1), axis=-1)
    assert np.allclose(differences.delta_itp(xyz, other), expected, rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize(
    ("peak", "grey"),
    [(500, 120), (600, 138), (1000, 203), (2000, 343), (3000, 456), (4000, 559), (5000, 653)],
)
def test_hlg_grey_of_75_percent(peak: float, grey: float) -> None:
    """STANDARDS.md, section 2: 75 % grey on displays of other peaks, γ from note 5f."""
    target = book_of("hdr-hlg-1000").target
    codes = target.codes(0.75)[None, None] * np.ones((1, 3))
    shown = target.xyz(codes, peak, gamma=system_gamma(peak), form="add")[0, 1]
    assert abs(shown - grey) < 0.5 + 0.002 * grey


def test_hlg_surround() -> None:
    """STANDARDS.md, section 2: γ at .5 and 10 cd/m² of surround (BT.814-4 Annex 5)."""
    assert [round(system_gamma(1000, surround), 3) for surround in (0.5, 10)] == [1.276, 1.177]


def test_cinema_steps() -> None:
    """SMPTE RP 431-2 Table A-2: luminance of the steps above black."""
    target = book_of("cinema-review-room").target
    codes = np.array([[379, 396, 389], [1897, 1980, 1945], [3794, 3960, 3890]])
    shown = target.xyz(codes, target.decoded_white)[:, 1]
    assert np.allclose(shown, [0.121, 7.917, 47.999], atol=0.0006)


def disturbed(book: Rulebook) -> Array:
    """Give a display's rows with an error in each, so that no two patches go together."""
    technology_free = next(kind for kind in kinds.KINDS if kinds.skipped(book, kind) is None)
    panel = kinds.best(book, technology_free)
    generator = np.random.default_rng(11)
    xyz = panel.shown(book)
    return xyz * generator.normal(1, 0.004, xyz.shape) * generator.normal(1, 0.01, (len(xyz), 1))


@pytest.mark.parametrize("rule", RULES if LONG else FEW)
def test_program_finds_the_true_values(rule: str, tmp_path: Path) -> None:
    """Each value of noise-free readings is the true one, for either kind of screen."""
    book = book_of(rule)
    meter = slots.meter_of(slots.PERFECT, tmp_path)
    loaded = compliance.load_rule(book.file)
    xyz = disturbed(book)
    values = Values.of(book, xyz, frame_of(book, xyz))
    compared = 0
    for technology in ("lcd", "projector"):
        state = slots.grade(loaded, book, xyz, meter, tmp_path, technology=technology, draws=20)
        for requirement in book.requirements:
            if not book.applies(requirement, technology):
                continue
            finding = slots.finding_of(state, requirement.id)
            assert finding.value is not None, (requirement.id, finding.reason)
            points = values.points(requirement)
            assert points.worst()[0] == pytest.approx(finding.value, rel=1e-4, abs=1e-7), (
                requirement.id
            )
            if len(finding.points) == len(points.values) == len(requirement.patches) > 1:
                shown = np.sort([point.value for point in finding.points], axis=0)
                true = np.sort(points.values, axis=0)
                assert np.allclose(shown, true, rtol=1e-4, atol=1e-6), requirement.id
            compared += 1
    assert compared >= 14
