"""A plan filled in with the values of an ideal display, as a file."""

from __future__ import annotations

import numpy as np

from compliance import targets
from compliance.colour import codes
from compliance.model import Rule
from compliance.planning.plan import MeasuringPlan
from compliance.readings.csv_format import comma_separated
from compliance.targets import target_model


def filled_in(plan: MeasuringPlan, rule: Rule, black: float = 0.001) -> bytes:
    """The plan's CSV with X, Y, Z of the rule's target, to six digits."""
    encoding = plan.encoding
    model = target_model(rule, encoding)
    triples = np.array([step.codes for step in plan.steps])
    signal = np.asarray(codes.decode(triples, encoding.bits, encoding.narrow))
    shape = signal.shape[:-1]
    white = np.full(shape, model.white_luminance)
    light = targets.target_xyz(signal, model, white, np.full(shape, black))
    light = np.where(light[:, 1:2] < black, black * model.white_xyz, light)
    header, *rows = plan.rows()
    filled = [
        (*row[:3], *(f"{value:.6g}" for value in xyz), *row[6:])
        for row, xyz in zip(rows, light, strict=True)
    ]
    return comma_separated([header, *filled]).encode()
