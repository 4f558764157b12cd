"""Slots that hold another deliverable's table: its curve, primaries and white at once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

import numpy as np

from compliance.colour.spaces import PRIMARIES, WHITES
from compliance.diagnosis.causes import FitContext, fitted_cause
from compliance.diagnosis.colour_faults import hues_fit
from compliance.diagnosis.faulty_display import Display, matrices, primaries_of
from compliance.diagnosis.fitting import NOTHING, Array, Change, Option
from compliance.diagnosis.inputs import Inputs
from compliance.diagnosis.tone_faults import clipped_pq, with_curve
from compliance.model import Cause


class Table(NamedTuple):
    """What a display does with an R'G'B' signal for one deliverable."""

    curve: str
    """A target's curve, or `power`."""
    exponent: float
    primaries: str
    white: str = "d65"
    container: str = ""
    """Primaries of the signal; empty: the display's."""

    @property
    def signal(self) -> str:
        return self.container or self.primaries


TABLES: Mapping[str, Table] = {
    "sdr-broadcast": Table("bt1886", 2.4, "bt709"),
    "sdr-uhd": Table("bt1886", 2.4, "p3", container="bt2020"),
    "web-srgb": Table("srgb", 1.0, "bt709"),
    "web-p3": Table("srgb", 1.0, "p3"),
    "stills-adobergb": Table("power", 563 / 256, "adobe-rgb"),
    "stills-d50": Table("power", 563 / 256, "adobe-rgb", "d50"),
    "cinema-p3d65": Table("power", 2.6, "p3"),
    "cinema-p3-dci": Table("power", 2.6, "p3", "dci"),
    "hdr-hlg": Table("hlg", 1.2, "p3", container="bt2020"),
    "hdr-pq": Table("pq", 1.0, "p3", container="bt2020"),
    "hdr-pq-p3": Table("pq", 1.0, "p3"),
    "hdr-pq-bt2020": Table("pq", 1.0, "bt2020"),
}
"""By kind of deliverable, of the shipped rules with an R'G'B' signal."""
GAMMAS = np.arange(0.8, 1.51, 0.1)[:, None]
"""System gammas of an HLG table, which follow the display's peak (ITU-R BT.2100)."""
SAME = 0.004
"""x, y within which two sets of primaries, or two whites, are the same."""
PRICE = 0.1
"""Less than that of two causes, more than that of one."""
PRICE_OF_ONE = 0.04
"""Of a table that differs in one part: a little more than that of the part's own cause."""


def table_options(inputs: Inputs) -> Iterator[Option]:
    """Each table that is not the rule's own; one of PQ clips as a whole or by channel."""
    if inputs.model.kind != "rgb":
        return
    for name, table in TABLES.items():
        parts = len(_differing(table, inputs))
        ways = ("", "channels") if table.curve == "pq" != inputs.model.curve else ("",)
        is_hlg = table.curve == "hlg" != inputs.model.curve
        for way in ways if parts else ():
            yield Option(
                "deliverable", way, name, _loaded(table, inputs, by_channel=bool(way)),
                GAMMAS if is_hlg else NOTHING, (0.1,) if is_hlg else (),
                PRICE if parts > 1 else PRICE_OF_ONE,
                lambda value, display: hues_fit(display, inputs),
            )  # fmt: skip


def _differing(table: Table, inputs: Inputs) -> list[str]:
    """The parts in which a table differs from the rule's."""
    model = inputs.model
    apart = {
        "curve": _has_other_curve(table, inputs),
        "primaries": _away(_points(table.primaries), primaries_of(model.from_target)) > SAME
        or _away(_points(table.signal), primaries_of(model.from_signal)) > SAME,
        "white": _away(np.array(WHITES[table.white]), _xy(model.white_xyz)) > SAME,
    }
    return [part for part, differs in apart.items() if differs]


def _has_other_curve(table: Table, inputs: Inputs) -> bool:
    model = inputs.model
    of_exponent = model.curve in ("power", "bt1886", "dcdm")
    return table.curve != model.curve or (
        of_exponent and abs(table.exponent - model.exponent) > 0.01
    )


def _points(name: str) -> Array:
    return np.array(PRIMARIES[name])


def _xy(xyz: Array) -> Array:
    return np.asarray(xyz[:2] / xyz.sum())


def _away(points: Array, other: Array) -> float:
    return float(np.abs(points - other).max())


def _loaded(table: Table, inputs: Inputs, *, by_channel: bool) -> Change:
    model = inputs.model
    points, white = _points(table.primaries)[None], np.array(WHITES[table.white])[None]
    into = np.linalg.inv(matrices(points, white)) @ matrices(_points(table.signal)[None], white)
    assumed = model.from_target[None] if not table.container else model.from_target @ into
    pq = clipped_pq(inputs, by_channel=by_channel)

    def change(display: Display, values: Array) -> Display:
        if table.curve == "pq" and model.curve != "pq":
            display = pq(display, values)
        elif _has_other_curve(table, inputs):
            lift = table.curve in ("bt1886", "hlg")
            curve = "power" if table.curve == "bt1886" else table.curve
            gamma = values[:, 0] if values.shape[1] else np.array([table.exponent])
            display = with_curve(display, curve, "lift" if lift else "add", gamma)
            display = display._replace(absolute=False, plausible_white=(0.0, np.inf))
        return display._replace(primaries=points, white=white, assumed_primaries=assumed)

    return change


def table_cause(fit: FitContext) -> Cause:
    parts = tuple(_differing(TABLES[fit.subject], fit.inputs))
    return fitted_cause(fit, {"deliverable": fit.subject, "parts": parts})
