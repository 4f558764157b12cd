"""Right displays that a rule must let pass, and the shall limits that they miss by true values.

No meter is in it: a limit that a right display misses is a fault of the rule. Right is a display
that is ideal but for one thing that the rule allows: a white whose colour or level is near its own
limit, or a leak of the kind, of its colour, however it is made part of the greys.
`python -m outside.right` prints them.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from outside import kinds
from outside.acceptance import book_of
from outside.bad import shifted
from outside.displays import Pair
from outside.panel import Panel
from outside.qualities import Values, frame_of
from outside.rulebook import SPECS, Requirement, Rulebook

NEAR = 0.97
"""Share of its own limit that the white's colour uses."""
OF_WHITE = {"chromaticity", "chromaticity-difference", "delta-uv-star"}


@dataclass(frozen=True)
class Right:
    """A right display: what it is, its kind, and the requirements that it is at the limit of."""

    name: str
    panel: Panel
    kind: kinds.Kind
    at_limit: tuple[str, ...]


def used(
    book: Rulebook, panel: Panel, kind: kinds.Kind, of: Sequence[Requirement] | None = None
) -> dict[str, float]:
    """Give the share of its limit that each shall requirement uses; above 1 it is missed."""
    true = panel.shown(book)
    values = Values.of(book, true, frame_of(book, true))
    found = {}
    for requirement in of or book.requirements:
        if requirement.shall and book.applies(requirement, kind.technology):
            points = values.points(requirement)
            margins = np.where(points.counted, points.relative_margins(), np.inf)
            found[requirement.id] = 1 - float(margins.min())
    return found


def limits_of_white(book: Rulebook) -> list[Requirement]:
    """Give the shall limits on the white's own colour."""
    return [
        requirement
        for requirement in book.requirements
        if requirement.shall
        and requirement.quantity in OF_WHITE
        and requirement.body.get("over") == "white"
    ]


def near_the_limit(book: Rulebook, panel: Panel, kind: kinds.Kind, angle: float) -> Panel:
    """Move the white in u'v' until its colour uses nearly all of its own limit."""
    own = limits_of_white(book)
    low, high = 0.0, 0.05
    for _ in range(16):
        middle = (low + high) / 2
        moved = replace(panel, white_xy=shifted(panel.target.white_xy, angle, middle))
        share = max(used(book, moved, kind, own).values())
        low, high = (middle, high) if share < NEAR else (low, middle)
    return replace(panel, white_xy=shifted(panel.target.white_xy, angle, low))


def whites(book: Rulebook, kind: kinds.Kind, angles: int = 8) -> Iterator[Right]:
    """Give displays whose white is near its limit, in every direction."""
    ids = tuple(requirement.id for requirement in limits_of_white(book))
    if ids:
        panel = kinds.best(book, kind)
        for angle in np.arange(angles) * 2 * np.pi / angles:
            name = f"white at {NEAR:.0%} of its limit, {round(np.degrees(angle))}°"
            yield Right(name, near_the_limit(book, panel, kind, float(angle)), kind, ids)


def levels(book: Rulebook, kind: kinds.Kind) -> Iterator[Right]:
    """Give displays whose white or peak is near either end of its own limits."""
    if book.target.curve == "pq":
        return
    panel = kinds.best(book, kind)
    for of in ("white", "peak"):
        low, high = kinds.luminance_limits(book, of)
        if low > 0 and np.isfinite(high):
            for end in (-NEAR, NEAR):
                white = (low + high) / 2 + end * (high - low) / 2
                gamma = book.target.gamma(kinds.declared_peak(book, white))
                scaled = panel.black * white / panel.white
                moved = replace(panel, white=white, black=scaled, gamma=gamma)
                yield Right(f"{of} at {white:.4g} cd/m²", moved, kind, _of_level(book, of))


def _of_level(book: Rulebook, of: str) -> tuple[str, ...]:
    """Name the limits on the luminance of white or peak."""
    return tuple(
        requirement.id
        for requirement in book.requirements
        if requirement.quantity == "luminance"
        and of in (requirement.body.get("over"), *requirement.names)
    )


def leaks(book: Rulebook, kind: kinds.Kind) -> Iterator[Right]:
    """Give displays with the kind's least, middle and highest black, of either colour and form."""
    low, high = kinds.black_range(book, kind, kinds.top_of(book))
    white = book.target.white_xy
    blue: Pair = (white[0] - 0.025, white[1] - 0.025)
    forms: dict[str, dict[str, object]] = {"": {}, ", blue": {"leak_xy": blue}}
    if book.target.curve == "hlg":
        forms[", added"] = {"form": "add"}
    at_limit = tuple(
        requirement.id
        for requirement in book.requirements
        if requirement.quantity == "contrast" or requirement.body.get("over") == "black"
    )
    for black in (low, float(np.sqrt(low * high)), 0.98 * high):
        for name, changes in forms.items():
            panel = replace(kinds.best(book, kind), black=black, **changes)  # type: ignore[arg-type]
            yield Right(f"{kind.name}, black {black:.2g} cd/m²{name}", panel, kind, at_limit)


def displays(book: Rulebook) -> Iterator[Right]:
    """Give every right display of a rule."""
    able = [kind for kind in kinds.KINDS if kinds.skipped(book, kind) is None]
    if able:
        yield from whites(book, able[-1])
        yield from levels(book, able[-1])
    for kind in able:
        yield from leaks(book, kind)


def missed(book: Rulebook) -> dict[str, dict[str, float]]:
    """Give the right displays that miss a limit other than the one they are at, and by how much."""
    found = {}
    for right in displays(book):
        shares = used(book, right.panel, right.kind)
        over = {k: v for k, v in shares.items() if v > 1 and k not in right.at_limit}
        if over:
            found[right.name] = over
    return found


def main() -> int:
    """Print the right displays that each rule fails."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--rule", action="append", help="id of a shipped rule, or a file; default: all"
    )
    chosen = parser.parse_args()
    faults = 0
    for rule in chosen.rule or sorted(file.stem for file in SPECS.glob("*.yaml")):
        found = missed(book_of(rule))
        faults += len(found)
        print(f"{rule}: {len(found)} right displays fail", flush=True)
        for name, over in found.items():
            text = ", ".join(f"{id_} {share:.2f} × its limit" for id_, share in over.items())
            print(f"  {name}: {text}", flush=True)
    return int(faults > 0)


if __name__ == "__main__":
    sys.exit(main())
