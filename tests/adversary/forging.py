"""What a forger does: a program with changed insides, and files put together by hand.

Nothing here asks the program's own checks whether it may: evidence is mended with correct digests
and numbers, pages are drawn of whatever is to be believed, and both are signed with a real key.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from io import BytesIO
from pathlib import Path
from subprocess import CompletedProcess
from typing import Any
from unittest.mock import patch

import pikepdf
from helpers.commands import call
from helpers.shipped import shipped_rule
from helpers.signing import MADE, PASSWORD, SIGNED, identity
from helpers.simulated import clipped, csv, ideal

from compliance.assessment import assess
from compliance.delivery.build import build_delivery, sign_delivery
from compliance.delivery.contents import packed_sheet
from compliance.documents import statement
from compliance.evidence.deviation_file import Acceptance, new_deviation, read_deviation
from compliance.evidence.recompute import attachments
from compliance.job_file import job_from_document
from compliance.model import Assessment, Finding, Measurement, Meter, Outcome, Rule, Verdict
from compliance.plain_data import digest
from compliance.readings.load import readings_from_bytes
from compliance.rules.library import load_rule_with_locations, shipped_folder
from compliance.sheet.layout import draw_sheet
from compliance.sheet.make_sheet import DEVIATION, KINDS, draw_stamp, fields_of
from compliance.sheet.pdfa import archival
from compliance.signing.keys import Identity, load_identity, new_identity
from compliance.signing.sign import COUNTER_FIELD, FACILITY_FIELD, Box, sign
from compliance.signing.timestamps import Stamper
from compliance.verification import verify_sheet

RULE = "hdr-pq-1000"
PEAK = 600.0
"""cd/m² at which the display of the failing slot stops."""
NOW = datetime(2026, 11, 22, 9, 0, tzinfo=UTC)
"""When the client verifies."""

HOUR = timedelta(hours=1)

Files = dict[str, bytes]
Change = Callable[[pikepdf.Pdf], None]


# ---------------------------------------------------------------- what was measured


def job(rule: str = RULE, slot: str = "3", **changed: Any) -> dict[str, Any]:
    """The job, with one slot."""
    return {
        "job": "QX-9",
        "title": "A film about kelp",
        "client": {"name": "Tidal Pictures"},
        "facility": {"name": "Low House"},
        "suite": {"id": "suite-9", "room": {"surround": 4.0, "ambient": 6}},
        "display": {"make": "Invented", "model": "D-1", "serial": "7", "technology": "oled"},
        "encoding": "rgb-10-full",
        "slots": [
            {
                "slot": slot,
                "deliverable": rule,
                "calibrated": "2026-11-20T09:00:00Z",
                "warm_up": 60,
                "readings": {"file": "readings.csv", "measured": "2026-11-20T10:00:00Z"},
            }
        ],
        **changed,
    }


@cache
def shown(peak: float | None) -> bytes:
    """The readings of a good display, or of one that stops at `peak` cd/m²."""
    rule = shipped_rule(RULE)
    fault = clipped(peak) if peak else None
    return csv(
        ideal(rule, white=100, black=0.001, **({"fault": fault} if fault else {})), rule.encoding
    )


def assessed(
    peak: float | None = PEAK,
    *,
    rule: Rule | None = None,
    meter: Meter | None = None,
    now: datetime = SIGNED,
    **changed: Any,
) -> Assessment:
    """A slot assessed by the program as it is; by default the slot fails."""
    rule = rule or shipped_rule(RULE)
    return assess(
        Measurement(
            rule,
            readings_from_bytes(shown(peak), "readings.csv", rule.encoding),
            job=job_from_document(job(rule.id, **changed), "job.yaml"),
            meter=meter,
        ),
        now=now,
    )


@cache
def failing() -> Assessment:
    """The slot that stops at 600 cd/m²: four requirements fail."""
    return assessed()


@cache
def passing() -> Assessment:
    """The slot that keeps its limits."""
    return assessed(None)


# ---------------------------------------------------------------- evidence


def evidence(assessment: Assessment) -> Files:
    """The files attached to its sheet."""
    return dict(attachments(assessment))


def stated(files: Mapping[str, bytes]) -> dict[str, Any]:
    """The assessment document among them."""
    found: dict[str, Any] = json.loads(files["assessment.json"])
    return found


def mended(files: Files, change: Callable[[dict[str, Any]], None] = lambda _: None) -> Files:
    """The evidence with that change of the document, and with digests and a number that fit."""
    document = stated(files)
    change(document)
    document["readings"]["sha256"] = hashlib.sha256(files["readings.csv"]).hexdigest()
    for name in ("rule", "job", "meter"):
        if f"{name}.json" in files:
            document[name]["digest"] = digest(json.loads(files[f"{name}.json"]))
    document.pop("number")
    job, slot, rule = (
        document[part][key]
        for part, key in (("job", "reference"), ("slot", "slot"), ("rule", "id"))
    )
    document["number"] = f"{job}-{slot}-{rule}-{digest(document)[:32]}"
    return {**files, "assessment.json": json.dumps(document, ensure_ascii=False).encode()}


def calling_it_compliant(document: dict[str, Any]) -> None:
    """The verdict that the facility wants; findings stay."""
    document.update(verdict="compliant", reason=None, conditional=True, causes=[])


def without_failures(document: dict[str, Any]) -> None:
    """The same, and what failed is left out."""
    calling_it_compliant(document)
    document["findings"] = [
        each for each in document["findings"] if each["verdict"] not in ("fail", "conditional-fail")
    ]


def painted_compliant(assessment: Assessment) -> Assessment:
    """The assessment as its pages are to look: nothing failed."""
    kept = tuple(map(_passed, assessment.state.findings))
    state = replace(
        assessment.state, verdict=Outcome.COMPLIANT, reason=None, findings=kept, causes=()
    )
    return replace(assessment, state=state)


def _passed(finding: Finding) -> Finding:
    return (
        finding if finding.verdict is not Verdict.FAIL else replace(finding, verdict=Verdict.PASS)
    )


# ---------------------------------------------------------------- rules of the facility's own


def edited_rule(folder: Path, name: str, *changes: tuple[str, str]) -> Rule:
    """A shipped rule after a visit of a text editor to the program's own folder of rules."""
    specs = folder / "specs"
    if not specs.exists():
        shutil.copytree(shipped_folder(), specs)
    plain, _, revision = name.partition("@")
    file = specs / (f"archive/{name}/{plain}.yaml" if revision else f"{name}.yaml")
    text = file.read_text("utf-8")
    for before, after in changes:
        assert before in text, before
        text = text.replace(before, after)
    file.write_text(text, "utf-8")
    return load_rule_with_locations(name, shipped=specs)[0]


def own_rule(folder: Path, name: str, text: str) -> Rule:
    """A rule of the facility, from a file."""
    file = folder / f"{name}.yaml"
    file.write_text(text, "utf-8")
    return load_rule_with_locations(file)[0]


# ---------------------------------------------------------------- sheets


@dataclass(frozen=True, slots=True)
class Unsigned:
    """A drawn and archival sheet, with the places of its two signatures."""

    pdf: bytes
    boxes: Mapping[str, tuple[float, ...]]
    number: str


def drawn(
    assessment: Assessment,
    files: Mapping[str, bytes] | None = None,
    pages: Assessment | None = None,
) -> Unsigned:
    """A sheet of these files with pages that may say something else."""
    files = evidence(assessment) if files is None else files
    number = stated(files)["number"]
    drawing = draw_sheet(replace(pages or assessment, number=number), page="a4", signed=True)
    rule = assessment.rule
    pdf = archival(
        drawing.pdf,
        title=f"{rule.title}: {number}",
        subject=f"Compliance sheet {number}, rule {rule.id} revision {rule.revision}",
        author="Low House",
        attachments={name: (data, *KINDS.get(name, DEVIATION)) for name, data in files.items()},
        created=assessment.assessed,
        structure=drawing.structure,
        fields=fields_of(drawing),
    )
    return Unsigned(pdf, drawing.boxes, number)


def changed(pdf: bytes, change: Change) -> bytes:
    """The file written again with a change, in the program's own manner."""
    out = BytesIO()
    with pikepdf.Pdf.open(BytesIO(pdf)) as document:
        change(document)
        document.save(
            out,
            deterministic_id=True,
            fix_metadata_version=False,
            force_version="1.7",
            object_stream_mode=pikepdf.ObjectStreamMode.disable,
            recompress_flate=False,
        )
    return out.getvalue()


def sealed(
    sheet: Unsigned,
    change: Change | None = None,
    *,
    who: Identity | None = None,
    when: datetime = SIGNED,
    appearance: bytes | None = None,
    stamper: Stamper | None = None,
) -> bytes:
    """The sheet with a change of the facility's, signed by the facility: the signature is real."""
    who = who or identity()
    box = Box(*sheet.boxes[FACILITY_FIELD])
    x0, y0, x1, y1 = box.corners
    return sign(
        changed(sheet.pdf, change) if change else sheet.pdf,
        who,
        when=when,
        box=box,
        counter_box=Box(*sheet.boxes[COUNTER_FIELD]),
        appearance=appearance or draw_stamp(who.signer, when, width=x1 - x0, height=y1 - y0),
        reason=f"Assessment {sheet.number}",
        location="Low House",
        stamper=stamper,
    )


# ---------------------------------------------------------------- what the client does


@dataclass(frozen=True, slots=True)
class Desk:
    """The client's desk: the certificates that the client has, and a folder for what arrives."""

    folder: Path

    def __post_init__(self) -> None:
        (self.folder / "facility.pem").write_bytes(identity().pem)
        (self.folder / "client.pem").write_bytes(identity("Cleo Client").pem)

    def verify(
        self, what: bytes | Path, *options: str | Path, now: datetime = NOW
    ) -> CompletedProcess[str]:
        """`compliance verify` as an honest client calls it."""
        if isinstance(what, bytes):
            place = self.folder / "sheet.pdf"
            place.write_bytes(what)
        else:
            place = what
        trust = ("--trust", "facility.pem", "--client-trust", "client.pem")
        at = ("--now", now.isoformat())
        return call("verify", place, *trust, *at, *options, cwd=self.folder)


def words(found: CompletedProcess[str]) -> str:
    """What was printed, on one line."""
    return " ".join((found.stdout + found.stderr).split())


def refused(found: CompletedProcess[str], line: str, code: int = 1) -> None:
    """The exit code, and the line that says why; never a verdict that a reader could rely on."""
    said = words(found)
    assert found.returncode == code, said
    assert line in said, said
    assert "Traceback" not in said
    if code == 1:
        assert "Not valid" in said, said


# ---------------------------------------------------------------- what is handed over


@cache
def honest() -> bytes:
    """The sheet of the slot that keeps its limits."""
    return sealed(drawn(passing()))


@cache
def failing_sheet() -> bytes:
    """The honest sheet of the slot that fails."""
    return sealed(drawn(failing()))


@cache
def other_sheet() -> bytes:
    """The honest sheet of another slot that keeps its limits."""
    return sealed(drawn(assessed(None, slot="4")))


@cache
def _delivery() -> Mapping[str, bytes]:
    trust = {"trust": (identity().pem,), "client_trust": (identity("Cleo Client").pem,)}
    packed = [
        packed_sheet(name, data, verify_sheet(data, **trust))
        for name, data in (("three", failing_sheet()), ("seven", other_sheet()))
    ]
    return sign_delivery(build_delivery(packed), identity(), SIGNED)


def delivery() -> Files:
    """A delivery of a sheet that fails and one that passes, signed as a whole."""
    return dict(_delivery())


# ---------------------------------------------------------------- people, and what they accept


@cache
def person(name: str, organisation: str) -> Identity:
    """Somebody with a self-issued certificate of that name."""
    return load_identity(new_identity(name, organisation, "x@y.example", PASSWORD, MADE), PASSWORD)


def accepted(who: Identity, of: Assessment | None = None, **changed: Any) -> bytes:
    """A deviation for the failing slot's peak, signed by somebody in the client's name."""
    given = {"accepted": SIGNED + HOUR, "until": date(2026, 12, 10), **changed}
    acceptance = Acceptance("only for the offline edit", "Cleo Client", **given)
    return new_deviation(statement(of or failing()), "peak-level", acceptance, who)


def sheet_with(data: bytes, now: datetime = SIGNED + 2 * HOUR) -> bytes:
    """The failing slot's sheet with a deviation that the facility does not check."""
    deviation = read_deviation(data, "peak.json")[0]
    measurement = replace(failing().state.measurement, deviations=(deviation,))
    with patch("compliance.assessment.check_deviations", lambda given, *_: (given.deviations, ())):
        slot = assess(measurement, now=now)
    return sealed(drawn(slot), when=now)
