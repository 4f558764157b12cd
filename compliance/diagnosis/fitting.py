"""How well displays with faults match the readings, and the few faults that match best."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance.diagnosis.faulty_display import Display, Shown, simulate
from compliance.diagnosis.inputs import Inputs, itp
from compliance.diagnosis.stacking import Sized, stacked, stacks

Array = NDArray[np.float64]
Change = Callable[[Display, Array], Display]

NOTHING: Array = np.zeros((1, 0))
"""Grid of an option without a value."""
ROUNDS = 3
"""Times that the values are refined, each on a finer grid."""
LEVEL = 0.06
"""Share by which white or black must be beyond its plausible range to add `WEIGHT` to the loss."""
WEIGHT = 0.1
"""In ΔE ITP."""
FURTHEST = 10.0
DIGITS = 9
"""Decimals of a loss; machines differ in the further ones."""


ONWARD = (1.0, 2.0, 4.0)
"""Factors of further common steps of all values, tried in turn."""


PARTS: Mapping[str, frozenset[str]] = {
    "white-elsewhere": frozenset({"white"}),
    "deliverable": frozenset({"curve", "primaries", "white", "luminance"}),
}
"""The parts that an option changes, if its cause is not named after the only one."""


class Option(NamedTuple):
    """One way for a display to be wrong, with the values to try."""

    cause: str
    """Key in the table of causes."""
    variant: str
    """The kind of change."""
    subject: str
    """A channel, a set of primaries, a white or an order; empty if there is only one."""
    change: Change
    """From a display (K = 1) and values (K, n) to displays (K)."""
    grid: Array
    """(K, n); (1, 0) if there is nothing to choose"""
    steps: tuple[float, ...] = ()
    """Distance of the grid's values, by column."""
    price: float = 0.0
    """Its cost above that of a cause without a parameter, in the logarithm of the loss."""
    is_supported: Callable[[Array, Display], bool] = lambda value, display: True
    """Whether a value (n,) is large enough, and the readings support the display with all chosen
    options (K = 1)."""

    @property
    def parts(self) -> frozenset[str]:
        """What it changes; two options for the same part are never chosen together."""
        return PARTS.get(self.cause, frozenset({self.cause}))


class Chosen(NamedTuple):
    """An option with its values."""

    option: Option
    value: Array
    """(n,)"""


Combination = tuple[Chosen, ...]


def errors(display: Display, inputs: Inputs) -> Array:
    """(K, P) ΔE ITP between the light of displays and the readings."""
    return np.asarray(np.linalg.norm(itp(simulate(display, inputs).xyz) - inputs.itp, axis=-1))


def loss(display: Display, inputs: Inputs) -> Array:
    """(K,) mean error in ΔE ITP, small errors counting less, plus a part for white and black.

    A pseudo-Huber loss, so that a few patches that do not fit decide nothing.
    """
    return loss_of(simulate(display, inputs), display, inputs)


def loss_of(made: Shown, display: Display, inputs: Inputs) -> Array:
    """(K,) the same for light (K, P, 3) that the displays were found to give."""
    away = itp(made.xyz) - inputs.itp
    mean = np.mean(np.sqrt(1 + np.einsum("kpi,kpi->kp", away, away)) - 1, axis=1)
    low, high = display.plausible_white
    beyond = _beyond(made.white, high) + _beyond(low, made.white)
    beyond += _beyond(made.black, inputs.darkest)
    return np.asarray(np.round(mean + WEIGHT * np.minimum(beyond / LEVEL, FURTHEST), DIGITS))


def _beyond(value: Array | float, bound: Array | float) -> Array:
    """Logarithm of a value over a bound, 0 below the bound."""
    return np.log(np.maximum(np.maximum(value, 1e-9) / np.maximum(bound, 1e-9), 1.0))


def applied(start: Display, chosen: Sequence[Chosen]) -> Display:
    """The display with each of the options, their values (n,) or (K, n), one on top of the
    other."""
    for each in chosen:
        start = each.option.change(start, np.atleast_2d(each.value))
    return start


def losses(displays: Sequence[Sized], inputs: Inputs) -> list[Array]:
    """The `loss` of each of many displays, found together."""
    found: list[Array] = [np.empty(0)] * len(displays)
    for places in stacks(displays):
        some = [displays[place] for place in places]
        total = sum(size for _, size in some)
        values, begin = np.broadcast_to(loss(stacked(some), inputs), total), 0
        for place, (_, size) in zip(places, some, strict=True):
            found[place] = values[begin : begin + size]
            begin += size
    return found


@dataclass
class _Fit:
    """A combination while its values are refined."""

    chosen: Combination
    lowest: float = np.inf

    @property
    def free(self) -> list[int]:
        """Places of the options that have values."""
        return [place for place, each in enumerate(self.chosen) if each.option.steps]

    @property
    def node(self) -> Node:
        return Node(self.chosen, self.lowest)


def refined(
    start: Display, combinations: Sequence[Combination], inputs: Inputs, most: float = np.inf
) -> list[Node]:
    """Combinations with their values refined in turn, all side by side: to the end only the most
    promising, and none that still costs more than `most`."""
    fits = [_Fit(chosen) for chosen in combinations]
    first = losses([Sized(applied(start, fit.chosen), 1) for fit in fits], inputs)
    for fit, value in zip(fits, first, strict=True):
        fit.lowest = float(value[0])
    kept = fits
    for turn in range(2 * ROUNDS):
        if turn == 2:
            kept = _promising(start, fits, most)
        several = [fit for fit in kept if len(fit.free) > 1]
        before = [fit.chosen for fit in several]
        moving = several if turn >= ROUNDS else [fit for fit in kept if fit.free]
        for step in range(max((len(fit.free) for fit in moving), default=0)):
            sizes = [2.0 ** -(turn if len(fit.free) < 2 else turn // 2) for fit in moving]
            _better(start, moving, step, sizes, inputs)
        _onward(start, before, several, inputs)
    return [fit.node for fit in fits]


def _promising(start: Display, fits: Sequence[_Fit], most: float) -> list[_Fit]:
    """The few cheapest that are supported and cost no more than `most`."""
    ordered = sorted(fits, key=lambda fit: fit.node.cost)
    cheap = itertools.takewhile(lambda fit: fit.node.cost <= most, ordered)
    supported = (fit for fit in cheap if _is_supported(fit.node, start))
    return list(itertools.islice(supported, FINISHED))


def _better(
    start: Display, fits: Sequence[_Fit], step: int, sizes: Sequence[float], inputs: Inputs
) -> None:
    """Move each combination's value of one place, if it has so many, to the best near it."""
    moving = [(fit, fit.free[step], size) for fit, size in zip(fits, sizes, strict=True)
              if step < len(fit.free)]  # fmt: skip
    tried = [_around(fit.chosen[place], size) for fit, place, size in moving]
    displays = []
    for (fit, place, _), values in zip(moving, tried, strict=True):
        others = (*fit.chosen[:place], *fit.chosen[place + 1 :])
        changed = fit.chosen[place].option.change(applied(start, others), values)
        displays.append(Sized(changed, len(values)))
    for (fit, place, _), values, found in zip(moving, tried, losses(displays, inputs), strict=True):
        nearest = int(np.argmin(found))
        if found[nearest] < fit.lowest:
            better = Chosen(fit.chosen[place].option, values[nearest])
            fit.chosen = (*fit.chosen[:place], better, *fit.chosen[place + 1 :])
            fit.lowest = float(found[nearest])


def _onward(
    start: Display, before: Sequence[Combination], fits: Sequence[_Fit], inputs: Inputs
) -> None:
    """Take further steps in the direction of the last one, as long as the loss falls."""
    moved = [(fit, _further(old, fit.chosen)) for old, fit in zip(before, fits, strict=True)
             if any(new is not own for new, own in zip(old, fit.chosen, strict=True))]  # fmt: skip
    displays = [Sized(applied(start, further), len(ONWARD)) for _, further in moved]
    found = losses(displays, inputs)
    for (fit, further), values in zip(moved, found, strict=True):
        falling = np.diff(values, prepend=fit.lowest) < 0
        steps = len(falling) if falling.all() else int(np.argmin(falling))
        if steps:
            fit.chosen = tuple(Chosen(each.option, each.value[steps - 1]) for each in further)
            fit.lowest = float(values[steps - 1])


def _further(before: Combination, fitted: Combination) -> Combination:
    """Options with values (K, n) further on in the direction of the last step."""
    further = []
    for old, new in zip(before, fitted, strict=True):
        value, values = new.value, []
        for factor in ONWARD:
            value = _within(new.option, value + factor * (value - old.value))
            values.append(value)
        further.append(Chosen(new.option, np.array(values)))
    return tuple(further)


def _around(chosen: Chosen, size: float) -> Array:
    """(K, n) values around an option's current one, within `size` of a step of the grid."""
    ticks = np.linspace(-1, 1, 9 if len(chosen.value) == 1 else 5)
    offsets = np.array(list(itertools.product(ticks, repeat=len(chosen.value))))
    return _within(chosen.option, chosen.value + offsets * size * np.array(chosen.option.steps))


def _within(option: Option, values: Array) -> Array:
    """Values (..., n), limited to one step beyond the option's grid."""
    if not option.steps:
        return values
    steps = np.array(option.steps)
    return np.clip(values, option.grid.min(axis=0) - steps, option.grid.max(axis=0) + steps)


QUIET = 0.4
"""Loss in ΔE ITP of a well calibrated display."""
CAUSE = 0.15
"""Smallest fall of the logarithm of the loss that a cause must bring."""
SETTLED = 0.5
"""Loss below which only the best display is followed; above it also displays that are not yet
worth their price, as two faults may hide each other."""
WIDE, NARROW = 5, 1
"""Displays followed at a time."""
TRIED, TOGETHER = 12, 36
"""Displays refined at most for each that is followed, and in all."""
FINISHED = 10
"""Displays whose values are refined to the end."""
HOPE = 0.03
"""Cost above that of the best display, if that is settled, up to which a display whose values are
near their best is refined further."""
KEPT = 14
"""Supported displays that are kept at each step."""
DEEPEST = 3
"""Causes at a time."""


class Node(NamedTuple):
    """A display with faults."""

    chosen: tuple[Chosen, ...]
    loss: float

    @property
    def cost(self) -> float:
        return cost(self.loss) + sum(price(each) for each in self.chosen)


def cost(value: float) -> float:
    """A loss on the scale of prices, rounded so that it is the same on every machine."""
    return round(float(np.log(value + QUIET)), 6)


def price(chosen: Chosen) -> float:
    """The fall of the cost that an option must bring."""
    return CAUSE + chosen.option.price


class Found(NamedTuple):
    """What a search found."""

    best: Node
    """Without a fault if none is worth its price."""
    tried: tuple[Node, ...]
    """Every display that was refined and is supported, the best of each combination."""

    def others(self, fault: Chosen) -> list[Node]:
        """Other displays that have another fault instead of one of the best display's, the
        cheapest first."""
        own = {each.option[:3] for each in self.best.chosen}

        def is_other(node: Node) -> bool:
            keys = {each.option[:3] for each in node.chosen}
            return fault.option[:3] not in keys and not keys <= own

        return sorted(filter(is_other, self.tried), key=lambda node: node.cost)


def search(inputs: Inputs, start: Display, options: Sequence[Option]) -> Found:
    """The display of the lowest cost, and all that were tried."""
    best = Node((), float(loss(start, inputs)[0]))
    front, tried = [best], []
    for _ in range(DEEPEST):
        most = best.cost + HOPE if best.loss < SETTLED else np.inf
        front = _grown(front, options, start, inputs, most)
        tried += front
        better = bool(front) and front[0].cost < best.cost
        if not front or not (better or best.loss > SETTLED):
            break
        best = front[0] if better else best
        front = front[: NARROW if best.loss < SETTLED else WIDE]
    return Found(best, tuple(tried))


def _grown(
    front: Sequence[Node],
    options: Sequence[Option],
    start: Display,
    inputs: Inputs,
    most: float,
) -> list[Node]:
    """The most promising displays with one more fault, each with its best values if it can cost
    less than `most`; the cheapest first."""
    rough = _distinct(_on_grids(front, options, start, inputs))
    rough = rough[: min(TRIED * len(front), TOGETHER)]
    fine = _distinct(refined(start, [node.chosen for node in rough], inputs, most))
    return list(itertools.islice((each for each in fine if _is_supported(each, start)), KEPT))


def _on_grids(
    front: Sequence[Node], options: Sequence[Option], start: Display, inputs: Inputs
) -> list[Node]:
    """Each display with the best of each option's grid on top."""
    grown, tried = [], []
    for node in front:
        display = applied(start, node.chosen)
        done = frozenset().union(*(each.option.parts for each in node.chosen))
        for option in options:
            if not option.parts & done:
                grown.append((node, option))
                tried.append(Sized(option.change(display, option.grid), len(option.grid)))
    found = []
    for (node, option), values in zip(grown, losses(tried, inputs), strict=True):
        place = int(np.argmin(values))
        chosen = Chosen(option, option.grid[place])
        found.append(Node((*node.chosen, chosen), float(values[place])))
    return found


def _is_supported(node: Node, start: Display) -> bool:
    """Whether each fault of a display is supported."""
    display = applied(start, node.chosen)
    return all(each.option.is_supported(each.value, display) for each in node.chosen)


def _distinct(nodes: Sequence[Node]) -> list[Node]:
    """The best of each combination, the cheapest first."""
    kept: dict[frozenset[tuple[str, str, str]], Node] = {}
    for node in sorted(nodes, key=lambda each: each.cost):
        key = frozenset(option[:3] for option, _ in node.chosen)
        kept.setdefault(key, node)
    return list(kept.values())
