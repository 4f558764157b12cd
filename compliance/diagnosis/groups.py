"""Causes at one rank: the readings cannot tell them apart, or one is an image of another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import NamedTuple

from compliance.diagnosis.causes import rounded_error, statement_of
from compliance.diagnosis.fitting import Option
from compliance.diagnosis.gate import Counterfactual
from compliance.model import Cause


class CandidateCause(NamedTuple):
    """A cause, and the readings as they would be without it."""

    cause: Cause
    undone: Counterfactual | None = None
    """None if it is known only from readings before and after."""


Group = tuple[CandidateCause, ...]
"""Candidates that the readings cannot tell apart, at one rank."""
Ranked = tuple[float, Group]
"""A group with its worth, by which groups are ranked."""


def beside(candidate: CandidateCause, other: Cause, error: float) -> CandidateCause:
    """A candidate with another of its rank, which leaves a mean error in ΔE ITP, as the next best
    explanation."""
    cause = candidate.cause
    if cause.fit is None:
        return candidate
    fit = replace(
        cause.fit,
        error_of_next=rounded_error(error),
        next=statement_of(other),
        next_apart=False,
    )
    return candidate._replace(cause=replace(cause, fit=fit))


IMAGES: Mapping[tuple[str, str], str] = {
    ("primaries", "unnamed"): "crosstalk",
    ("white", "named"): "colour-drift",
    ("white", "daylight"): "colour-drift",
    ("white", "elsewhere"): "colour-drift",
    ("gain", ""): "colour-drift",
}
"""Kinds and variants that may be images of another kind: colours that leak are read as paler
primaries, and a white that moves during the session is off on average."""


def is_image(image: Option, option: Option) -> bool:
    """Whether one fault of a display may be an image of another."""
    return IMAGES.get((image.cause, image.variant)) == option.cause


def beside_their_images(ranked: list[Ranked]) -> list[Ranked]:
    """The groups; a cause that may be an image of another stands at the other's rank, after it."""
    for worth, group in list(ranked):
        key = group[0].cause.kind, group[0].cause.variant
        main = next((each for each in ranked if _is_of_kind(each, IMAGES.get(key))), None)
        if main is not None:
            others = [each for each in ranked if each[1] is not group and each[1] is not main[1]]
            ranked = [*others, (max(worth, main[0]), (*main[1], *group))]
    return ranked


def _is_of_kind(ranked: Ranked, kind: str | None) -> bool:
    return any(candidate.cause.kind == kind for candidate in ranked[1])
