"""The few options that together explain what was read: a beam search with a price for each."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from compliance.diagnosis.display import Display
from compliance.diagnosis.facts import Facts
from compliance.diagnosis.fit import Chosen, Option, applied, coarse, loss, polished

__all__ = ["Node", "cost", "price", "search"]

QUIET = 0.4
"""Loss in ΔE ITP that a well calibrated display leaves."""
CAUSE = 0.15
"""Least fall of the logarithm of the loss that a cause must bring."""
SETTLED = 0.5
"""Loss from which only the best is followed; above it also what is not yet worth its price, as
two faults may hide each other."""
WIDE, NARROW = 5, 1
"""Displays followed at a time."""
POLISHED, TRIED = 7, 12
"""Options of each that are made better after a first look, and of how many those that may be told
are sought."""
DEEPEST = 3
"""Causes at a time."""


class Node(NamedTuple):
    """A display with faults."""

    chosen: tuple[Chosen, ...]
    loss: float

    @property
    def cost(self) -> float:
        return cost(self.loss) + sum(price(one) for one in self.chosen)


def cost(value: float) -> float:
    """A loss on the scale of prices, without the digits in which machines differ."""
    return round(float(np.log(value + QUIET)), 6)


def price(one: Chosen) -> float:
    """What an option must take off the cost."""
    return CAUSE + one.option.price


def search(facts: Facts, start: Display, options: Sequence[Option]) -> Node:
    """The display of the least cost; without a fault if none is worth its price."""
    found = Node((), float(loss(start, facts)[0]))
    front = [found]
    for _ in range(DEEPEST):
        grown = [each for node in front for each in _grown(node, options, start, facts)]
        front = _distinct(grown)
        better = bool(front) and front[0].cost < found.cost
        if not front or not (better or found.loss > SETTLED):
            break
        found = front[0] if better else found
        front = front[: NARROW if found.loss < SETTLED else WIDE]
    return found


def _grown(node: Node, options: Sequence[Option], start: Display, facts: Facts) -> list[Node]:
    """The most promising displays with one fault more, each at its best."""
    done = {one.option.about for one in node.chosen}
    display = applied(start, node.chosen)
    rough = []
    for option in options:
        if option.about not in done:
            chosen, value = coarse(option, display, facts)
            rough.append(Node((*node.chosen, chosen), value))
    rough.sort(key=lambda each: each.cost)
    fine = (Node(*polished(start, each.chosen, facts)) for each in rough[:TRIED])
    return list(itertools.islice((each for each in fine if _tells(each, start)), POLISHED))


def _tells(node: Node, start: Display) -> bool:
    """Whether each fault of a display may be told."""
    display = applied(start, node.chosen)
    return all(one.option.tells(one.value, display) for one in node.chosen)


def _distinct(nodes: Sequence[Node]) -> list[Node]:
    """The best of each combination, the cheapest first."""
    kept: dict[frozenset[tuple[str, str]], Node] = {}
    for node in sorted(nodes, key=lambda each: each.cost):
        key = frozenset((one.option.cause, one.option.variant) for one in node.chosen)
        kept.setdefault(key, node)
    return list(kept.values())
