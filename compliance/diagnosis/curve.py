"""Another transfer function than the rule's."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from compliance.colorimetry import transfer
from compliance.diagnosis.display import Display
from compliance.diagnosis.eotf import PQ_PEAK
from compliance.diagnosis.facts import Facts
from compliance.diagnosis.fit import NOTHING, Array, Option
from compliance.diagnosis.told import Told, cause, number
from compliance.model import Cause
from compliance.quantities.tracking import power_exponent

__all__ = ["curve_options", "tell_curve"]

EXPONENTS = np.arange(1.4, 3.21, 0.1)[:, None]
LEAST = 0.06
"""Exponents nearer to the rule's are its own."""
NAMES = {
    "bt1886": "BT.1886",
    "srgb": "the sRGB curve",
    "pq": "PQ",
    "pq-channels": "PQ",
    "hlg": "HLG",
    "dcdm": "the exponent 2.6 of SDR cinema",
}
FORMS = {
    "power-lift": "BT.1886's form, the black in the drive, with exponent",
    "power-add": "the black and a power of the signal beside it, with exponent",
}
LEVELS = np.linspace(0.1, 0.9, 17)
"""Signals by which an exponent in one form is put into another."""
OVERHEAD = 1.005
"""A PQ signal on a display of less is clipped at what that can do."""


def curve_options(facts: Facts) -> Iterator[Option]:
    """Power functions of any exponent, and each curve with a name that is not the rule's."""
    model = facts.model
    for way in ("lift", "add") if model.lift else ("add",):
        yield _power(way, facts)
    if model.kind == "xyz":
        return
    if model.curve != "srgb":
        yield Option("curve", "srgb", _srgb, NOTHING)
    if model.curve != "pq":
        yield Option("curve", "pq", _pq(facts, by_channel=False), NOTHING)
        yield Option("curve", "pq-channels", _pq(facts, by_channel=True), NOTHING)
    gammas = np.arange(0.9, 1.51, 0.1)[:, None]
    own = model.system_gamma if model.curve == "hlg" else np.nan
    yield Option("curve", "hlg", _hlg, gammas, (0.1,), 0.03, _other(facts, own))


def _other(facts: Facts, *own: float) -> Callable[[Array, Display], bool]:
    """Whether an exponent is none of the rule's own; and none is while the requirement on it is
    kept."""
    kept = facts.exponent is not None and facts.exponent.kept
    return lambda value, display: not (kept or any(abs(value[0] - one) < LEAST for one in own))


def _own(black: str, facts: Facts) -> tuple[float, ...]:
    """The rule's exponent, if it has one, and what it is in another form of the black."""
    model = facts.model
    if model.curve not in ("bt1886", "power", "dcdm"):
        return ()
    if black == "lift" or not model.lift:
        return (model.exponent,)
    white, dark = np.array(facts.white), np.array(facts.black[1])
    light = transfer.bt1886(LEVELS, white, dark, model.exponent)
    return model.exponent, float(power_exponent(LEVELS, light, white, dark))


def _white(display: Display) -> tuple[float, float]:
    """Any white will do where the rule's curve said cd/m² and this one does not."""
    return (0.0, np.inf) if display.absolute else display.prior


def _power(black: str, facts: Facts) -> Option:
    def change(display: Display, values: Array) -> Display:
        return display._replace(
            curve="power",
            black=black,
            exponent=values[:, 0],
            absolute=False,
            prior=_white(display),
        )

    return Option(
        "curve",
        f"power-{black}",
        change,
        EXPONENTS,
        (0.1,),
        0.03,
        _other(facts, *_own(black, facts)),
    )


def _srgb(display: Display, values: Array) -> Display:
    return display._replace(
        curve="srgb",
        black="add",
        exponent=np.ones(1),
        absolute=False,
        prior=_white(display),
    )


def _hlg(display: Display, values: Array) -> Display:
    return display._replace(
        curve="hlg",
        black="lift",
        exponent=values[:, 0],
        absolute=False,
        prior=_white(display),
    )


def _pq(facts: Facts, *, by_channel: bool) -> Callable[[Display, Array], Display]:
    """Clipped at the brightest reading, as a whole or each channel by itself."""
    top = np.array([OVERHEAD * float(facts.xyz[:, 1].max())])

    def change(display: Display, values: Array) -> Display:
        made = display._replace(
            curve="pq",
            black="add",
            exponent=np.ones(1),
            absolute=False,
            prior=(0.0, np.inf),
        )
        if by_channel:
            return made._replace(ceiling=top / PQ_PEAK)
        return made._replace(cap=np.minimum(display.cap, top))

    return change


def tell_curve(told: Told) -> Cause:
    model = told.facts.model
    own = NAMES.get(model.curve, f"gamma {number(model.exponent)}")
    step = (
        f"Choose {own} in the display's set-up and in the calibration's target, check that the "
        "slot's own table is the one in use, and calibrate again."
    )
    found = float(told.value[0]) if len(told.value) else np.nan
    measured, more = _measured(told.facts)
    if told.variant.startswith("power"):
        return cause(
            told,
            f"The display follows gamma {number(found)}, not {own}",
            f"The greys fit {FORMS[told.variant]} {number(found)}.{measured}",
            step,
            ("exponent", found, "1"),
            *more,
        )
    name = NAMES[told.variant]
    if told.variant == "hlg":
        more = (("system gamma", found, "1"), *more)
        if model.curve == "hlg":
            name, own = f"{name} with system gamma {number(found)}", number(model.system_gamma)
    return cause(
        told,
        f"The display follows {name}, not {own}",
        f"The greys fit {name}.{measured}",
        step,
        *more,
    )


def _measured(facts: Facts) -> tuple[str, tuple[tuple[str, float, str], ...]]:
    """The exponent that the rule's own requirement measures, in words and numbers."""
    if facts.exponent is None:
        return "", ()
    value = facts.exponent.value
    told = f" In the rule's own form the exponent measures {number(value)}."
    return told, (("exponent in the rule's form", value, "1"),)
