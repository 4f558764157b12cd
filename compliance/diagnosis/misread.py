"""Single readings that disagree with their neighbours, while all others agree.

A grey is compared with the greys beside it, a colour with what the other colours make of the
channels, and a repeated reading with its repeats. What a display may do at the ends of its range is
no misreading: black, the lowest grey and white are not accused for lying beside the others.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance.colour import spaces
from compliance.diagnosis.causes import number
from compliance.diagnosis.fitting import Array
from compliance.diagnosis.inputs import ALONE, GREY, VEIL, Inputs, itp
from compliance.diagnosis.session_faults import ReadingFault, find_drift
from compliance.grading.match import MatchedReadings
from compliance.model import Cause, Fact, Readings
from compliance.targets import target_linear

Places = NDArray[np.intp]

FAR = 3.0
"""ΔE ITP from its prediction below which no reading is accused."""
TIMES = 3.0
"""Times the distance of the others at which a reading is accused (practice)."""
BESIDE = 3
"""Greys on each side that are compared with a grey's distance."""
MOST = 2
"""Largest number of readings that may be off; more are no misreadings."""
TRIED = 6
"""Largest number of readings that are tried, the furthest from their prediction first."""
LEAST_GREYS, LEAST_COLOURS = 6, 7
"""Smallest numbers of patches to compare."""
SURE = 1.0
"""Largest variance of a predicted colour, in that of a reading; a primary without mixtures has
more."""
REACHED, DARK = 0.97, 0.003
"""Share of a darker grey's light, and cd/m² below that, from which a brighter one is accused: no
display gets darker there."""
SAME_COLOUR = 0.003
"""Δu'v' within which a reading has the colour that it should (practice)."""
LAGGED = 0.3
"""Largest remaining share of the distance if a reading is a mixture with the patch before it."""
LEAST_LAG = 0.02
"""Smallest share of the light of the patch before."""


class Misreading(NamedTuple):
    """A reading, and what was expected in its place."""

    rows: tuple[int, ...]
    """In canonical order: more than one if all repeats of a patch read the same"""
    patch: int
    """Of the case"""
    xyz: Array
    """(3,) expected, cd/m²"""
    away: float
    """ΔE ITP"""


class Predicted(NamedTuple):
    """Readings as predicted by others, some of these being left out."""

    xyz: Array
    """(n, 3) cd/m², NaN where the others do not tell"""
    away: Array
    """(n,) ΔE ITP, NaN there"""


Predict = Callable[[Sequence[int]], Predicted]
"""Predicts each reading by the others, without the places left out."""


def find_misreadings(
    case: MatchedReadings, inputs: Inputs, light: Array, smooth: Array
) -> list[Misreading]:
    """At most two readings that are off; none if more are, or if nothing tells.

    `light` (P, 3): the inputs' patches as shown by a display that is near to the one measured;
    `smooth` (P, 3): by one without a bend, which must tell about the same.
    """
    greys = np.flatnonzero(inputs.neutral)
    greys = greys[np.argsort(inputs.nominal[greys], kind="stable")]
    found = [] if find_drift(case) is not None else list(_repeats(case, inputs))
    again = {each.patch: each.xyz for each in found}
    xyz = [again.get(patch, read) for patch, read in zip(inputs.patches, inputs.xyz, strict=True)]
    inputs = inputs._replace(xyz=np.array(xyz), itp=itp(np.array(xyz)))
    off: dict[int, Array] = {}
    if len(greys) >= LEAST_GREYS:
        off |= _off_greys(greys, inputs, light, smooth)
    colours = np.flatnonzero(~inputs.neutral & (inputs.nominal > 0))
    if len(colours) >= LEAST_COLOURS:
        off |= _off_colours(colours, greys, inputs, off)
    found += [_of_patch(int(inputs.patches[place]), xyz, case) for place, xyz in off.items()]
    if len(found) > MOST or len({each.patch for each in found}) < len(found):
        return []
    return [each for each in found if each.away >= _uncertainty(each, case)]


def _of_patch(patch: int, xyz: Array, case: MatchedReadings) -> Misreading:
    """The readings of a patch that are far from what was expected, of two or more the furthest."""
    rows = np.arange(len(case.view.readings))[case.patches.readings_of(patch)]
    away = np.linalg.norm(itp(case.view.readings[rows]) - itp(xyz), axis=-1)
    far = rows[away >= away.max() / 2]
    return Misreading(tuple(far.tolist()), patch, xyz, float(away.max()))


def _uncertainty(found: Misreading, case: MatchedReadings) -> float:
    """ΔE ITP of 2U (k = 2) of a reading's stated scatter; 0 if it is not stated."""
    share = 4 * float(np.nan_to_num(case.deviation[list(found.rows)]).max()) / 100
    return float(np.linalg.norm(itp(found.xyz * (1 + share)) - itp(found.xyz)))


# ------------------------------------------------------------ repeats


def _repeats(case: MatchedReadings, inputs: Inputs) -> Iterator[Misreading]:
    """The reading of each patch, read three times or more, that its repeats deny."""
    for patch in inputs.patches[case.patches.count[inputs.patches] >= 3].tolist():
        rows = case.patches.readings_of(patch)
        xyz = case.view.readings[rows]
        others = [np.delete(xyz, at, axis=0) for at in range(len(xyz))]
        spread = [float(np.linalg.norm(itp(each) - itp(each.mean(0)), axis=-1).max())
                  for each in others]  # fmt: skip
        odd = int(np.argmin(spread))
        mean = others[odd].mean(axis=0)
        away = float(np.linalg.norm(itp(xyz[odd]) - itp(mean)))
        if away >= max(FAR, 2 * TIMES * spread[odd]):
            yield Misreading((rows.start + odd,), patch, mean, away)


# ------------------------------------------------------------ greys


def _off_greys(greys: Places, inputs: Inputs, light: Array, smooth: Array) -> dict[int, Array]:
    """Places of greys that are off, and their expected XYZ."""
    read = inputs.xyz[greys]
    level = inputs.signal[greys].max(axis=1)

    def predict(left: Sequence[int]) -> Predicted:
        xyz = _between(read, level, light[greys], left)
        return Predicted(xyz, np.linalg.norm(itp(xyz) - itp(read), axis=-1))

    def fits(left: Sequence[int], predicted: Predicted) -> bool:
        others = np.setdiff1d(np.arange(len(greys)), left)
        for at in left:
            near = np.concatenate([others[others < at][-BESIDE:], others[others > at][:BESIDE]])
            worst = np.nanmax(predicted.away[near], initial=0.0)
            if not predicted.away[at] >= max(FAR, TIMES * worst):
                return False
            if not predicted.away[at] >= np.nanmax(predicted.away[others], initial=0.0):
                return False
        if not all(_can_be_read(at, read) for at in left):
            return False
        also = _between(read, level, smooth[greys], left)
        apart = np.linalg.norm(itp(also) - itp(predicted.xyz), axis=-1)
        return all(apart[at] <= predicted.away[at] / 2 for at in left)

    return {int(greys[at]): xyz for at, xyz in _apart(predict, fits, len(greys)).items()}


def _between(read: Array, level: Array, light: Array, left: Sequence[int]) -> Array:
    """(n, 3) XYZ of greys in ascending order, by a display's light (n, 3) and its distance from
    those read on both sides of each, some being left out; NaN at the ends."""
    base = light + VEIL * GREY
    error = np.log(np.maximum(read + VEIL * GREY, 1e-6) / base)
    kept = np.setdiff1d(np.arange(len(read)), left)
    shares = np.full(error.shape, np.nan)
    for at in range(len(read)):
        below, above = kept[kept < at][-1:], kept[kept > at][:1]
        if len(below) and len(above):
            low, high = int(below[0]), int(above[0])
            way = (level[at] - level[low]) / max(level[high] - level[low], 1e-9)
            shares[at] = error[low] + way * (error[high] - error[low])
    top = len(read) - 1
    if len(kept) > 1 and read[top, 1] < REACHED * read[kept[kept < top][-1], 1]:
        shares[top] = error[kept[kept < top][-1]]
    return np.asarray(base * np.exp(shares) - VEIL * GREY)


def _can_be_read(at: int, read: Array) -> bool:
    """Whether no display shows a grey so: the lowest lit one must be darker than black, or brighter
    than the next; all blacks below it may be crushed or raised."""
    if at > 1:
        return True
    darker, brighter = REACHED * read[0, 1] - DARK, read[2, 1] / REACHED + DARK
    return bool(at == 1 and not darker <= read[1, 1] <= brighter)


# ------------------------------------------------------------ colours


def _off_colours(
    colours: Places, greys: Places, inputs: Inputs, off: dict[int, Array]
) -> dict[int, Array]:
    """Places of colours that are off, and their expected XYZ; `off` are greys that are."""
    channels = _channels(inputs, greys, off)[colours]
    read = inputs.xyz[colours]
    wanted = read - inputs.black
    weight = 1 / np.maximum(read.max(axis=1), VEIL)
    weighted, aim = channels * weight[:, None], wanted * weight[:, None]
    pure = np.sort(channels, axis=1)[:, 1] <= ALONE * channels.max(axis=1)
    hue = channels.argmax(axis=1)

    def is_shown(at: int, left: Sequence[int]) -> bool:
        """Whether the panel reaches a colour: a mixture, or a primary that another level shows."""
        same = pure & (hue == hue[at])
        same[list(left)] = False
        return not pure[at] or bool(same.any())

    def predict(left: Sequence[int]) -> Predicted:
        kept = np.setdiff1d(np.arange(len(colours)), left)
        some = weighted[kept]
        spread = np.linalg.pinv(some.T @ some)
        made = channels @ (spread @ some.T @ aim[kept]) + inputs.black
        variance = np.einsum("ij,jk,ik->i", weighted, spread, weighted)
        inside = np.isin(np.arange(len(colours)), kept)
        away = np.linalg.norm(itp(np.maximum(made, 0.0)) - itp(read), axis=-1)
        away = np.where(inside, away / np.maximum(1 - variance, 0.1), away)
        unknown = ~inside & (variance > SURE)
        if np.linalg.matrix_rank(some) < some.shape[1]:
            unknown |= True
        return Predicted(np.maximum(made, 0.0), np.where(unknown, np.nan, away))

    def fits(left: Sequence[int], predicted: Predicted) -> bool:
        others = np.delete(predicted.away, list(left))
        if not np.isfinite(others).all():
            return False
        usual = max(float(np.sqrt(np.mean(others**2))), float(others.max()) / 2)
        return all(
            predicted.away[at] >= max(FAR, TIMES * usual)
            and (is_shown(at, left) or _same_colour(read[at], predicted.xyz[at]))
            for at in left
        )

    return {int(colours[at]): xyz for at, xyz in _apart(predict, fits, len(colours)).items()}


def _same_colour(read: Array, expected: Array) -> bool:
    """Whether a reading has its expected colour; a pure primary has not if a panel cannot reach
    it, which is no misreading."""
    away = spaces.xyz_to_uv(read) - spaces.xyz_to_uv(expected)
    return bool(np.linalg.norm(away) <= SAME_COLOUR)


def _channels(inputs: Inputs, greys: Places, off: dict[int, Array]) -> Array:
    """(P, 3) light of the target's channels, with the tone of the greys as measured."""
    asked = target_linear(inputs.signal, inputs.model)
    tone = np.array([off.get(int(place), inputs.xyz[place])[1] for place in greys])
    tone = np.maximum(tone - inputs.black[1], 0.0)
    level = asked[greys].max(axis=1)
    lit = (level > 0) & (tone > 0)
    if not lit.any():
        return asked
    level, share = level[lit], tone[lit] / level[lit]
    tiny = 1e-9 * level.max()
    log = np.interp(np.log(np.maximum(asked, tiny)), np.log(level), np.log(share))
    return np.asarray(np.maximum(asked, 0.0) * np.exp(log))


# ------------------------------------------------------------ both


def _apart(
    predict: Predict, fits: Callable[[Sequence[int], Predicted], bool], size: int
) -> dict[int, Array]:
    """The few readings without which all others fit, with their predicted XYZ: as many as are off,
    or one more than may be."""
    away = predict(()).away
    doubted = np.argsort(np.where(np.isfinite(away), -away, 0.0), kind="stable")[:TRIED]
    doubted = doubted[away[doubted] >= FAR / 2]
    for count in range(MOST + 1, 0, -1):
        best: tuple[float, Sequence[int], Predicted] | None = None
        for left in itertools.combinations(doubted.tolist(), count):
            predicted = predict(left)
            if fits(left, predicted):
                rest = float(np.nansum(np.delete(predicted.away, list(left))))
                if best is None or rest < best[0]:
                    best = rest, left, predicted
        if best is not None:
            return {at: best[2].xyz[at] for at in best[1]}
    return {}


# ------------------------------------------------------------ the cause


def misread_fault(found: Misreading, case: MatchedReadings, readings: Readings) -> ReadingFault:
    """The fault of one reading, with what it looks like."""
    read = case.view.readings[list(found.rows)].mean(axis=0)
    line = readings.lines[int(case.patches.order[found.rows[0]])]
    share = _lag(found, case)
    facts: dict[str, Fact] = {
        "patch": case.patches.triple(found.patch),
        "line": line,
        "read": float(read[1]),
        "expected": float(found.xyz[1]),
        "away": found.away,
    }
    evidence = [
        number("read", float(read[1]), "cd/m²"),
        number("expected", float(found.xyz[1]), "cd/m²"),
        number("from-neighbours", found.away, "ΔE ITP"),
    ]
    dimmed = read[1] < found.xyz[1] and _same_colour(read, found.xyz)
    lagged = share is not None
    if share is not None:
        facts["share"] = share
        evidence.append(number("patch-before", 100 * share, "%"))
    change = np.zeros_like(case.view.readings)
    for row in found.rows:
        change[row] = found.xyz - case.view.readings[row]
    cause = Cause(
        "misread",
        facts,
        ("unsettled-or-covered" if lagged and dimmed else "unsettled" if lagged
         else "covered" if dimmed else ""),
        evidence=tuple(evidence),
    )  # fmt: skip
    return ReadingFault(cause, change)


def _lag(found: Misreading, case: MatchedReadings) -> float | None:
    """Share of the light of the patch before in a reading; None if it is no such mixture."""
    order = case.patches.order
    row = found.rows[0]
    before = np.flatnonzero(order == order[row] - 1)
    if not len(before):
        return None
    step = case.view.readings[int(before[0])] - found.xyz
    away = case.view.readings[row] - found.xyz
    share = float(step @ away / max(float(step @ step), 1e-12))
    if not LEAST_LAG <= share <= 1.05:
        return None
    rest = float(np.linalg.norm(itp(found.xyz + share * step) - itp(found.xyz + away)))
    return min(share, 1.0) if rest <= LAGGED * found.away else None
