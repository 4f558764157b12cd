"""What an encoding cannot carry well: told with the plan, before anything is measured."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from compliance import targets
from compliance.colorimetry import codes
from compliance.model import Encoding, Rule
from compliance.target_model import target_model

__all__ = ["doubts"]

HIGH_RANGE = ("pq", "hlg")
LEAST_BITS = 10
"""Of PQ and HLG, which ITU-R BT.2100 codes in 10 or 12 bits."""
LIT = 1.0
"""cd/m² from which the steps of luminance are told."""


def doubts(rules: Sequence[Rule], encoding: Encoding) -> tuple[str, ...]:
    """What may come of measuring these rules in the encoding; nothing where it is made for them."""
    return tuple(dict.fromkeys(told for rule in rules for told in _of(rule, encoding)))


def _of(rule: Rule, encoding: Encoding) -> Iterator[str]:
    if rule.target.curve in HIGH_RANGE and encoding.bits < LEAST_BITS:
        yield (
            f"{encoding.name} has {encoding.bits} bits, and ITU-R BT.2100 codes PQ and HLG in 10 "
            f"or 12: a step of one code is up to {_coarsest(rule, encoding):.2g} % of luminance, "
            "and bands in gradients are the signal's fault."
        )
    if rule.encoding.kind != encoding.kind:
        yield (
            f"{rule.id} is written for {rule.encoding.name}: in {encoding.name} its colours are "
            "coded anew, and only a display that is fed that signal shows them right."
        )


def _coarsest(rule: Rule, encoding: Encoding) -> float:
    """% of luminance between neighbouring grey codes at the most, up to the peak."""
    model = target_model(rule, encoding)
    every = np.repeat(np.arange(encoding.top + 1)[:, None], 3, axis=1)
    signal = np.asarray(codes.decode(every, encoding.bits, encoding.narrow), dtype=np.float64)
    level = targets.nominal_xyz(signal, model)[:, 1]
    level = level[(level >= LIT) & (level <= model.peak_luminance)]
    return 100 * float(np.max(level[1:] / level[:-1])) - 100
