"""Processor time and memory of the most that bounds let a sheet ask for.

    OMP_NUM_THREADS=1 python tests/bench/worst_sheets.py [NAME …]

Each row is a slot with readings before and after calibration, whose rule asks for as much of one
kind as `grading/rule_size.py` lets it, and whose display fails, so that causes are sought. It is
assessed, signed and verified; nothing should take more than 10 s or 500 MB. `signatures` verifies
a small PDF with as many signatures as `signing/pdf_file.py` lets a file have. No test: nothing here
passes or fails.
"""

from __future__ import annotations

import logging
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np
import yaml
from adversary import forging
from helpers import many_stamps
from helpers.cubes import cube
from helpers.signing import identity
from mutations.watch import forget_peak, peak_memory

from compliance.assessment import assess
from compliance.job_file import job_from_document
from compliance.meter_file import load_meter
from compliance.model import Measurement, Readings
from compliance.readings.load import readings_from_bytes
from compliance.rules.library import load_rule_with_locations
from compliance.sheet.make_sheet import write_sheet
from compliance.verification import verify_sheet

METER: dict[str, Any] = {
    "meter": "worst",
    "kind": "spectroradiometer",
    "certificate": {"number": "N-1", "laboratory": "Invented", "due": "2027-03-02"},
    "lowest": 0.0005,
    "uncertainty": {
        "k": 2,
        "luminance": [{"from": 0.0005, "relative": 4}, {"from": 1, "relative": 2}],
        "dark": 0.0005,
        "resolution": 0.0001,
        "chromaticity": [
            {"from": 0.0005, "x": 0.004, "y": 0.003},
            {"from": 1, "x": 0.002, "y": 0.001},
        ],
        "saturated": {"x": 0.003, "y": 0.004, "relative": 1},
        "repeatability": [{"from": 0.0005, "relative": 0.6, "x": 0.0005, "y": 0.0004}],
    },
}
RULE: dict[str, Any] = {
    "title": "As much as there may be",
    "revision": 1,
    "valid_for": {"days": 30},
    "target": {
        "primaries": "bt709",
        "white": "d65",
        "transfer": {"curve": "bt1886"},
        "luminance": {"white": 100},
    },
    "signal": {"encoding": "rgb-10-full"},
    "window": 100,
    "defaults": {"level": "shall", "basis": "practice"},
}
LIMITS = {"fitted-exponent": {"nominal": 2.4, "within": 0.01}, "luminance-error": {"within": 0.1}}


def rule_of(name: str, *asked: tuple[str, int], points: int = 0) -> dict[str, Any]:
    """A rule with a requirement of each quantity over so many colours of its own."""
    random = np.random.RandomState(1)
    sets, requirements = {}, {}
    for place, (quantity, count) in enumerate(asked):
        codes = random.randint(100, 1000, size=(count, 3)).tolist()
        sets[f"set-{place}"] = {"list": {f"p-{place}-{at}": code for at, code in enumerate(codes)}}
        limits = LIMITS.get(quantity, {"max": 0.01})
        requirements[f"need-{place}"] = {
            "quantity": quantity, "over": f"set-{place}", "limits": limits,
        }  # fmt: skip
    return {"rule": name, **RULE, "patches": sets, "requirements": requirements}


KINDS: dict[str, tuple[dict[str, Any], float | None, int]] = {
    "colours": (rule_of("colours", ("delta-e-2000", 349)), 0.3, 2),
    "colours-any": (rule_of("colours-any", ("delta-e-2000", 115)), None, 2),
    "temperatures": (rule_of("temperatures", ("duv", 232)), 0.3, 2),
    "temperatures-any": (rule_of("temperatures-any", ("duv", 77)), None, 2),
    "luminances": (rule_of("luminances", ("luminance-error", 349)), 0.3, 2),
    "exponents": (rule_of("exponents", ("fitted-exponent", 349)), 0.3, 2),
    "requirements": (rule_of("requirements", *[("delta-e-2000", 3)] * 100), 0.3, 2),
    "requirements-any": (rule_of("requirements-any", *[("delta-e-2000", 1)] * 100), None, 2),
    "readings": (rule_of("readings", ("delta-e-2000", 340)), 0.3, 21),
}
"""Rules, each with the meter's correlation of x and y, and the points of a cube read besides."""


def measurement(folder: Path, name: str) -> Measurement:
    """The slot of a kind."""
    data, correlation, points = KINDS[name]
    patches = data["patches"]
    for place, each in patches.items():
        file = folder / "patches" / f"{name}-{place}.yaml"
        file.parent.mkdir(exist_ok=True)
        file.write_text(yaml.safe_dump({"encoding": "rgb-10-full", "patches": each["list"]}))
        patches[place] = {"list": f"patches/{file.name}"}
    (folder / f"{name}.yaml").write_text(yaml.safe_dump(data, sort_keys=False))
    rule = load_rule_with_locations(folder / f"{name}.yaml")[0]
    known = {} if correlation is None else {"correlation": {"xy": correlation}}
    meter = {**METER, "uncertainty": {**METER["uncertainty"], **known}}
    (folder / "meter.yaml").write_text(yaml.safe_dump(meter))
    job = forging.job(name, "1")
    job["slots"][0]["before"] = {"file": "before.csv", "measured": "2026-11-20T08:00:00Z"}
    return Measurement(
        rule,
        _read(cube(rule, rule.encoding, points, 0.95), "readings.csv"),
        before=_read(cube(rule, rule.encoding, points, 0.93), "before.csv"),
        job=job_from_document(job, "job.yaml"),
        meter=load_meter(folder / "meter.yaml"),
    )


def _read(shown: Readings, name: str) -> Readings:
    lines = ["r,g,b,X,Y,Z,position,window,pattern,seconds"]
    for at, (codes, xyz) in enumerate(zip(shown.codes.tolist(), shown.xyz.tolist(), strict=True)):
        window, seconds = f"{shown.window[at]:g}", f"{shown.seconds[at]:g}"
        place = [shown.position[at], window, shown.pattern[at], seconds]
        lines.append(",".join([*map(str, codes), *map(repr, xyz), *place]))
    return readings_from_bytes("\n".join([*lines, ""]).encode(), name, shown.encoding)


def timed(do: Callable[[], Any]) -> tuple[Any, str]:
    """What is returned, and processor time and memory as text."""
    forget_peak()
    start = time.process_time()
    found = do()
    return found, f"{time.process_time() - start:6.1f} s {peak_memory():5.0f} MB"


def main() -> None:
    logging.disable(logging.CRITICAL)
    trust = {"trust": (identity().pem,)}
    for name in sys.argv[1:] or [*KINDS, "signatures"]:
        with tempfile.TemporaryDirectory() as folder:
            if name == "signatures":
                data = many_stamps.stamped()
                found, took = timed(lambda sheet=data: verify_sheet(sheet, **trust))
                print(f"{name:18} {len(found.stamps) + 1} signatures: verified {took}", flush=True)
                continue
            slot = measurement(Path(folder), name)
            made, first = timed(lambda given=slot: assess(given, now=forging.SIGNED))
            sheet, second = timed(lambda given=made: write_sheet(given, identity=identity()))
            found, third = timed(lambda data=sheet: verify_sheet(data, **trust))
            count = len(slot.graded.codes)
            print(
                f"{name:18} {count:5} readings, {len(sheet) >> 10} kB: assessed {first}, drawn "
                f"{second}, verified {third}, exit {found.exit_code}",
                flush=True,
            )


if __name__ == "__main__":
    main()
