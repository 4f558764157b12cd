"""Invented assessments, made by hand, and the command: called here, or as a process."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from helpers import commands
from helpers.desk import write_desk

from compliance.model import (
    ENCODINGS,
    Assessment,
    Decision,
    Display,
    Finding,
    GradedReadings,
    Job,
    Level,
    Limits,
    Measurement,
    Outcome,
    People,
    Point,
    Readings,
    ReadingsEntry,
    Reason,
    Remark,
    Room,
    Rule,
    Slot,
    Target,
    Verdict,
)

MEASURED = datetime(2026, 11, 20, 15, 10, tzinfo=UTC)
NOW = datetime(2026, 11, 21, 8, 0, tzinfo=UTC)
D65 = (0.3127, 0.3290)
BT709 = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))

Findings = Sequence[Finding]


def finding(id: str, verdict: Verdict = Verdict.PASS, **fields: Any) -> Finding:
    """A finding on luminance unless `fields` say otherwise."""
    stated: dict[str, Any] = {
        "title": id.replace("-", " ").capitalize(),
        "quantity": "luminance",
        "unit": "cd/m²",
        "level": Level.SHALL,
        "statistic": "each",
        "basis": "practice",
        "clause": None,
        "value": 100.0,
        "limits": Limits(95, 105, nominal=100),
        **fields,
    }
    return Finding(id=id, verdict=verdict, **stated)


def point(name: str, value: float, limits: Limits, verdict: Verdict, **fields: Any) -> Point:
    """A grey patch at the centre."""
    stated: dict[str, Any] = {"patch": (512, 512, 512), "position": "centre", "window": 100.0}
    return Point(**{**stated, "target": 10.0, **fields}, name=name, value=value, limits=limits,
                 verdict=verdict)  # fmt: skip


def readings() -> Readings:
    """One white."""
    return Readings(
        encoding=ENCODINGS["rgb-10-full"],
        codes=np.array([[1023, 1023, 1023]]),
        xyz=np.array([[95.0, 100.0, 108.9]]),
        position=("centre",),
        window=np.array([np.nan]),
        pattern=("",),
        background=("",),
        seconds=np.zeros(1),
        deviation=np.array([np.nan]),
        lines=(2,),
        file="slot.csv",
        data=b"",
        sha256="0" * 64,
    )


def rule(id: str = "sdr-broadcast") -> Rule:
    """A rule without requirements."""
    return Rule(
        id=id,
        title="Master for broadcast",
        revision=3,
        valid_days=30,
        target=Target(
            primaries=BT709,
            primaries_name="bt709",
            white=D65,
            white_name="d65",
            curve="bt1886",
            exponent=None,
            black="lift",
            black_level=None,
            scale="relative",
            luminance_white=100,
            luminance_peak=100,
            container=BT709,
            container_name="bt709",
            system_gamma=None,
        ),
        encoding=ENCODINGS["rgb-10-full"],
        window=100,
        decision=Decision(),
        sets={},
        requirements=(),
        resolved={},
        digest="0" * 64,
        files=(),
    )


ENTRY = ReadingsEntry(Path("slot.csv"), "slot.csv", MEASURED, ENCODINGS["rgb-10-full"])


def job(slot: str = "1", reference: str = "KX-7") -> Job:
    """A job with one slot."""
    return Job(
        reference=reference,
        title="A film about kelp",
        client=None,
        facility=None,
        suite="suite-9",
        room=Room(),
        people=People(),
        slots=(Slot(slot, ("sdr-broadcast",), Display(), None, before=ENTRY, readings=ENTRY),),
        file=Path("job.yaml"),
        document={},
    )


def state(
    findings: Findings,
    verdict: Outcome = Outcome.COMPLIANT,
    reason: Reason | None = None,
    conditional: bool = False,
    remarks: tuple[Remark, ...] = (),
    *,
    measurement: Measurement | None = None,
) -> GradedReadings:
    """A state with these findings."""
    return GradedReadings(
        measurement or Measurement(rule(), readings(), job=job()),
        verdict,
        reason,
        conditional,
        tuple(findings),
        remarks,
    )


def assessment(
    findings: Findings,
    verdict: Outcome = Outcome.COMPLIANT,
    *,
    slot: str | None = "1",
    deliverable: str = "sdr-broadcast",
    before: GradedReadings | None = None,
    heading: str = "calibrated",
    **fields: Any,
) -> Assessment:
    """An assessment with these findings."""
    only_before = heading == "before"
    measurement = Measurement(
        rule(deliverable),
        None if only_before else readings(),
        before=readings() if only_before else None,
        job=job(slot) if slot else None,
    )
    return Assessment(
        number=f"KX-7-{slot}-{deliverable}-0a1b2c3d",
        assessed=NOW,
        valid_until=datetime(2026, 12, 20, 15, 10, tzinfo=UTC),
        seed=0,
        draws=0,
        state=state(findings, verdict, measurement=measurement, **fields),
        before=before,
    )


@pytest.fixture
def make() -> ModuleType:
    """The makers above."""
    return sys.modules[__name__]


Run = Callable[..., subprocess.CompletedProcess[str]]
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def compliance(tmp_path: Path) -> Run:
    """The command, called here in a folder of its own: `compliance("assess", …, env={…})`."""

    def run(*args: str | Path, **options: Any) -> subprocess.CompletedProcess[str]:
        return commands.call(*args, **{"cwd": tmp_path, **options})

    return run


@pytest.fixture
def process(tmp_path: Path) -> Run:
    """The same as a process, for what only a process can show; options are `subprocess.run`'s."""

    def run(
        *args: str | Path, env: dict[str, str | None] | None = None, **options: Any
    ) -> subprocess.CompletedProcess[str]:
        changes = {"PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "error", **(env or {})}
        settings = {**os.environ, **commands.without_own_settings(), **changes}
        stated = {"cwd": tmp_path, "capture_output": True, "text": True, "timeout": 600}
        return subprocess.run(
            [sys.executable, "-m", "compliance.cli", *map(str, args)],
            env={key: value for key, value in settings.items() if value is not None},
            **{**stated, **options},
        )

    return run


@pytest.fixture
def ended() -> Callable[[subprocess.Popen[Any]], int]:
    """The exit code of a process that has ten minutes left, and is ended then."""

    def wait(process: subprocess.Popen[Any]) -> int:
        try:
            return process.wait(600)
        except subprocess.TimeoutExpired:
            process.kill()
            raise

    return wait


@pytest.fixture
def desk(tmp_path: Path) -> Callable[..., Path]:
    """Writes a rule, readings and a job of the named slots: `desk("good", …) -> job.yaml`."""
    return partial(write_desk, tmp_path)
