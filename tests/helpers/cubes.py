"""Readings of a whole cube of codes: a rule's plan and every mixture of so many equal steps."""

from __future__ import annotations

import numpy as np

from compliance import targets
from compliance.colour import codes
from compliance.model import Encoding, Readings, Rule
from compliance.planning.stimuli import merged
from compliance.targets import target_model

BLACK = 0.002
"""cd/m²"""


def cube(rule: Rule, encoding: Encoding, points: int, exponent: float = 1.0) -> Readings:
    """An ideal display of a rule, with a meter's noise; its signal is raised to an `exponent`."""
    stimuli = [each for each in merged([rule], encoding, points=points) for _ in range(each.count)]
    count, model = len(stimuli), target_model(rule, encoding)
    triples = np.array([each.codes for each in stimuli], dtype=np.int64)
    signal = np.asarray(codes.decode(triples, encoding.bits, encoding.narrow))
    white = np.full(count, model.white_luminance)
    bent = np.clip(signal, 0, None) ** exponent
    light = targets.target_xyz(bent, model, white, np.full(count, BLACK))
    light = np.where(light[:, 1:2] < BLACK, BLACK * model.white_xyz, light)
    random = np.random.RandomState(0)
    noise = (1 + 0.001 * random.normal(size=(count, 1))) * (
        1 + 0.0002 * random.normal(size=(count, 3))
    )
    return Readings(
        encoding=encoding,
        codes=triples,
        xyz=light * noise,
        position=tuple(each.position for each in stimuli),
        window=np.array([each.window for each in stimuli]),
        pattern=tuple(each.pattern for each in stimuli),
        background=("",) * count,
        seconds=np.array([each.seconds for each in stimuli], dtype=np.float64),
        deviation=np.full(count, np.nan),
        lines=tuple(range(2, count + 2)),
        file="cube.csv",
        data=b"",
        sha256="",
    )
