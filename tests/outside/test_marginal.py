"""What the bars are run on: marginal displays, blacks out of sight, changed meter files."""

from __future__ import annotations

import numpy as np
import pytest

from outside import black, meter_keys
from outside.displays import Display
from outside.marginal import MOVED, ideal_readings
from outside.truths import DARK_LEVELS, PRIMARY_LEVELS, plan, true_values


def test_a_marginal_display_reaches_its_limit() -> None:
    """At a share of 1 the true value is the limit, at 0 it is far inside."""
    limits = {
        ("white-level", "white"): 105, ("contrast", ""): 1000, ("gamma", ""): 2.5,
        ("tracking", "grey-2"): 5, ("tracking-dark", "dark-2"): 20,
        ("dark-level", "dark-2"): DARK_LEVELS["dark-2"] * 1.2, ("dark-steps", ""): 0,
        ("grey-colour", "grey-2"): 0.003, ("grey-colour-target", "grey-2"): 0.004,
        ("grey-balance", "grey-2"): 0.003, ("primary-level", "red"): PRIMARY_LEVELS["red"] * 1.1,
    }  # fmt: skip
    for key, limit in limits.items():
        value = true_values(MOVED[key[0]](1.0))[key][0]
        assert value == pytest.approx(limit, rel=1e-5, abs=1e-9), key
    errors = [
        true_values(MOVED["primary-error"](share))["primary-error", "red"][0] for share in (0, 1)
    ]
    assert abs(errors[0]) < 0.5 and 9 < errors[1] < 11


def test_ideal_readings_err_by_the_last_digit_alone() -> None:
    """Y is within half a digit of the truth."""
    codes = np.array(plan())
    seen = ideal_readings(Display(black=0.06), codes, 0.01)
    true = Display(black=0.06).xyz(codes)
    assert abs(seen[:, 1] - true[:, 1]).max() <= 0.005 + 1e-12
    assert seen[:, 1] * 100 == pytest.approx(np.round(seen[:, 1] * 100))


def test_what_physics_says_of_blacks_out_of_sight() -> None:
    """2.4 is found again with any black; 2.5, powers of 2.2 and 2.5 and sRGB stay outside."""
    for dark in (0.0, 0.0027):
        for lowest in (0.0005, 0.02):
            tracking, gamma = black.expected("bt1886 2.4", dark, lowest)
            assert tracking < 0.03
            assert gamma == pytest.approx(2.4, abs=0.011)
            for curve in ("power 2.2", "power 2.5", "srgb"):
                assert black.expected(curve, dark, lowest)[0] > 1.5
    assert black.expected("bt1886 2.5", 0.0027, 0.02)[0] > 1


def test_changes_of_a_meter_file() -> None:
    """Keys at any depth, without the entries of lists; starts of bands that may be raised."""
    document = {
        "meter": "m",
        "uncertainty": {
            "k": 2,
            "luminance": [{"from": 0.1, "relative": 4}, {"from": 1, "relative": 5}],
            "chromaticity": [{"from": 1, "x": 0.002, "y": 0.002}],
        },
    }
    found = {".".join(map(str, path)) for path in meter_keys.paths(document)}
    assert len(found) == 12 and "uncertainty.luminance.1.from" in found
    assert "uncertainty.luminance.1" not in found
    smaller = meter_keys.without(document, ("uncertainty", "luminance", 0, "relative"))
    assert smaller["uncertainty"]["luminance"][0] == {"from": 0.1}
    assert document["uncertainty"]["luminance"][0] == {"from": 0.1, "relative": 4}
    twice = meter_keys.without(smaller, ("uncertainty", "luminance", 0, "relative"))
    assert twice == smaller
    names = [name for name, _ in meter_keys.raised(document)]
    assert names[0] == "luminance[0].from 0.2"
    assert not any(name.startswith("luminance[1]") for name in names)


def test_better_means_compliant_where_it_was_not() -> None:
    """Undecided to compliant and conditional to unconditional count, the other way does not."""
    conditional, whole = (meter_keys.Outcome("compliant", held) for held in (True, False))
    undecided = meter_keys.Outcome("undecided")
    assert whole.better_than(conditional) and conditional.better_than(undecided)
    assert not conditional.better_than(whole) and not undecided.better_than(conditional)
