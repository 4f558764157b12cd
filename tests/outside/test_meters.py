"""The simulated meters: errors of the sizes stated, going together as chosen."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import yaml

from outside.displays import D65, PRIMARIES, Array, Display, yxy_of
from outside.meters import (
    FILTER,
    ONE_FIGURE,
    SPECTRORADIOMETER,
    Certificate,
    Nature,
    hue_part,
    process,
    read,
    rounded,
    step,
)

DISPLAY = Display(black=0.06)
GREYS = np.array([(0,) * 3, (90,) * 3, (286,) * 3, (478,) * 3, (1023,) * 3])
COUNT = 1000
ONE_SIGMA = 3 / np.sqrt(2 * COUNT)
"""Three standard errors of a standard deviation, as a share of it."""

BARE = Certificate(dark=None, resolution=None, saturated=None, repeatability=())


def errors(certificate: Certificate, nature: Nature, codes: Array = GREYS) -> Array:
    """Draw many meters; relative error of Y and errors of x, y: (meter, patch, 3)."""
    true = DISPLAY.xyz(codes)
    generator = np.random.default_rng(5)
    seen = np.array(
        [
            yxy_of(
                read(true, certificate, nature, generator, primaries=DISPLAY.primaries, white=D65)
            )
            for _ in range(COUNT)
        ]
    )
    off = seen - yxy_of(true)
    off[..., 0] /= true[:, 1]
    return off


@pytest.mark.parametrize("kernel", ["exponential", "squared-exponential"])
def test_levels_go_together_as_chosen(kernel: str) -> None:
    """Errors one correlation length apart agree by the kernel's own share."""
    for decades in (0.5, 2.0):
        drawn = process([0, decades, 4 * decades], Nature(decades, kernel), _generator(), 20_000)
        found = np.corrcoef(drawn.T)
        share = np.exp(-1) if kernel == "exponential" else np.exp(-0.5)
        far = np.exp(-4) if kernel == "exponential" else np.exp(-8)
        assert found[0, 1] == pytest.approx(share, abs=0.02)
        assert found[0, 2] == pytest.approx(far, abs=0.025)
        assert drawn.std(axis=0) == pytest.approx(np.ones(3), abs=0.02)


def _generator() -> np.random.Generator:
    return np.random.default_rng(3)


@pytest.mark.parametrize("size", [1.0, 2.0])
def test_sizes_are_those_of_the_certificate(size: float) -> None:
    """Standard deviations are U/k in each band, whatever share varies by level."""
    for certificate in (BARE, replace(BARE, linearity=1.0, linearity_xy=0.001)):
        off = errors(certificate, Nature(size=size))
        luminance = DISPLAY.xyz(GREYS)[:, 1]
        wanted = size * step(certificate.luminance, luminance) / 100 / certificate.k
        assert off[..., 0].std(axis=0) == pytest.approx(wanted, rel=ONE_SIGMA)
        colour = size * step(certificate.chromaticity, luminance) / certificate.k
        for i in (1, 2):
            assert off[..., i].std(axis=0) == pytest.approx(colour, rel=ONE_SIGMA)
        assert np.corrcoef(off[:, 3, 1:].T)[0, 1] == pytest.approx(0.3, abs=0.06)


def test_a_stated_linearity_is_what_varies() -> None:
    """With a linearity stated, the ratio of two levels errs by it alone."""
    certificate = replace(BARE, luminance=((0.001, 4.0),), linearity=0.5)
    off = errors(certificate, Nature(decades=0.01))[..., 0]
    assert (off[:, 2] - off[:, 4]).std() == pytest.approx(np.sqrt(2) * 0.0025, rel=ONE_SIGMA)
    whole = errors(replace(certificate, linearity=None), Nature(decades=0.01))[..., 0]
    assert (whole[:, 2] - whole[:, 4]).std() == pytest.approx(np.sqrt(2) * 0.02, rel=ONE_SIGMA)


def test_a_third_of_the_colour_error_varies() -> None:
    """Differences from white err by a third of u for each of the two colours."""
    certificate = replace(BARE, chromaticity=((0.01, 0.003),))
    off = errors(certificate, Nature(decades=0.01))[..., 1]
    assert (off[:, 2] - off[:, 4]).std() == pytest.approx(np.sqrt(2) * 0.0005, rel=ONE_SIGMA)
    wholly = errors(certificate, Nature(decades=0.01, varying_xy=1.0))[..., 1]
    assert (wholly[:, 2] - wholly[:, 4]).std() == pytest.approx(np.sqrt(2) * 0.0015, rel=ONE_SIGMA)


def test_zero_is_common_to_a_session() -> None:
    """The zero moves all readings by the same cd/m², of the size stated."""
    certificate = replace(BARE, dark=0.01, luminance=((0.001, 0.0),), chromaticity=((0.001, 0.0),))
    true = DISPLAY.xyz(GREYS)
    seen = [
        read(true, certificate, Nature(), generator, primaries=DISPLAY.primaries, white=D65) - true
        for generator in [np.random.default_rng(seed) for seed in range(400)]
    ]
    moved = np.array(seen)
    assert np.ptp(moved, axis=1).max() < 1e-9
    assert moved[:, 0].std(axis=0) == pytest.approx([0.005] * 3, rel=0.12)


def test_saturated_colours_err_by_hue() -> None:
    """Red errs by its hue's draw, half as saturated by half of it, white not at all."""
    hues = np.arange(18.0).reshape(6, 3) + 1
    red, white = DISPLAY.xyz(np.array([(1023, 0, 0), (1023, 1023, 1023)])) - DISPLAY.xyz(
        np.zeros((2, 3), dtype=int)
    )
    found = hue_part(np.array([red, white]), hues, PRIMARIES["bt709"], D65)
    assert found[0] == pytest.approx(hues[0])
    assert found[1] == pytest.approx(np.zeros(3), abs=1e-9)
    off = errors(replace(BARE, saturated=(0.002, 3.0)), Nature(), np.array([(0, 0, 1023)]))
    both = np.hypot(0.01, 0.015), np.hypot(0.00075, 0.001), np.hypot(0.00075, 0.001)
    assert off[:, 0].std(axis=0) == pytest.approx(both, rel=2 * ONE_SIGMA)


def test_repeatability_and_last_digit() -> None:
    """Equal patches err apart by the repeatability; Y is printed to the last digit."""
    certificate = replace(
        BARE,
        luminance=((0.001, 0.0),),
        chromaticity=((0.001, 0.0),),
        repeatability=((0, 2, 0.001),),
    )
    off = errors(certificate, Nature(), np.array([(478,) * 3] * 2))
    assert off.std(axis=0)[1] == pytest.approx([0.01, 0.0005, 0.0005], rel=ONE_SIGMA)
    assert abs(np.corrcoef(off[:, 0, 0], off[:, 1, 0])[0, 1]) < 0.06
    shown = rounded(np.array([(1.0, 2.0349, 3.0), (1e-5, 2e-5, 3e-5)]), 0.01)
    assert shown[:, 1] == pytest.approx([2.03, 0])
    assert yxy_of(shown[0])[1:] == pytest.approx(yxy_of(np.array([1.0, 2.0349, 3.0]))[1:])


@pytest.mark.parametrize("certificate", [SPECTRORADIOMETER, FILTER, ONE_FIGURE, BARE])
def test_the_file_states_the_sizes(certificate: Certificate) -> None:
    """The YAML has each figure of the certificate, and nothing that it does not state."""
    data = yaml.safe_load(certificate.text())
    stated = data["uncertainty"]
    assert stated["k"] == certificate.k
    assert [tuple(band.values()) for band in stated["luminance"]] == list(certificate.luminance)
    assert stated.get("dark") == certificate.dark
    assert stated.get("resolution") == certificate.resolution
    assert ("repeatability" in stated) == bool(certificate.repeatability)
    assert ("linearity" in stated) is False
    if certificate.saturated:
        assert stated["saturated"] == {
            "x": certificate.saturated[0],
            "y": certificate.saturated[0],
            "relative": certificate.saturated[1],
        }
    text = replace(certificate, linearity=0.5, linearity_xy=0.0004).text()
    assert yaml.safe_load(text)["uncertainty"]["linearity"] == {"relative": 0.5, "xy": 0.0004}
