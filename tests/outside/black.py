"""Blacks that a meter cannot tell from dark: `python -m outside.black` prints what comes of them.

Ideal displays with blacks of 0 to .0027 cd/m² are read without error by meters that see down to
.0005 to .02 cd/m². A BT.1886 display must be told from one of another curve, or of another
exponent, by each of them (`expected` says where).
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np

import compliance
from compliance.assessment import graded_state
from outside.coverage import NOW, RULES, readings_text, without_causes
from outside.displays import Array, Display, bt1886, codes_of
from outside.meters import Certificate, rounded

BLACKS = (0.0, 0.0005, 0.00075, 0.0015, 0.0027)
LOWEST = (0.0005, 0.003, 0.01, 0.02)
CURVES = ("bt1886 2.4", "bt1886 2.2", "bt1886 2.5", "power 2.2", "power 2.5", "srgb")
SHOWN = ("as it is", "zero")
"""What a meter prints below its lowest luminance: what came in, to the last digit, or 0."""
DRAWS = 2000


@dataclass(frozen=True)
class Outcome:
    """What the program makes of one display read by one meter."""

    curve: str
    black: float
    lowest: float
    shown: str
    verdict: str
    gamma: float | None
    gamma_probability: float | None
    tracking: float | None
    """Largest error as a share of its band; None if a patch was not judged."""
    tracking_probability: float | None
    dark: float | None
    dark_probability: float | None

    def faults(self) -> list[str]:
        """Say what misses the bars."""
        wanted_tracking, wanted_gamma = expected(self.curve, self.black, self.lowest)
        if self.curve != "bt1886 2.4":
            told = wanted_tracking > 1 or abs(wanted_gamma - 2.4) > 0.11
            return [f"is {self.verdict}"] if told and self.verdict != "not-compliant" else []
        found = []
        if self.gamma is None or abs(self.gamma - 2.4) > 0.02:
            found.append(f"gamma {self.gamma}")
        if self.tracking is None or self.tracking > 0.05:
            found.append(f"tracking {self.tracking} of its band")
        for name in ("gamma", "tracking"):
            probability = getattr(self, f"{name}_probability")
            if probability is None or probability < 0.95:
                found.append(f"p of {name} {probability}")
        return found


def certificate(lowest: float) -> Certificate:
    """Give a certificate of 4 % from the lowest luminance, 2 % from 1 cd/m², a zero to match."""
    return Certificate(
        luminance=((lowest, 4.0), (1.0, 2.0)),
        dark=lowest / 2,
        resolution=lowest / 10,
        lowest=lowest,
        repeatability=((lowest, 2.0, 0.002), (1.0, 0.3, 0.0003)),
    )


def display(curve: str, black: float) -> Display:
    """Give an ideal display: BT.1886 with the black inside, other curves with it on top."""
    kind, _, exponent = curve.partition(" ")
    exponents = (float(exponent or 1),) * 3
    black_kind = "emitted" if kind == "bt1886" else "leak"
    return Display(curve=kind, exponents=exponents, black=black, black_kind=black_kind)


@cache
def expected(curve: str, black: float, lowest: float) -> tuple[float, float]:
    """Give the largest tracking error as a share of its band, and the gamma, by a plain search.

    The target's black is the display's where the meter sees it; else that of 0 to `lowest` which,
    with an exponent of its own, has the least squared log-luminance residual over greys from .1
    cd/m². Gamma is fitted together with the black.
    """
    codes = codes_of(np.linspace(0, 1, 21), "rgb-10-full")
    signals = codes / 1023
    seen = display(curve, black).xyz(np.stack([codes] * 3, axis=-1))[:, 1]
    nominal = 100 * signals**2.4
    blacks = np.linspace(0, lowest, 401) if black < lowest else np.array([black])

    def misfit(chosen: Array, exponent: float, at: float) -> float:
        wanted = bt1886(signals[chosen], 100, at, exponent)
        return float(np.sum(np.log(wanted / seen[chosen]) ** 2))

    def fitted(chosen: Array) -> float:
        """Give the exponent of the best pair, each with a black of its own."""
        pairs = product(np.arange(2, 2.8, 0.01), blacks[:: max(1, len(blacks) // 40)])
        return float(min(pairs, key=lambda pair: misfit(chosen, *pair))[0])

    lit = nominal >= 0.1
    exponent = fitted(lit)
    near = product(np.arange(exponent - 0.01, exponent + 0.01, 0.001), blacks[::4])
    best = min(near, key=lambda pair: misfit(lit, *pair))[1] if len(blacks) > 1 else black
    judged = (nominal >= 1) & (signals < 1)
    wanted = bt1886(signals[judged], 100, best)
    share = 100 * abs(seen[judged] / wanted - 1) / np.where(nominal[judged] <= 10, 10, 5)
    return float(share.max()), fitted((signals > 0.0995) & (signals < 0.9005))


def as_read(xyz: Array, meter: Certificate, shown: str) -> Array:
    """Give what a meter without error prints."""
    if shown == "zero":
        xyz = np.where(xyz[:, 1:2] < (meter.lowest or 0), 0.0, xyz)
    return rounded(xyz, meter.resolution)


def outcomes(
    curves: Iterable[str] = CURVES,
    blacks: Iterable[float] = BLACKS,
    lowest: Iterable[float] = LOWEST,
    shown: Iterable[str] = SHOWN,
    draws: int = DRAWS,
) -> Iterator[Outcome]:
    """Have the program grade every combination."""
    rule = compliance.load_rule(RULES / "outside-black.yaml")
    greys = [(int(code),) * 3 for code in codes_of(np.linspace(0, 1, 21), "rgb-10-full")]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for low, curve, black, prints in product(lowest, curves, blacks, shown):
            stated = certificate(low)
            (folder / "meter.yaml").write_text(stated.text(), encoding="utf-8")
            seen = as_read(display(curve, black).xyz(np.array(greys)), stated, prints)
            (folder / "readings.csv").write_text(readings_text(greys, seen), encoding="utf-8")
            measurement = compliance.Measurement(
                rule,
                compliance.load_readings(folder / "readings.csv", "rgb-10-full"),
                meter=compliance.load_meter(folder / "meter.yaml"),
            )
            with without_causes():
                state = graded_state(measurement, now=NOW, seed=0, draws=draws)
            found = {finding.id: finding for finding in state.findings}
            yield Outcome(
                curve,
                black,
                low,
                prints,
                str(state.verdict.value),
                found["gamma"].value,
                found["gamma"].probability,
                _share_of_band(found["tracking"]),
                found["tracking"].probability,
                _share_of_band(found["tracking-dark"]),
                found["tracking-dark"].probability,
            )


def _share_of_band(finding: Any) -> float | None:
    """Give the largest error over its limit, or None if a patch was not judged."""
    if finding.not_judged or not finding.points:
        return None
    return max(abs(point.value) / point.limits.maximum for point in finding.points)


def main() -> int:
    """Print all outcomes."""
    failures = 0
    for outcome in outcomes():
        faults = outcome.faults()
        failures += bool(faults)
        numbers = [
            "-" if value is None else f"{value:.4f}"
            for value in (
                outcome.gamma,
                outcome.gamma_probability,
                outcome.tracking,
                outcome.tracking_probability,
                outcome.dark,
                outcome.dark_probability,
            )
        ]
        print(
            f"{outcome.curve:<11} black {outcome.black:<8} lowest {outcome.lowest:<7}"
            f" {outcome.shown:<9} {outcome.verdict:<14} gamma {numbers[0]} p {numbers[1]}"
            f"  tracking {numbers[2]} p {numbers[3]}  dark {numbers[4]} p {numbers[5]}"
            f"{'  MISSED ' if faults else ''}{'; '.join(faults)}",
            flush=True,
        )
    return int(failures > 0)


if __name__ == "__main__":
    sys.exit(main())
