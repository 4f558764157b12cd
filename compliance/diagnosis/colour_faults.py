"""Faults of colour: other primaries, another white, channels that are swapped or have a gain or an
offset, and white at another luminance."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np

from compliance.colour.spaces import PRIMARIES, WHITES, uv_to_xy, xy_to_uv, xyz_to_uv, xyz_to_xy
from compliance.diagnosis.causes import FitContext, fitted_cause, number
from compliance.diagnosis.faulty_display import (
    Display,
    has_swapped_channels,
    matrices,
    primaries_of,
    simulate,
)
from compliance.diagnosis.fitting import NOTHING, Array, Change, Option
from compliance.diagnosis.inputs import Inputs
from compliance.model import Cause, Evidence, Facts

SAME = 0.004
"""x, y within which two sets of primaries count as the same."""
NEAR = 0.015
"""Δu'v' within which each measured primary counts as that of a named set."""
SET_UP = 0.006
"""Δu'v' within which a well set up display has its primaries (practice); a named set as near as
this leaves none without a name."""
APART = 0.01
"""Δu'v' from which a measured primary is another one than the rule's, if no set has its name."""
FAR = 0.12
"""Δu'v' from which a measured point does not count as that primary at all."""
BETTER = 0.5
"""Largest distance with a set of primaries, as a share of the distance without it."""
HUES = ("red", "green", "blue")


def primaries_options(inputs: Inputs) -> Iterator[Option]:
    """Each named set that is not the rule's, for the display and for the signal, and the display's
    primaries as measured."""
    own = primaries_of(inputs.model.from_target)
    signal = primaries_of(inputs.model.from_signal) if inputs.model.kind == "rgb" else own
    named = []
    for name, primaries in PRIMARIES.items():
        points = np.array(primaries)
        if np.abs(points - own).max() > SAME:
            named.append(_shown(name, points, inputs))
        if np.abs(own - signal).max() > SAME and np.abs(points - signal).max() > SAME:
            named.append(_assumed(name, points, inputs))
    yield from named
    read = primaries_read(inputs)
    if read is not None:
        read = _nearest(read, own)
        away = np.linalg.norm(xy_to_uv(read) - xy_to_uv(own), axis=-1)
        if APART < away.max() < FAR:
            yield _measured(read, named, inputs)


def primaries_read(inputs: Inputs) -> Array | None:
    """(3, 2) x, y of the patches of a single primary, black subtracted."""
    if np.any(inputs.hues < 0):
        return None
    light = inputs.xyz[inputs.hues] - inputs.black
    return None if np.any(light.sum(axis=1) <= 0) else np.asarray(xyz_to_xy(light))


def _nearest(read: Array, own: Array) -> Array:
    """The measured primaries, in the order that is nearest to the display's."""
    orders = [list(order) for order in itertools.permutations(range(3))]
    there = xy_to_uv(own)
    return min(
        (read[order] for order in orders),
        key=lambda points: float(np.linalg.norm(xy_to_uv(points) - there, axis=-1).sum()),
    )


def _supported(display: Display, without: Display, inputs: Inputs) -> bool:
    """Whether the measured red, green and blue support a display's set of primaries, and fit it
    better than a display without that set."""
    if not np.any(inputs.hues >= 0):
        return True
    off, before = (_off(shown, inputs) for shown in (display, without))
    return bool(off.max() <= NEAR and off.sum() <= BETTER * before.sum())


def hues_fit(display: Display, inputs: Inputs) -> bool:
    """Whether the measured red, green and blue, if there are any, are near a display's."""
    return not np.any(inputs.hues >= 0) or bool(_off(display, inputs).max() <= NEAR)


def _off(display: Display, inputs: Inputs) -> Array:
    """Δu'v' of the measured red, green and blue from those of a display."""
    hues = inputs.hues[inputs.hues >= 0]
    made = simulate(display, inputs).xyz[0, hues]
    return np.asarray(np.linalg.norm(xyz_to_uv(made) - xyz_to_uv(inputs.xyz[hues]), axis=-1))


def _with(points: Array) -> Change:
    return lambda display, values: display._replace(primaries=points[None])


def _shown(name: str, points: Array, inputs: Inputs) -> Option:
    def is_supported(value: Array, display: Display) -> bool:
        own = primaries_of(inputs.model.from_target)[None]
        return _supported(display, display._replace(primaries=own), inputs)

    return Option("primaries", "shown", name, _with(points), NOTHING, (), 0.0, is_supported)


def _assumed(name: str, points: Array, inputs: Inputs) -> Option:
    white = np.asarray(xyz_to_xy(inputs.model.white_xyz))[None]
    assumed = matrices(points[None], white)

    def change(display: Display, values: Array) -> Display:
        return display._replace(assumed_primaries=assumed)

    def is_supported(value: Array, display: Display) -> bool:
        own = inputs.model.from_signal[None]
        return _supported(display, display._replace(assumed_primaries=own), inputs)

    return Option("primaries", "assumed", name, change, NOTHING, (), 0.0, is_supported)


def _measured(points: Array, named: Sequence[Option], inputs: Inputs) -> Option:
    def is_supported(value: Array, display: Display) -> bool:
        own = display._replace(primaries=primaries_of(inputs.model.from_target)[None])
        return all(_off(option.change(own, option.grid), inputs).max() > SET_UP for option in named)

    return Option("primaries", "unnamed", "", _with(points), NOTHING, (), 0.42, is_supported)


def _name(points: Array) -> str | None:
    """The key of a named set; None if the set has no name."""
    for name, primaries in PRIMARIES.items():
        if np.abs(np.array(primaries) - points).max() <= 1e-6:
            return name
    return None


def primaries_cause(fit: FitContext) -> Cause:
    model = fit.inputs.model
    if fit.variant == "unnamed":
        return _unnamed_cause(fit)
    own = primaries_of(model.from_signal if fit.variant == "assumed" else model.from_target)
    away = _apart(np.array(PRIMARIES[fit.subject]), own)
    return fitted_cause(
        fit,
        {"primaries": fit.subject, "rule": _name(own)},
        (number("primaries-away", away, "Δu'v'"),),
        variant=fit.variant,
    )


def _unnamed_cause(fit: FitContext) -> Cause:
    """The cause of primaries that have no name, each as measured."""
    own = primaries_of(fit.inputs.model.from_target)
    read = fit.display.primaries[0]
    away = np.linalg.norm(xy_to_uv(read) - xy_to_uv(own), axis=-1)
    xy = tuple((hue, x, y) for hue, (x, y) in zip(HUES, read.tolist(), strict=True))
    evidence = tuple(
        number("primary-away", float(distance), "Δu'v'", {"primary": hue})
        for hue, distance in zip(HUES, away, strict=True)
    )
    return fitted_cause(fit, {"xy": xy, "rule": _name(own)}, evidence, variant="unnamed")


def _apart(points: Array, other: Array) -> float:
    return float(np.linalg.norm(xy_to_uv(points) - xy_to_uv(other), axis=-1).max())


SAME_WHITE = 0.0015
"""Δu'v' within which two whites count as the same."""
COLDEST, HOTTEST = 4000.0, 25000.0
"""K, the range in which daylight is defined (CIE 15:2018, 4.1.2)."""
BESIDE = 0.05
"""Largest Δu'v' from the daylight locus at which a correlated colour temperature is given; beyond
it has no meaning (CIE 15:2018, 9.5)."""
NEAR_LOCUS = 0.003
"""Largest Δu'v' from the daylight locus at which a temperature describes a white."""

NAMED: Mapping[str, tuple[float, float]] = {
    **WHITES,
    "d60": (0.32163, 0.33774),
    "d75": (0.29902, 0.31485),
    "d93": (0.28315, 0.29711),
}
"""Named whites; D60, D75 and D93 by the daylight formula at 6000, 7500 and 9300 K, the first
two times 1.4388/1.438 (CIE 15:2018, 4.1.2)."""


def daylight(kelvin: Array) -> Array:
    """x, y (..., 2) of daylight of 4000 to 25000 K; CIE 15:2018, 4.1.2."""
    t = 1000 / np.asarray(kelvin, dtype=np.float64)
    near = 0.244063 + 0.09911 * t + 2.9678 * t**2 - 4.6070 * t**3
    far = 0.237040 + 0.24748 * t + 1.9018 * t**2 - 2.0064 * t**3
    x = np.where(np.asarray(kelvin) <= 7000, near, far)
    return np.stack([x, -3 * x**2 + 2.87 * x - 0.275], axis=-1)


def _kelvin(values: Array) -> Array:
    """Temperatures in K from values in 10⁶/K, in which equal steps look equal."""
    return np.clip(1e6 / values[:, 0], COLDEST, HOTTEST)


def white_options(inputs: Inputs) -> Iterator[Option]:
    """Each named white that is not the rule's, and daylight of any temperature."""
    own = np.asarray(xyz_to_uv(inputs.model.white_xyz))
    for name, white in NAMED.items():
        if np.linalg.norm(xy_to_uv(white) - own) > SAME_WHITE:
            yield _at(name, np.array(white))

    def locus(display: Display, values: Array) -> Display:
        return display._replace(white=daylight(_kelvin(values)))

    yield Option("white", "daylight", "", locus, np.arange(50.0, 250.0, 5.0)[:, None], (5.0,), 0.03)


def _at(name: str, point: Array) -> Option:
    def change(display: Display, values: Array) -> Display:
        return display._replace(white=point[None])

    return Option("white", "named", name, change, NOTHING)


def nearest_daylight(uv: Array) -> float:
    """Temperature in K, to 10, of the daylight whose u'v' is nearest to a white (2,)."""
    kelvin = np.arange(COLDEST, HOTTEST + 1, 10.0)
    away = np.linalg.norm(xy_to_uv(daylight(kelvin)) - uv, axis=-1)
    return float(kelvin[np.argmin(away)])


def any_white_options(inputs: Inputs) -> Iterator[Option]:
    """White at the brighter neutral readings: not a cause, but it keeps others from being found."""
    there = np.asarray(uv_to_xy(inputs.white_uv))

    def change(display: Display, values: Array) -> Display:
        return display._replace(white=there[None])

    yield Option("white-elsewhere", "", "", change, NOTHING, (), 0.35)


def white_elsewhere_cause(inputs: Inputs) -> Cause:
    """The cause of a white that is not a known one."""
    x, y = (float(value) for value in uv_to_xy(inputs.white_uv))
    away = _from_rule(inputs)
    kelvin = nearest_daylight(inputs.white_uv)
    beside = inputs.white_uv - xy_to_uv(daylight(np.array(kelvin)))
    off = float(np.linalg.norm(beside))
    near = COLDEST < kelvin < HOTTEST and off <= BESIDE
    return Cause(
        "white",
        {
            "x": x,
            "y": y,
            "away_from_rule": away,
            "kelvin": kelvin if near else None,
            "away": off,
            "towards": "green" if beside[1] > 0 else "magenta",
        },
        "elsewhere",
        evidence=(
            *_white_read(x, y, away),
            number("kelvin", kelvin, "K"),
            number("away-from-daylight", off, "Δu'v'"),
        ),
    )


def _from_rule(inputs: Inputs) -> float:
    """Δu'v' between the rule's white and the measured white."""
    return float(np.linalg.norm(xyz_to_uv(inputs.model.white_xyz) - inputs.white_uv))


def _white_read(x: float, y: float, away_from_rule: float) -> tuple[Evidence, ...]:
    return (
        number("white-x", x, "1"),
        number("white-y", y, "1"),
        number("away-from-rule", away_from_rule, "Δu'v'"),
    )


def white_cause(fit: FitContext) -> Cause:
    inputs = fit.inputs
    x, y = (float(value) for value in uv_to_xy(inputs.white_uv))
    own = xyz_to_xy(inputs.model.white_xyz)
    away_from_rule = float(np.linalg.norm(xy_to_uv(own) - inputs.white_uv))
    kelvin = nearest_daylight(inputs.white_uv)
    nearest = daylight(np.array(kelvin))
    there = nearest if fit.variant == "daylight" else fit.display.white[0]
    away = round(float(np.linalg.norm(xy_to_uv(there) - inputs.white_uv)), 6)
    evidence = (
        *_white_read(x, y, away_from_rule),
        number("away-from-named", away, "Δu'v'"),
    )
    if np.linalg.norm(xy_to_uv(nearest) - inputs.white_uv) <= NEAR_LOCUS:
        evidence = (number("kelvin", kelvin, "K"), *evidence)
    named: Facts = {"kelvin": kelvin} if fit.variant == "daylight" else {"white": fit.subject}
    return fitted_cause(
        fit,
        {**named, "x": x, "y": y, "away": away, "away_from_rule": away_from_rule},
        evidence,
        variant=fit.variant,
    )


ORDERS = ((0, 2, 1), (1, 0, 2), (1, 2, 0), (2, 0, 1), (2, 1, 0))
CHANNELS = ("red", "green", "blue")
SIGNALS = ("X'", "Y'", "Z'")
TOP = 0.5
"""Share of the brightest neutral target above which the greys must show a gain."""
LIKE_FITTED = 0.05
"""Largest difference between the logarithms of the measured and the fitted gain."""


def _beyond(least: float) -> Callable[[Array, Display], bool]:
    return lambda value, display: bool(abs(value[0]) >= least)


# ------------------------------------------------------------ swapped


def swap_options(inputs: Inputs) -> Iterator[Option]:
    """Every other order of the signal's channels, and of the display's if they are not the same."""
    for place, order in enumerate(ORDERS):
        yield Option("channels", "signal", str(place), _ordered(order), NOTHING)
        if inputs.model.kind == "xyz":
            yield Option("channels", "drive", str(place), _driven(order), NOTHING)


def _ordered(order: tuple[int, int, int]) -> Change:
    return lambda display, values: display._replace(order=order)


def _driven(order: tuple[int, int, int]) -> Change:
    return lambda display, values: display._replace(drive_order=order)


def swap_cause(fit: FitContext) -> Cause:
    of_signal = fit.variant == "signal"
    names = SIGNALS if fit.inputs.model.kind == "xyz" and of_signal else CHANNELS
    order = fit.display.order if of_signal else fit.display.drive_order
    moved = tuple(
        (names[channel], names[place]) for place, channel in enumerate(order) if channel != place
    )
    return fitted_cause(fit, {"moved": moved})


# ------------------------------------------------------------ gain and offset


def gain_options(inputs: Inputs) -> Iterator[Option]:
    """One channel's light raised or lowered."""
    grid = np.arange(-0.7, 0.71, 0.05)[:, None]
    for channel, name in enumerate(CHANNELS):
        is_supported = _seen(0.03, _beside(channel, inputs, inputs.model.from_target))
        yield Option("gain", "", name, _gained(channel), grid, (0.05,), 0.09, is_supported)


def _beside(channel: int, inputs: Inputs, turned: Array) -> float:
    """Logarithm of a channel's light over that of the other two, in the brightest measured greys;
    `turned` (3, 3) is the matrix from the channels' light to XYZ."""
    level = inputs.nominal[inputs.neutral].max()
    bright = inputs.neutral & (inputs.nominal >= TOP * level)
    light = inputs.xyz[bright] @ np.linalg.inv(turned).T
    others = np.delete(light, channel, axis=1).mean(axis=1)
    shares = light[:, channel] / np.maximum(others, 1e-9)
    return float(np.log(np.median(np.maximum(shares, 1e-6))))


def _seen(least: float, beside: float) -> Callable[[Array, Display], bool]:
    """A test whether a gain is large enough and, unless channels are swapped, fits the greys."""

    def is_supported(value: Array, display: Display) -> bool:
        return bool(
            abs(value[0]) >= least and (has_swapped_channels(display) or value[0] * beside > 0)
        )

    return is_supported


def _gained(channel: int) -> Change:
    def change(display: Display, values: Array) -> Display:
        gain = np.ones((len(values), 3)) * display.gain
        gain[:, channel] = np.exp(values[:, 0])
        return display._replace(gain=gain)

    return change


def _gain_read(fit: FitContext) -> float:
    """Logarithm of a gain as measured in the brightest greys, if near the fitted one; else fitted.

    The fit leaves a part of a gain to the tolerance of a good display's white.
    """
    display = fit.display
    turned = matrices(display.primaries, display.white)[0]
    read = _beside(CHANNELS.index(fit.subject), fit.inputs, turned)
    fitted = float(fit.value[0])
    return (
        read if abs(read - fitted) <= LIKE_FITTED and not has_swapped_channels(display) else fitted
    )


def gain_cause(fit: FitContext) -> Cause:
    channel, share = fit.subject, float(np.exp(_gain_read(fit))) - 1
    light = number("gain", 100 * (1 + share), "%", {"channel": channel})
    return fitted_cause(fit, {"channel": channel, "share": share}, (light,))


def offset_options(inputs: Inputs) -> Iterator[Option]:
    """One channel's drive raised or lowered, on panels of several exponents."""
    shifts = np.arange(-0.12, 0.121, 0.01)
    grid = np.array([(shift, exponent) for exponent in (2.2, 2.4, 2.6) for shift in shifts])
    for channel, name in enumerate(CHANNELS):
        change = _shifted(channel)
        yield Option("offset", "", name, change, grid, (0.01, 0.1), 0.03, _beyond(0.006))


def _shifted(channel: int) -> Change:
    def change(display: Display, values: Array) -> Display:
        offset = np.zeros((len(values), 3)) + display.offset
        offset[:, channel] = values[:, 0]
        return display._replace(offset=offset, panel_exponent=values[:, 1])

    return change


def offset_cause(fit: FitContext) -> Cause:
    channel, shift = fit.subject, float(fit.value[0])
    offset = number("offset", 100 * shift, "%", {"channel": channel})
    return fitted_cause(fit, {"channel": channel, "shift": shift}, (offset,))


# ------------------------------------------------------------ crosstalk


def crosstalk_options(inputs: Inputs) -> Iterator[Option]:
    """A share of each channel's drive in the two others; greys stay as they are."""
    shares = np.linspace(0.005, 0.12, 12)
    grid = np.array([(share, exponent) for exponent in (2.2, 2.4) for share in shares])
    yield Option("crosstalk", "", "", _leaking, grid, (0.01, 0.1), 0.05, _leaks)


def _leaks(value: Array, display: Display) -> bool:
    return bool(value[0] >= 0.003)


def _leaking(display: Display, values: Array) -> Display:
    return display._replace(crosstalk=np.clip(values[:, 0], 0.0, 0.3), leak_exponent=values[:, 1])


def crosstalk_cause(fit: FitContext) -> Cause:
    share = float(fit.value[0])
    return fitted_cause(fit, {"share": share}, (number("crosstalk", 100 * share, "%"),))


# ------------------------------------------------------------ all light


def luminance_options(inputs: Inputs) -> Iterator[Option]:
    """All light raised or lowered: white at another luminance than the rule's."""
    yield Option("luminance", "", "", _free, NOTHING, (), 0.03)


def _free(display: Display, values: Array) -> Display:
    return display._replace(absolute=False, plausible_white=(0.0, np.inf))


def luminance_cause(inputs: Inputs) -> Cause:
    """The cause of a measured white outside the rule's limits."""
    asked = float(np.clip(inputs.model.white_luminance, *inputs.span))
    return Cause(
        "luminance",
        {"white": inputs.white, "asked": asked},
        evidence=(
            number("white", inputs.white, "cd/m²"),
            number("white-asked", asked, "cd/m²"),
        ),
    )
