"""True values of outside-plain.yaml's requirements, and displays that lie on its limits.

The formulas are those of the table of quantities, written anew; they see the true light only.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from outside.displays import (
    D65,
    PRIMARIES,
    Array,
    Display,
    bt1886,
    channels,
    near,
    signal_of,
    uv_of,
    xyz_of,
    yxy_of,
)

Code = tuple[int, int, int]
Key = tuple[str, str]
"""A requirement and a patch; the patch is empty for a value of several patches."""

TOP = 1023
FIVE: Mapping[str, int] = {
    "grey-1": 164, "grey-2": 286, "grey-3": 478, "grey-4": 684, "grey-5": 902,
}  # fmt: skip
DARK: Mapping[str, int] = {"dark-1": 35, "dark-2": 62, "dark-3": 90}
DARK_LEVELS: Mapping[str, float] = {"dark-1": 0.2, "dark-2": 0.4, "dark-3": 0.7}
PRIMARY_LEVELS: Mapping[str, float] = {"red": 21.3, "green": 71.5, "blue": 7.3}
HUES: Mapping[str, Code] = {"red": (TOP, 0, 0), "green": (0, TOP, 0), "blue": (0, 0, TOP)}
RAMP = tuple(int(np.floor(i * TOP / 10 + 0.5)) for i in range(11))


def plan() -> list[Code]:
    """Give every patch that the rule asks for, once."""
    greys = sorted({*RAMP, *FIVE.values(), *DARK.values()})
    return [(grey, grey, grey) for grey in greys] + list(HUES.values())


def target_luminance(codes: Code, white: float, black: float) -> float:
    """Give Yt of the rule: BT.1886 of each channel between this white and black."""
    shares = channels(PRIMARIES["bt709"], D65)[1]
    return float(shares @ bt1886(signal_of(codes, "rgb-10-full"), white, black))


def fitted_exponent(signals: Array, luminances: Array, white: float, black: float) -> float:
    """Give the exponent of BT.1886's Annex 1 of least squares in log luminance (golden section)."""
    wanted = np.log(luminances)

    def misfit(exponent: float) -> float:
        return float(np.sum((np.log(bt1886(signals, white, black, exponent)) - wanted) ** 2))

    low, high, ratio = 1.0, 4.0, (np.sqrt(5) - 1) / 2
    while high - low > 1e-9:
        left, right = high - ratio * (high - low), low + ratio * (high - low)
        if misfit(left) < misfit(right):
            high = right
        else:
            low = left
    return (low + high) / 2


def true_values(display: Display) -> dict[Key, tuple[float, ...]]:
    """Give the true value of everything in the rule: one number, or x and y."""

    def shown(codes: Code) -> Array:
        return display.xyz(np.array(codes))

    def grey(code: int) -> Array:
        return shown((code, code, code))

    white, black = grey(TOP), grey(0)
    values: dict[Key, tuple[float, ...]] = {
        ("white-level", "white"): (white[1],),
        ("contrast", ""): (white[1] / black[1],),
    }
    inner = np.array([code for code in RAMP if 0.099 < code / TOP < 0.901])
    values["gamma", ""] = (
        fitted_exponent(
            inner / TOP, np.array([grey(int(code))[1] for code in inner]), white[1], black[1]
        ),
    )

    def error(codes: Code) -> float:
        wanted = target_luminance(codes, white[1], black[1])
        return float(100 * (shown(codes)[1] - wanted) / wanted)

    for name, code in FIVE.items():
        colour = yxy_of(grey(code))[1:]
        values["tracking", name] = (error((code, code, code)),)
        values["grey-colour", name] = tuple(colour - yxy_of(white)[1:])
        values["grey-colour-target", name] = tuple(colour - np.array(D65))
        values["grey-balance", name] = (float(np.hypot(*(uv_of(grey(code)) - uv_of(white)))),)
    for name, code in DARK.items():
        values["tracking-dark", name] = (error((code, code, code)),)
        values["dark-level", name] = (grey(code)[1],)
    steps = np.array([grey(code)[1] for code in DARK.values()])
    values["dark-steps", ""] = (float(np.diff(steps).min()),)
    for name, codes in HUES.items():
        values["primary-level", name] = (shown(codes)[1],)
        values["primary-error", name] = (error(codes),)
    return values


def good(generator: np.random.Generator) -> Display:
    """Give a display near the target, with greys that err a little by level."""
    base = near(Display(black=0.06), generator)
    wanted = {}
    for code in (*FIVE.values(), *DARK.values()):
        luminance, x, y = yxy_of(base.xyz(np.array([code] * 3)))
        wanted[code, code, code] = xyz_of(
            (
                luminance * (1 + generator.normal(0, 0.005)),
                x + generator.normal(0, 0.0003),
                y + generator.normal(0, 0.0003),
            )
        )
    return base.showing(wanted)


def levels_on_limit(generator: np.random.Generator) -> tuple[Display, set[Key]]:
    """Give a display with white, contrast and gamma on a limit."""
    white = 100 * (1 + 0.05 * generator.choice([-1, 1]))
    gamma = 2.4 + 0.1 * generator.choice([-1, 1])
    display = Display(white=white, black=white / 1000, exponents=(gamma, gamma, gamma))
    return display, {("white-level", "white"), ("contrast", ""), ("gamma", "")}


def greys_on_limit(generator: np.random.Generator) -> tuple[Display, set[Key]]:
    """Give a display with tracking and the greys' x on a limit, from white and from the target."""
    sign = float(generator.choice([-1, 1]))
    white_colour = (D65[0] + 0.001 * sign, D65[1])
    base = Display(black=0.06, white_colour=white_colour)
    wanted, keys = {}, set()
    for name, code in {**FIVE, **DARK}.items():
        codes = (code, code, code)
        dark = name in DARK
        factor = 1 + (0.2 if dark else 0.05) * generator.choice([-1, 1])
        x = white_colour[0] + (0.0 if dark else 0.003 * sign)
        luminance = target_luminance(codes, base.white, base.black) * factor
        wanted[codes] = xyz_of((luminance, x, white_colour[1]))
        if dark:
            keys.add(("tracking-dark", name))
        else:
            keys |= {(id, name) for id in ("tracking", "grey-colour", "grey-colour-target")}
    return base.showing(wanted), keys


def primaries_on_limit(generator: np.random.Generator) -> tuple[Display, set[Key]]:
    """Give a display with each primary's cd/m², the dark steps' and the greys' Δu'v' on a limit."""
    shares = channels(PRIMARIES["bt709"], D65)[1]
    base = Display(black=0.06)
    others = base.black * (1 - shares)
    wanted = np.array(list(PRIMARY_LEVELS.values())) * (1 + 0.1 * generator.choice([-1, 1], 3))
    gains = (wanted - others) / (base.white * shares)
    for _ in range(50):  # the others' black is scaled by their gains too
        others = base.black * (shares @ gains - shares * gains)
        gains = (wanted - others) / (base.white * shares)
    base = replace(base, channel_gains=tuple(float(gain) for gain in gains))
    white = base.xyz(np.array([TOP] * 3))
    wanted_greys = {}
    for code in FIVE.values():
        angle = generator.uniform(0, 2 * np.pi)
        u, v = uv_of(white) + 0.003 * np.array([np.cos(angle), np.sin(angle)])
        x, y = 9 * u / (6 * u - 16 * v + 12), 4 * v / (6 * u - 16 * v + 12)
        luminance = base.xyz(np.array([code] * 3))[1]
        wanted_greys[code, code, code] = xyz_of((luminance, x, y))
    for name, code in DARK.items():
        luminance = DARK_LEVELS[name] * (1 + 0.2 * generator.choice([-1, 1]))
        wanted_greys[code, code, code] = xyz_of((luminance, *yxy_of(white)[1:]))
    keys = {("primary-level", name) for name in HUES}
    keys |= {("dark-level", name) for name in DARK} | {("grey-balance", name) for name in FIVE}
    return base.showing(wanted_greys), keys


def shares_on_limit(generator: np.random.Generator) -> tuple[Display, set[Key]]:
    """Give a display with red's luminance on a limit relative to the white."""
    shares = channels(PRIMARIES["bt709"], D65)[1]
    base = Display(black=0.06)
    sign = float(generator.choice([-1, 1]))

    def display(gain: float) -> Display:
        rest = (1 - gain * (shares[0] + shares[2])) / shares[1]
        return replace(base, channel_gains=(gain, float(rest), gain))

    low, high = sorted((1.0, 1 + 0.3 * sign))
    for _ in range(40):  # the error of red rises with its gain
        middle = (low + high) / 2
        red, white, black = display(middle).xyz(np.array([HUES["red"], (TOP,) * 3, (0,) * 3]))[:, 1]
        wanted = target_luminance(HUES["red"], white, black)
        reached = 100 * (red - wanted) / wanted
        low, high = (low, middle) if reached > 10 * sign else (middle, high)
    return display((low + high) / 2), {("primary-error", "red")}


ON_LIMIT = (levels_on_limit, greys_on_limit, primaries_on_limit, shares_on_limit)
