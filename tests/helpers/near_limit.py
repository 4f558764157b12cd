"""An invented slot that misses two limits of a small rule, and its client's deviations."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from compliance.assessment import assess
from compliance.documents import assessment_document, statement
from compliance.evidence.deviation_file import Acceptance, new_deviation, read_deviation
from compliance.job_file import job_from_document
from compliance.model import Assessment, Deviation, Measurement, Rule
from compliance.model.stated import StatedAssessment
from compliance.readings.load import readings_from_bytes
from compliance.rules.library import load_rule, rule_from_resolved
from compliance.sheet.make_sheet import write_sheet
from compliance.signing.keys import Identity
from helpers.signing import SIGNED, identity

ACCEPTED = datetime(2026, 11, 20, 18, 0, tzinfo=UTC)
AGAIN = datetime(2026, 11, 21, 9, 0, tzinfo=UTC)
UNTIL = date(2026, 12, 10)
COLOURED = (100.0, 112.5, 117.0)
"""Of the white, X, Y, Z in cd/m²."""


@cache
def rule(white: float = 105.0) -> Rule:
    """A rule with limits on the white's luminance and colour, on the black, and one should."""
    text = f"""\
rule: tiny
title: A rule of four requirements
revision: 1
valid_for: {{days: 30}}
target:
  primaries: bt709
  white: d65
  transfer: {{curve: srgb}}
  luminance: {{white: 100}}
signal: {{encoding: rgb-8-full}}
window: 100
defaults: {{level: shall, basis: practice}}
requirements:
  white-level: {{title: White luminance, quantity: luminance, over: white, limits: {{min: 95, max: {white}}}}}
  white-colour: {{title: White, quantity: chromaticity, over: white, limits: {{box: [0.002, 0.002]}}}}
  black-level: {{title: Black luminance, quantity: luminance, over: black, limits: {{max: 0.5}}}}
  black-floor: {{title: Black floor, quantity: luminance, over: black, limits: {{min: 0.2}}, level: should}}
"""  # noqa: E501
    with TemporaryDirectory() as folder:
        place = Path(folder, "tiny.yaml")
        place.write_text(text)
        found = load_rule(place)
    return rule_from_resolved(found.resolved, found.files)


def job(
    slot: str = "1", reference: str = "KX-7", serial: str | None = "S-1", people: Any = None
) -> Any:
    """A job with one slot, as plain data."""
    display = {"make": "Invented", "model": "D-1", **({"serial": serial} if serial else {})}
    return {
        "job": reference,
        "title": "A film about kelp",
        "client": {"name": "Tidal Pictures"},
        "facility": {"name": "Low House"},
        **({"people": people} if people else {}),
        "display": display,
        "encoding": "rgb-8-full",
        "slots": [
            {
                "slot": slot,
                "deliverable": "tiny",
                "settings": {"preset": "user-1", "backlight": "25"},
                "readings": {"file": "slot.csv", "measured": "2026-11-20T15:10:00Z"},
            }
        ],
    }


def readings(white: Sequence[float] = COLOURED, black: float = 0.1) -> bytes:
    """A white that is too bright and off in colour, and a black."""
    x, y, z = white
    rows = [f"255,255,255,{x},{y},{z}", f"0,0,0,{black * 0.95},{black},{black * 1.09}"]
    return "\n".join(["r,g,b,X,Y,Z", *rows, ""]).encode()


def assessment(
    deviations: Sequence[Deviation] = (),
    *,
    white: Sequence[float] = COLOURED,
    now: datetime = SIGNED,
    limit: float = 105.0,
    **changed: Any,
) -> Assessment:
    """The assessment of the slot; `changed` is a change of the job."""
    named = rule(limit)
    return assess(
        Measurement(
            named,
            readings_from_bytes(readings(white), "slot.csv", named.encoding),
            job=job_from_document(job(**changed), "job.yaml"),
            deviations=tuple(deviations),
        ),
        now=now,
    )


def client() -> Identity:
    """The client's identity."""
    return identity("Cleo Client")


def document(found: Assessment | None = None) -> dict[str, Any]:
    """The assessment's document, read back from JSON."""
    plain: dict[str, Any] = json.loads(json.dumps(assessment_document(found or assessment())))
    return plain


def file(
    requirement: str = "white-level",
    *,
    of: StatedAssessment | None = None,
    who: Identity | None = None,
    until: date = UNTIL,
    accepted: datetime = ACCEPTED,
    up_to: float | None = None,
) -> bytes:
    """A deviation file for one requirement."""
    reason = "only for the offline edit"
    acceptance = Acceptance(reason, "Cleo Client", accepted, until, up_to)
    return new_deviation(of or statement(assessment()), requirement, acceptance, who or client())


def deviation(requirement: str = "white-level", **given: Any) -> Deviation:
    """A deviation for one requirement."""
    return read_deviation(file(requirement, **given), f"{requirement}.json")[0]


@cache
def both() -> tuple[Deviation, Deviation]:
    """Deviations for everything that the slot misses."""
    return deviation("white-level"), deviation("white-colour")


@cache
def sheet(accepted: bool = False) -> bytes:
    """The slot's signed sheet, optionally with its client's deviations."""
    if accepted:
        return write_sheet(assessment(both(), now=AGAIN), identity=identity())
    return write_sheet(assessment(), identity=identity())
