"""Displays with one value near its limit, for rules that ask for that value alone."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import yaml

import compliance
from outside.coverage import RULES
from outside.displays import D65, PRIMARIES, Array, Display, channels, uv_of, xyz_of, yxy_of
from outside.truths import DARK, DARK_LEVELS, FIVE, PRIMARY_LEVELS, TOP, plan, target_luminance

BASE = Display(black=0.06)


def single_rule(requirement: str, folder: Path) -> Any:
    """Load outside-plain.yaml with one requirement alone, by way of a file in `folder`."""
    data = yaml.safe_load((RULES / "outside-plain.yaml").read_text(encoding="utf-8"))
    data["rule"] = f"outside-{requirement}"
    data["requirements"] = {requirement: data["requirements"][requirement]}
    shutil.copytree(RULES / "patches", folder / "patches", dirs_exist_ok=True)
    file = folder / f"{data['rule']}.yaml"
    file.write_text(yaml.safe_dump(data), encoding="utf-8")
    return compliance.load_rule(file)


def _grey(name: str, luminance: float, x: float = D65[0], y: float = D65[1]) -> Display:
    """Give a display that shows this at one named grey, and at all others what it should."""
    code = {**FIVE, **DARK}[name]
    wanted = {codes: BASE.xyz(np.array(codes)) for codes in plan() if 0 < min(codes) < TOP}
    return BASE.showing({**wanted, (code, code, code): xyz_of((luminance, x, y))})


def _target(name: str) -> float:
    """Give the cd/m² of a named grey's target."""
    code = {**FIVE, **DARK}[name]
    return target_luminance((code, code, code), BASE.white, BASE.black)


def _balance(share: float) -> Display:
    """Give a display whose second grey is away from white in u'v'."""
    u, v = uv_of(BASE.xyz(np.array([TOP] * 3))) + np.array([0.003 * share, 0])
    below = 6 * u - 16 * v + 12
    return _grey("grey-2", _target("grey-2"), 9 * u / below, 4 * v / below)


def _red(share: float, of: float) -> Display:
    """Give a display whose red alone is brighter, by a share of the limit, than `of` cd/m²."""
    part = channels(PRIMARIES["bt709"], D65)[1, 0]
    wanted = of * (1 + 0.1 * share) - BASE.black * (1 - part)
    return replace(BASE, channel_gains=(float(wanted / (part * BASE.white)), 1.0, 1.0))


MOVED: Mapping[str, Callable[[float], Display]] = {
    "white-level": lambda t: replace(BASE, white=100 + 5 * t),
    "contrast": lambda t: replace(BASE, black=0.1 * t),
    "gamma": lambda t: replace(BASE, exponents=(2.4 + 0.1 * t,) * 3),
    "tracking": lambda t: _grey("grey-2", _target("grey-2") * (1 + 0.05 * t)),
    "tracking-dark": lambda t: _grey("dark-2", _target("dark-2") * (1 + 0.2 * t)),
    "dark-level": lambda t: _grey("dark-2", DARK_LEVELS["dark-2"] * (1 + 0.2 * t)),
    "dark-steps": lambda t: _grey("dark-2", _target("dark-3") * (0.4 + 0.6 * t)),
    "grey-colour": lambda t: _grey("grey-2", _target("grey-2"), D65[0] + 0.003 * t),
    "grey-colour-target": lambda t: _grey("grey-2", _target("grey-2"), D65[0] + 0.004 * t),
    "grey-balance": _balance,
    "primary-level": lambda t: _red(t, PRIMARY_LEVELS["red"]),
    "primary-error": lambda t: _red(1.27 * t, 21.3),  # a brighter red makes a brighter white
}
"""By requirement: a display whose value is this share of the way to its limit."""

SHARES = (0.3, 0.5, 0.6, 0.7, 0.75, 0.8, 0.85, 0.88, 0.9, 0.92, 0.94, 0.96, 0.97, 0.98, 0.99)


def ideal_readings(display: Display, codes: Array, resolution: float) -> Array:
    """Give what a meter without error prints, Y to its last digit."""
    true = yxy_of(display.xyz(codes))
    shown = np.round(true[:, 0] / resolution) * resolution
    return xyz_of(np.column_stack([shown, true[:, 1:]]))
