"""Readings of a plan handed to the program as a job with one slot."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import compliance
from compliance.assessment import graded_state
from outside.coverage import without_causes
from outside.displays import Array
from outside.rulebook import Rulebook

NOW = datetime(2026, 11, 20, 12, tzinfo=UTC)
PERFECT = """meter: simulated-perfect
kind: spectroradiometer
certificate: {number: S-0, issued: 2026-03-02, due: 2027-03-02}
uncertainty:
  k: 2
  luminance: [{from: 0.0000001, relative: 0.00001}]
  linearity: {relative: 0.00001, reference: simulated}
  dark: 0.000000001
  resolution: 0.000000000001
  chromaticity: [{from: 0.0000001, x: 0.00000001, y: 0.00000001}]
  saturated: {x: 0.00000001, y: 0.00000001, relative: 0.00001}
  correlation: {xy: 0.0}
  repeatability: [{from: 0.0000001, relative: 0.00001, x: 0.00000001, y: 0.00000001}]
lowest: 0.0000001
"""


def readings_text(book: Rulebook, xyz: Array) -> str:
    """Give readings (row, 3) as the program's CSV."""
    names = "c1,c2,c3" if book.target.container is None else "r,g,b"
    lines = [f"{names},X,Y,Z,position,window,pattern,seconds"]
    for row, values in zip(book.rows, xyz, strict=True):
        numbers = ",".join(f"{value:.12g}" for value in values)
        codes = ",".join(map(str, row.codes))
        lines.append(
            f"{codes},{numbers},{row.position},{row.window:g},{row.pattern},{row.seconds:g}"
        )
    return "\n".join(lines) + "\n"


def job_text(book: Rulebook, technology: str, nominal_peak: float | None) -> str:
    """Give a job with one slot; surround and declarations are not stated."""
    peak = "" if nominal_peak is None else f"    nominal_peak: {nominal_peak:g}\n"
    return (
        f"job: SIM-1\nencoding: {book.target.encoding}\n"
        f"display: {{make: Simulated, model: S, serial: S-1, technology: {technology}}}\n"
        f"slots:\n  - slot: 1\n    deliverable: {book.file}\n{peak}"
        "    readings: {file: readings.csv, measured: 2026-11-20T10:00:00Z}\n"
    )


def grade(
    rule: Any,
    book: Rulebook,
    xyz: Array,
    meter: Any,
    folder: Path,
    *,
    technology: str,
    nominal_peak: float | None = None,
    seed: int = 0,
    draws: int = 300,
) -> Any:
    """Have the program grade readings (row, 3); gives its state with verdict and findings."""
    (folder / "readings.csv").write_text(readings_text(book, xyz), encoding="utf-8")
    (folder / "job.yaml").write_text(job_text(book, technology, nominal_peak), encoding="utf-8")
    job = compliance.only_slot(compliance.load_job(folder / "job.yaml", allow_outside=True), "1")
    readings = compliance.load_readings(folder / "readings.csv", book.target.encoding)
    measurement = compliance.Measurement(rule, readings, job=job, meter=meter)
    with without_causes():
        return graded_state(measurement, now=NOW, seed=seed, draws=draws)


def meter_of(text: str, folder: Path) -> Any:
    """Load a meter from its file's text."""
    (folder / "meter.yaml").write_text(text, encoding="utf-8")
    return compliance.load_meter(folder / "meter.yaml")


def finding_of(state: Any, id_: str) -> Any:
    """Give the finding of a requirement, None if there is none."""
    return next((finding for finding in state.findings if finding.id == id_), None)


def shall_findings(state: Any) -> Sequence[Any]:
    """Give the findings that decide."""
    return [finding for finding in state.findings if finding.level == "shall"]
