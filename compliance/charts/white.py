"""The measured white's 95 % ellipse, and the limit on it, in the u'v' diagram."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from compliance.colorimetry import spaces
from compliance.grading.case import Case
from compliance.model import Finding, Level, Limits, Pair

__all__ = ["ellipse", "white_limit"]

Array = NDArray[np.float64]
CHI_SQUARE = 5.991
"""95 % quantile with two degrees of freedom: the size of a 95 % ellipse."""
OUTLINE = 72
"""Points of a round outline."""
WHITE_DIFFERENCES = ("chromaticity", "chromaticity-difference", "delta-uv-star")


def _circle() -> Array:
    turn = np.linspace(0.0, 2 * np.pi, OUTLINE, endpoint=False)
    return np.stack([np.cos(turn), np.sin(turn)], axis=1)


def _outline(points: Array) -> tuple[Pair, ...]:
    return tuple((float(u), float(v)) for u, v in points)


def ellipse(white: Pair | None, covariance: NDArray[np.float64] | None) -> tuple[Pair, ...]:
    if white is None or covariance is None:
        return ()
    sizes, axes = np.linalg.eigh(covariance)
    reach = np.sqrt(CHI_SQUARE * np.maximum(sizes, 0.0))
    return _outline(np.array(white) + (_circle() * reach) @ axes.T)


def white_limit(case: Case, findings: Sequence[Finding]) -> tuple[Pair, ...]:
    """The first shall limit on the white's distance from the target's white."""
    index = case.built_in("white")
    requirements = {one.id: one for one in case.rule.requirements}
    for one in findings:
        requirement = requirements[one.id]
        about_white = [
            point
            for point in one.points
            if index is not None and point.patch == case.patches.triple(index)
        ]
        plain = one.quantity in WHITE_DIFFERENCES and requirement.reference == "target"
        if plain and one.level is Level.SHALL and about_white and about_white[0].limits:
            return _limit_outline(case, one.quantity, about_white[0].limits)
    return ()


def _limit_outline(case: Case, quantity: str, limits: Limits) -> tuple[Pair, ...]:
    white = case.plan.model.white_xyz
    if limits.box is not None:
        corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * np.array(limits.box)
        return _outline(np.asarray(spaces.xy_to_uv(spaces.xyz_to_xy(white) + corners)))
    if limits.maximum is None:
        return ()
    size = limits.maximum / 1300 if quantity == "delta-uv-star" else limits.maximum
    return _outline(spaces.xyz_to_uv(white) + size * _circle())
