"""Another transfer function than the rule's."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from compliance.diagnosis.display import Display
from compliance.diagnosis.facts import Facts
from compliance.diagnosis.fit import NOTHING, Array, Option
from compliance.diagnosis.told import Told, cause, number
from compliance.model import Cause

__all__ = ["curve_options", "tell_curve"]

EXPONENTS = np.arange(1.4, 3.21, 0.1)[:, None]
LEAST = 0.06
"""Exponents nearer to the rule's are its own."""
NAMES = {
    "bt1886": "BT.1886",
    "srgb": "the sRGB curve",
    "pq": "PQ",
    "hlg": "HLG",
    "dcdm": "the exponent 2.6 of SDR cinema",
}
OVERHEAD = 1.005
"""A PQ signal on a display of less is clipped at what that can do."""


def curve_options(facts: Facts) -> Iterator[Option]:
    """Power functions of any exponent, and each curve with a name that is not the rule's."""
    model = facts.model
    own = model.exponent if model.curve in ("bt1886", "power", "dcdm") else np.nan
    for way in ("lift", "add") if model.lift else ("add",):
        yield _power(way, own)
    if model.kind == "xyz":
        return
    if model.curve != "srgb":
        yield Option("curve", "srgb", _srgb, NOTHING)
    if model.curve != "pq":
        yield _pq(float(facts.xyz[:, 1].max()))
    if model.curve != "hlg":
        gammas = np.arange(0.9, 1.51, 0.1)[:, None]
        yield Option("curve", "hlg", _hlg, gammas, (0.1,), 0.03)


def _white(display: Display) -> tuple[float, float]:
    """Any white will do where the rule's curve said cd/m² and this one does not."""
    return (0.0, np.inf) if display.absolute else display.prior


def _power(black: str, own: float) -> Option:
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
        lambda value: not abs(value[0] - own) < LEAST,
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


def _pq(top: float) -> Option:
    def change(display: Display, values: Array) -> Display:
        return display._replace(
            curve="pq",
            black="add",
            exponent=np.ones(1),
            absolute=False,
            prior=(0.0, np.inf),
            cap=np.array([OVERHEAD * top]),
        )

    return Option("curve", "pq", change, NOTHING)


def tell_curve(told: Told) -> Cause:
    model = told.facts.model
    own = NAMES.get(model.curve, f"gamma {number(model.exponent)}")
    step = (
        f"Choose {own} in the display's set-up and in the calibration's target, check that the "
        "slot's own table is the one in use, and calibrate again."
    )
    if told.variant.startswith("power"):
        exponent = float(told.value[0])
        form = "BT.1886's form with exponent" if told.variant == "power-lift" else "gamma"
        return cause(
            told,
            f"The display follows gamma {number(exponent)}, not {own}",
            f"The greys fit {form} {number(exponent)}.",
            step,
            ("exponent", exponent, "1"),
        )
    name = NAMES[told.variant]
    more = (("system gamma", float(told.value[0]), "1"),) if told.variant == "hlg" else ()
    return cause(
        told,
        f"The display follows {name}, not {own}",
        f"The greys fit {name}.",
        step,
        *more,
    )
