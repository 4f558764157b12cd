"""The two choices of an HLG target that the readings decide: system gamma, and form of the black.

Both are decided once, on the measured values, and kept for all draws. Membership of sets, bands and
floors stays on the rule's nominal target.
Sources: ITU-R BT.2100-3, Table 5 and note 5f.
"""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

import numpy as np

from compliance.colour.hlg import hlg_system_gamma
from compliance.model import Level, Rule, Target
from compliance.quantities import fits
from compliance.quantities.measured import ENOUGH_GREYS, NOWHERE, Index, Measured

NEAR = 0.1
"""Share by which a peak may differ from the one whose system gamma it has (practice)."""
EDGE = 1e-9
"""Relative slack of the ends of ranges."""


class SystemGamma(NamedTuple):
    """The system gamma of a slot, and where it comes from."""

    value: float
    source: Literal["rule", "declared", "measured"]
    """Of the rule's nominal peak or its own number, of the slot's nominal peak, of the reading."""
    declared: float | None = None
    """The slot's nominal peak in cd/m²; None: not stated, or of no account."""
    measured: float | None = None
    """The measured peak in cd/m²."""
    beyond: Literal["", "reading", "limits"] = ""
    """Why a nominal peak is not used: too far from the reading, or outside the rule's limits."""


def system_gamma(rule: Rule, measured: float | None, declared: float | None) -> SystemGamma:
    """The system gamma for a measured peak and the nominal peak that a slot declares, in cd/m².

    A declared peak is taken only if it is near the measured one and within the rule's limits for
    the peak, so that it cannot excuse a wrong gamma.
    """
    target, own = rule.target, rule.target.system_gamma
    assert own is not None
    if target.surround is None or measured is None or measured <= 0:
        return SystemGamma(own, "rule")
    beyond = "" if declared is None else _reason_against(declared, measured, rule)
    if declared is not None and not beyond:
        return SystemGamma(_gamma_of(declared, target), "declared", declared, measured)
    low, high = limits_of_peak(rule)
    if not (math.isfinite(low) and math.isfinite(high)):
        nominal = target.luminance_white
        low, high = nominal * (1 - NEAR), nominal * (1 + NEAR)
    if _within(measured, low, high):
        return SystemGamma(own, "rule", declared, measured, beyond)
    return SystemGamma(_gamma_of(measured, target), "measured", declared, measured, beyond)


def _reason_against(
    declared: float, measured: float, rule: Rule
) -> Literal["", "reading", "limits"]:
    if not _within(declared, measured * (1 - NEAR), measured * (1 + NEAR)):
        return "reading"
    return "" if _within(declared, *limits_of_peak(rule)) else "limits"


def _gamma_of(peak: float, target: Target) -> float:
    assert target.surround is not None
    return float(hlg_system_gamma(peak, target.surround))


def _within(value: float, low: float, high: float) -> bool:
    return low * (1 - EDGE) <= value <= high * (1 + EDGE)


LARGEST_WINDOW = 10.0
"""% of area; limits on larger windows are on the loaded display, not on its peak."""


def limits_of_peak(rule: Rule) -> tuple[float, float]:
    """The strictest lower and upper shall limit of the rule on the luminance of its peak, in cd/m².

    An HLG rule's peak is its white: full signal.
    """
    low, high = 0.0, math.inf
    for row in rule.requirements:
        over, limits = row.over, row.limits
        if row.quantity != "luminance" or row.level is not Level.SHALL or limits is None:
            continue
        if over is None or over.patches not in (("peak",), ("white",)):
            continue
        own = LARGEST_WINDOW if over.patches == ("peak",) else rule.window
        if over.seconds or over.position or max(over.window or (own,)) > LARGEST_WINDOW:
            continue
        low, high = max(low, limits.low), min(high, limits.high)
    return (low if low > 0 else -math.inf), high


# ------------------------------------------------------------ the form of the black


def with_form_of_black(view: Measured, white: int | None) -> Measured:
    """The view of an HLG display with its black lifted or added, as the greys beside white tell.

    The form with the smaller squared log-luminance residual, the exponent left free; a tie is
    added. Fewer than four greys tell nothing, and the rule's own form is kept.
    """
    greys = telling_greys(view, white)
    if greys is None or white is None:
        return view
    place = np.array([white])
    hidden = bool(view.black_hidden[white]) and math.isnan(view.model.black_luminance)
    lifted = fits.is_lifted(
        view.model.curve,
        np.minimum(view.level[greys], 1.0),
        view.luminance(greys),
        view.scaling_white(place)[0],
        None if hidden else view.target_black(place)[0],
        view.lowest,
    )
    return view._replace(model=view.model._replace(lift=lifted))


def telling_greys(view: Measured, white: int | None) -> Index | None:
    """(n,) the greys that tell the form of an HLG display's black; None if none does."""
    model = view.model
    if model.curve != "hlg" or model.blackless or white is None:
        return None
    if view.black[white] == NOWHERE and math.isnan(model.black_luminance):
        return None
    greys = view.greys[white]
    greys = greys[view.luminance(greys) > 0]
    return greys if np.count_nonzero(greys != white) >= ENOUGH_GREYS else None
