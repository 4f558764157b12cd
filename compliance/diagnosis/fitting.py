"""How well displays with faults match the readings, and the few faults that match best."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance.diagnosis.faulty_display import Display, Shown, simulate
from compliance.diagnosis.inputs import Inputs, itp

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
    "deliverable": frozenset({"curve", "primaries", "white", "luminance", "white-elsewhere"}),
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
    away = np.linalg.norm(itp(made.xyz) - inputs.itp, axis=-1)
    mean = np.mean(np.sqrt(1 + away**2) - 1, axis=1)
    low, high = display.plausible_white
    beyond = _beyond(made.white, high) + _beyond(low, made.white)
    beyond += _beyond(made.black, inputs.darkest)
    return np.asarray(np.round(mean + WEIGHT * np.minimum(beyond / LEVEL, FURTHEST), DIGITS))


def _beyond(value: Array | float, bound: Array | float) -> Array:
    """Logarithm of a value over a bound, 0 below the bound."""
    return np.log(np.maximum(np.maximum(value, 1e-9) / np.maximum(bound, 1e-9), 1.0))


def applied(start: Display, chosen: Sequence[Chosen]) -> Display:
    """The display with each of the options, one on top of the other."""
    for each in chosen:
        start = each.option.change(start, each.value[None])
    return start


def best_on_grid(option: Option, display: Display, inputs: Inputs) -> tuple[Chosen, float]:
    """The best of an option's grid on top of a display, and its loss."""
    values = loss(option.change(display, option.grid), inputs)
    place = int(np.argmin(values))
    return Chosen(option, option.grid[place]), float(values[place])


def refine(
    start: Display, chosen: Sequence[Chosen], inputs: Inputs, rounds: int = ROUNDS
) -> tuple[tuple[Chosen, ...], float]:
    """The options with their values refined in turn, and the loss of all of them."""
    fitted = tuple(chosen)
    lowest = float(loss(applied(start, fitted), inputs)[0])
    free = [place for place, each in enumerate(fitted) if each.option.steps]
    for turn in range(rounds if len(free) < 2 else 2 * rounds):
        before = fitted
        size = 2.0 ** -(turn if len(free) < 2 else turn // 2)
        for place in free:
            fitted, lowest = _better(start, fitted, place, size, lowest, inputs)
        if len(free) > 1:
            fitted, lowest = _onward(start, before, fitted, lowest, inputs)
    return fitted, lowest


def _better(
    start: Display, fitted: Combination, place: int, size: float, lowest: float, inputs: Inputs
) -> tuple[Combination, float]:
    """The best value of one option near its current one, the others unchanged."""
    moved = fitted[place]
    tried = _around(moved, size)
    others = (*fitted[:place], *fitted[place + 1 :])
    values = loss(moved.option.change(applied(start, others), tried), inputs)
    nearest = int(np.argmin(values))
    if values[nearest] >= lowest:
        return fitted, lowest
    better = Chosen(moved.option, tried[nearest])
    return (*fitted[:place], better, *fitted[place + 1 :]), float(values[nearest])


def _onward(
    start: Display, before: Combination, fitted: Combination, lowest: float, inputs: Inputs
) -> tuple[Combination, float]:
    """Further steps in the direction of the last one, as long as the loss falls."""
    for factor in ONWARD:
        further = tuple(
            Chosen(new.option, _within(new.option, new.value + factor * (new.value - old.value)))
            for old, new in zip(before, fitted, strict=True)
        )
        value = float(loss(applied(start, further), inputs)[0])
        if value >= lowest:
            break
        fitted, lowest = further, value
    return fitted, lowest


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
POLISHED, TRIED = 7, 12
"""Options kept for each display, and options refined at most to find as many supported ones."""
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

    def next_to(self, fault: Chosen, *, elsewhere: bool = False) -> Node | None:
        """The cheapest other display that has another fault instead of one of the best display's,
        of another part if `elsewhere`; None if none was tried.
        """
        own = {each.option[:3] for each in self.best.chosen}

        def is_other(node: Node) -> bool:
            kept = elsewhere and any(each.option.parts & fault.option.parts for each in node.chosen)
            keys = {each.option[:3] for each in node.chosen}
            return not kept and fault.option[:3] not in keys and not keys <= own

        return min(filter(is_other, self.tried), key=lambda node: node.cost, default=None)


def search(inputs: Inputs, start: Display, options: Sequence[Option]) -> Found:
    """The display of the lowest cost, and all that were tried."""
    best = Node((), float(loss(start, inputs)[0]))
    front, tried = [best], []
    for _ in range(DEEPEST):
        grown = [each for node in front for each in _grown(node, options, start, inputs)]
        front = _distinct(grown)
        tried += front
        better = bool(front) and front[0].cost < best.cost
        if not front or not (better or best.loss > SETTLED):
            break
        best = front[0] if better else best
        front = front[: NARROW if best.loss < SETTLED else WIDE]
    return Found(best, tuple(tried))


def _grown(node: Node, options: Sequence[Option], start: Display, inputs: Inputs) -> list[Node]:
    """The most promising displays with one more fault, each with its best values."""
    done = frozenset().union(*(each.option.parts for each in node.chosen))
    display = applied(start, node.chosen)
    rough = []
    for option in options:
        if not option.parts & done:
            chosen, value = best_on_grid(option, display, inputs)
            rough.append(Node((*node.chosen, chosen), value))
    rough.sort(key=lambda each: each.cost)
    fine = (Node(*refine(start, each.chosen, inputs)) for each in rough[:TRIED])
    return list(itertools.islice((each for each in fine if _is_supported(each, start)), POLISHED))


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
