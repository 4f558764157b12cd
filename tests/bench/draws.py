"""Time and memory of 10,000 draws of a slot through every finding of `sdr-broadcast`.

    python tests/bench/draws.py [ROUNDS]

Prints medians, the peak of memory, and the ratio to plain colour-science calls on the
same arrays: the colour differences, chromaticities and targets that the findings need,
one call each per chunk of draws. Both sides run in turn, so that a noisy machine slows
both. No test: nothing here passes or fails.
"""

from __future__ import annotations

import resource
import statistics
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from helpers import builders

with warnings.catch_warnings():  # that its optional plotting is not there
    warnings.simplefilter("ignore")
    import colour

from compliance.grading.match import MatchedReadings, match_readings
from compliance.grading.measurement_model import Draws
from compliance.grading.monte_carlo import findings_of
from compliance.model import ENCODINGS
from compliance.planning.stimuli import ideal_readings
from compliance.quantities.measured import Measured
from compliance.rules.library import load_rule

DRAWS = 10_000
RULE = "sdr-broadcast"


def case() -> MatchedReadings:
    rule = load_rule(RULE)
    readings = ideal_readings(rule, ENCODINGS["rgb-10-narrow"], 0.05)
    return match_readings(rule, readings, meter=builders.meter(0.3))


def ours(case: MatchedReadings) -> None:
    uncertainty = builders.meter(0.3).uncertainty
    assert uncertainty is not None
    findings_of(case, uncertainty, count=DRAWS, seed=0)


def theirs(case: MatchedReadings) -> None:
    """The same draws, then each finding's values by colour-science, as one would write it.

    Left out, since the library has no call for it: the fitted exponent and the coverage.
    """
    uncertainty = builders.meter(0.3).uncertainty
    assert uncertainty is not None
    draws = Draws(case, uncertainty, count=DRAWS, seed=0)
    neutral = np.flatnonzero(case.patches.neutral)
    coloured = np.flatnonzero(~case.patches.neutral)
    lit = neutral[case.patches.nominal[neutral] >= 1]
    white = np.flatnonzero(case.patches.level == 1)[-1:]
    for (view,) in draws.views(range(len(case.patches))):
        for _ in range(2):  # white point, two grades
            chroma(case, view, white, DELTA_UV)
        for _ in range(2):  # grey balance, two grades
            chroma(case, view, lit, DELTA_UV)
        for patches in (lit, neutral):  # tracking, two ranges
            wanted = target(case, view, patches)[..., 1]
            100 * (view.xyz[:, patches, 1] - wanted) / wanted
        chroma(case, view, coloured[:3], "CIE 1976")  # primaries
        chroma(case, view, coloured, "CIE 2000")  # hues and saturations
        target(case, view, coloured[:3])  # additivity
        centre = colour.Luv_to_uv(colour.XYZ_to_Luv(view.xyz[:, white] / 100, D65), D65)
        sides = colour.Luv_to_uv(colour.XYZ_to_Luv(view.xyz[:, neutral[-9:]] / 100, D65), D65)
        np.linalg.norm(sides - centre, axis=-1)  # colour of white from the centre


DELTA_UV = "delta u*v*"
D65 = np.array([0.3127, 0.3290])


def target(
    case: MatchedReadings, view: Measured, patches: NDArray[np.int64]
) -> NDArray[np.float64]:
    """(draws, n, 3) by colour-science: BT.1886 with each draw's white and black, BT.709."""
    white = view.xyz[:, view.white[patches], 1][..., None]
    black = np.maximum(view.xyz[:, view.black[patches], 1], 1e-9)[..., None]
    signal = np.clip(case.patches.signal[patches], 0, 1)[None]
    light = colour.models.eotf_BT1886(signal, L_B=black, L_W=white)
    space = colour.RGB_COLOURSPACES["ITU-R BT.709"]
    return np.asarray(colour.RGB_to_XYZ(light, space, apply_cctf_decoding=False))


def chroma(case: MatchedReadings, view: Measured, patches: NDArray[np.int64], method: str) -> None:
    """A difference of measured and target XYZ by colour-science."""
    measured, wanted = view.xyz[:, patches] / 100, target(case, view, patches) / 100
    if method == DELTA_UV:
        one, two = (colour.XYZ_to_Luv(xyz, D65) for xyz in (measured, wanted))
        np.linalg.norm(one[..., 1:] - two[..., 1:], axis=-1)
    elif method == "CIE 1976":
        one, two = (
            colour.Luv_to_uv(colour.XYZ_to_Luv(xyz, D65), D65) for xyz in (measured, wanted)
        )
        np.linalg.norm(one - two, axis=-1)
    else:
        one, two = (colour.XYZ_to_Lab(xyz, D65) for xyz in (measured, wanted))
        colour.delta_E(one, two, method=method)


def timed(function: Callable[[MatchedReadings], None], argument: MatchedReadings) -> float:
    start = time.perf_counter()
    function(argument)
    return time.perf_counter() - start


def peak() -> float:
    """MB this process has held at most."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    bench = case()
    before = peak()
    ours(bench)
    memory = peak()
    theirs(bench)
    pairs = [(timed(ours, bench), timed(theirs, bench)) for _ in range(rounds)]
    print(f"{RULE}: {len(bench.patches)} patches, {len(bench.rule.requirements)} requirements, ")
    print(f"{DRAWS} draws, {rounds} rounds in turn")
    print(f"this package    {statistics.median(one for one, _ in pairs):6.2f} s")
    print(f"colour-science  {statistics.median(two for _, two in pairs):6.2f} s")
    ratios = sorted(one / two for one, two in pairs)
    middle = statistics.median(ratios)
    print(f"ratio           {middle:6.2f}   ({ratios[0]:.2f} to {ratios[-1]:.2f})")
    print(f"peak memory     {memory:6.0f} MB, of which {before:.0f} MB were libraries")


if __name__ == "__main__":
    main()
