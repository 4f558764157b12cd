"""Processor time of an assessment by the number of readings.

    python tests/bench/sizes.py [RULE …]

For each rule: its plan with cubes of 5, 9, 17 and 33 points of each channel (33: 35,937 readings
and the plan's), once as the rule asks and once with a bent curve, for which causes are searched.
Beside each other are how many times more readings there are than in the row above, and how many
times longer it took: where the second is far above the first, something grows faster than the
readings. No test: nothing here passes or fails.
"""

from __future__ import annotations

import sys
import time
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from helpers.cubes import cube

from compliance.assessment import assess
from compliance.meter_file import load_meter
from compliance.model import ENCODINGS, Measurement
from compliance.rules.library import load_rule

RULES = ("sdr-broadcast", "hdr-pq-1000")
POINTS = (5, 9, 17, 33)
METER = Path(__file__).resolve().parents[2] / "demo/meters/spectroradiometer.yaml"
NOW = datetime(2026, 11, 30, tzinfo=UTC)
DISPLAYS = {"as the rule asks": 1.0, "bent curve": 0.93}
"""Displays, each with the exponent on its signal."""


def seconds(measurement: Measurement) -> float:
    start = time.process_time()
    assess(measurement, now=NOW)
    return time.process_time() - start


def main() -> None:
    meter = load_meter(METER)
    for name in sys.argv[1:] or RULES:
        rule = load_rule(name)
        for display, exponent in DISPLAYS.items():
            print(f"{name}, {display}")
            before: tuple[int, float] | None = None
            for points in POINTS:
                readings = cube(rule, ENCODINGS["rgb-10-full"], points, exponent)
                took = seconds(Measurement(rule=rule, readings=readings, meter=meter))
                line = f"  {len(readings):6} readings {took:7.2f} s"
                if before is not None:
                    more, longer = len(readings) / before[0], took / before[1]
                    line += f"   {more:5.1f} times as many, {longer:5.1f} times as long"
                before = len(readings), took
                print(line, flush=True)


if __name__ == "__main__":
    main()
