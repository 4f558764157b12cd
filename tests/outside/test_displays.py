"""The simulated displays against other libraries and against arithmetic by hand."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from outside import truths
from outside.displays import (
    D65,
    PRIMARIES,
    Display,
    bt1886,
    channels,
    codes_of,
    hlg_scene,
    pq,
    pq_signal,
    signal_of,
    srgb,
    uv_of,
    xyz_of,
    yxy_of,
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns that it cannot plot
    import colour

SIGNAL = np.linspace(0, 1, 41)


def test_curves_agree_with_another_library() -> None:
    """BT.1886, sRGB, PQ and HLG as colour-science has them."""
    assert bt1886(SIGNAL, 100, 0.1) == pytest.approx(
        colour.models.eotf_BT1886(SIGNAL, L_B=0.1, L_W=100), rel=1e-12
    )
    assert srgb(SIGNAL) == pytest.approx(colour.models.eotf_sRGB(SIGNAL), rel=1e-12)
    assert pq(SIGNAL) == pytest.approx(colour.models.eotf_ST2084(SIGNAL), rel=1e-9, abs=1e-12)
    assert pq_signal(pq(SIGNAL)) == pytest.approx(SIGNAL, abs=1e-6)
    scene = colour.models.oetf_inverse_BT2100_HLG(SIGNAL)
    assert hlg_scene(SIGNAL) == pytest.approx(scene, abs=1e-7)


def test_hlg_display_agrees_with_another_library() -> None:
    """Colours and greys of an HLG display of 1000 cd/m² with a black of .01 cd/m²."""
    display = Display(
        primaries=PRIMARIES["bt2020"],
        curve="hlg",
        exponents=(1.2, 1.2, 1.2),
        white=1000,
        black=0.01,
    )
    codes = np.array([(0, 0, 0), (300, 600, 900), (512, 512, 512), (1023, 200, 40)])
    rgb = colour.models.eotf_BT2100_HLG(codes / 1023, L_B=0.01, L_W=1000, gamma=1.2)
    ours = display.xyz(codes) @ np.linalg.inv(channels(PRIMARIES["bt2020"], D65)).T
    assert ours == pytest.approx(rgb, rel=1e-3, abs=1e-3)


def test_channels_agree_with_another_library() -> None:
    """Channels of P3-D65 are the matrix that DCI HDR Addendum 1.2, Annex C.1, prints."""
    printed = [
        [0.48657094864822, 0.26566769316910, 0.19821728523436],
        [0.22897456406975, 0.69173852183651, 0.07928691409375],
        [0, 0.04511338185890, 1.0439443689010],
    ]
    assert channels(PRIMARIES["p3"], D65) == pytest.approx(np.array(printed), abs=1e-12)
    for corners in PRIMARIES.values():
        other = colour.normalised_primary_matrix(np.array(corners), np.array(D65))
        assert channels(corners, D65) == pytest.approx(other, abs=1e-9)


def test_chromaticity_agrees_with_another_library() -> None:
    """Forth and back between X, Y, Z and Y, x, y; u'v' as colour-science has it."""
    xyz = np.array([(20.0, 30.0, 10.0), (0.1, 0.05, 0.3)])
    assert xyz_of(yxy_of(xyz)) == pytest.approx(xyz)
    assert colour.Luv_uv_to_xy(uv_of(xyz)) == pytest.approx(yxy_of(xyz)[:, 1:])


def test_codes() -> None:
    """Narrow and full codes of ITU-R BT.2100, Table 9."""
    assert codes_of([0, 0.5, 1], "rgb-10-narrow").tolist() == [64, 502, 940]
    assert codes_of([0, 0.5, 1], "rgb-8-full").tolist() == [0, 128, 255]
    assert signal_of([64, 940], "rgb-10-narrow").tolist() == [0, 1]
    with pytest.raises(ValueError, match="xyz-12-full"):
        signal_of([0], "xyz-12-full")


@pytest.mark.parametrize("kind", ["emitted", "leak"])
@pytest.mark.parametrize("curve", ["bt1886", "power", "srgb"])
def test_light_adds_up(kind: str, curve: str) -> None:
    """White and black as stated; red, green and blue less two blacks are white."""
    display = Display(curve=curve, white=120, black=0.2, black_kind=kind)
    white, black, red, green, blue = display.xyz(
        np.array([(1023,) * 3, (0,) * 3, (1023, 0, 0), (0, 1023, 0), (0, 0, 1023)])
    )
    assert (white[1], black[1]) == pytest.approx((120, 0.2))
    assert red + green + blue - 2 * black == pytest.approx(white)
    assert yxy_of(white)[1:] == pytest.approx(D65)


def test_clipping_and_containers() -> None:
    """A PQ display clips at its peak and shows a P3 red of a BT.2020 signal as its own red."""
    display = Display(
        curve="pq", white=1000, black=0.0, primaries=PRIMARIES["p3"], container=PRIMARIES["bt2020"]
    )
    assert display.xyz(np.array([1023] * 3))[1] == pytest.approx(1000)
    to_container = np.linalg.inv(channels(PRIMARIES["bt2020"], D65)) @ channels(
        PRIMARIES["p3"], D65
    )
    light = np.maximum(to_container @ (100, 0, 0), 0)
    shown = display.xyz(codes_of(pq_signal(light), "rgb-10-full"))
    assert yxy_of(shown)[1:] == pytest.approx(PRIMARIES["p3"][0], abs=0.002)


def test_greys_made_to_measure() -> None:
    """A display made to show a grey shows it, and stays what it was at white."""
    display = Display(black=0.3, black_kind="leak").showing({(400,) * 3: (10.0, 11.0, 12.0)})
    assert display.xyz(np.array([400] * 3)) == pytest.approx((10, 11, 12))
    assert display.xyz(np.array([1023] * 3))[1] == pytest.approx(100)


def test_displays_on_a_limit_are_on_it() -> None:
    """Each display on a limit has the true values that the rule's limits have."""
    limits = {
        "white-level": (95, 105), "contrast": (1000,), "gamma": (2.3, 2.5), "tracking": (-5, 5),
        "tracking-dark": (-20, 20), "grey-colour": (-0.003, 0.003), "grey-balance": (0.003,),
        "grey-colour-target": (-0.004, 0.004), "primary-error": (-10, 10),
    }  # fmt: skip
    reached = set()
    for seed in range(3):
        for make in truths.ON_LIMIT:
            display, keys = make(np.random.default_rng(seed))
            values = truths.true_values(display)
            for id, name in keys:
                nominal = {**truths.DARK_LEVELS, **truths.PRIMARY_LEVELS}.get(name, 0)
                by_patch = {"dark-level": 20, "primary-level": 10}
                ends = limits.get(id) or tuple(
                    nominal * (1 + s * by_patch[id] / 100) for s in (-1, 1)
                )
                nearest = min(abs(values[id, name][0] - end) for end in ends)
                assert nearest < 1e-5 * max(abs(end) for end in ends), (id, name)
                reached.add(id)
    assert reached == {*limits, "dark-level", "primary-level"}


def test_true_values_of_an_ideal_display() -> None:
    """The rule's own display has no error but that of its codes, and fits 2.4."""
    values = truths.true_values(Display(black=0.06))
    assert values["gamma", ""][0] == pytest.approx(2.4, abs=1e-6)
    for (id, _), value in values.items():
        if id in {"tracking", "tracking-dark", "primary-error", "grey-colour", "grey-balance"}:
            assert value == pytest.approx(np.zeros(len(value)), abs=1e-9)
    assert truths.target_luminance((1023, 0, 0), 100, 0) == pytest.approx(21.2639, abs=1e-3)
