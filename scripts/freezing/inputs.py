"""Make the inputs of the calls: the demo, a job for every rule, house rules, keys, sheets.

Only recording does this. It takes displays and wrong files from the helpers of the tests, and
calls the command for the rest.
"""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from importlib import import_module
from pathlib import Path
from typing import Any

import yaml

from freezing import displays
from freezing.calls import DEMO_MISSED, DEMO_NOW, LATER, NOW, RuleJob
from freezing.cases import Call, Case
from freezing.catalogue import all_cases
from freezing.mistakes import mistakes
from freezing.running import Stage, commit_all, import_all, run

__all__ = ["make_inputs"]

KINDS = ("lcd", "oled", "led", "crt", "plasma")
RGB_ENCODINGS = ("rgb-10-narrow", "rgb-12-full", "rgb-10-full", "rgb-12-narrow", "rgb-8-full")
METERS = ("meters/filter-colorimeter.yaml", "meters/spectroradiometer.yaml")
PASSWORD = "for everybody to see"


def make_inputs(stage: Stage, checkout: Path) -> list[Case]:
    """Fill the stage's inputs; returns the cases that use them."""
    import_all(stage.code)
    tests = checkout / "tests"
    sys.path[1:1] = [str(tests), *(str(each) for each in tests.iterdir() if each.is_dir())]
    maker = Maker(stage, checkout)
    maker.demo()
    maker.keys()
    maker.stamped()
    jobs = [maker.rule_job(number, rule) for number, rule in enumerate(shipped_rules())]
    maker.repository()
    jobs = maker.sheets(jobs)
    return all_cases(jobs, mistakes(stage.inputs))


def shipped_rules() -> list[Any]:
    """The rules of the package."""
    rules = import_module("compliance.rules.library")
    return [rules.load_rule(name) for name in rules.shipped_rules()]


class Maker:
    """Make inputs in one folder."""

    def __init__(self, stage: Stage, checkout: Path) -> None:
        self.stage, self.checkout, self.inputs = stage, checkout, stage.inputs
        self.inputs.mkdir()

    def call(self, *args: str) -> int:
        """Call the command in the folder of inputs; raises if the call fails."""
        done = run(Call(args), self.inputs, notes=self.stage.root / "making.x")
        if done.code not in (0, 1, 3):
            raise RuntimeError(f"{' '.join(args)}: {done.code}\n{done.stderr.decode()}")
        return done.code

    def write(self, name: str, text: str | bytes) -> None:
        """A file below the inputs."""
        place = self.inputs / name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(text.encode() if isinstance(text, str) else text)

    def demo(self) -> None:
        """The demo, and the files of earlier versions."""
        without = shutil.ignore_patterns("out", "__pycache__")
        shutil.copytree(self.checkout / "demo", self.inputs / "demo", ignore=without)
        shutil.copytree(self.checkout / "tests" / "golden", self.inputs / "golden")

    def keys(self) -> None:
        """Identities of a facility and of clients: self-issued, of an authority, with RSA."""
        self.write("keys/password", PASSWORD + "\n")
        for name, stem in (("Bram Osterley", "facility"), ("Odile Farrowmere", "client")):
            self.call(
                *("identity", "new", "--name", name, "--organisation", f"Of the {stem}"),
                *("--email", f"{stem}@example.org", "--out", f"keys/{stem}.p12"),
                *("--password-file", "keys/password", "--now", "2026-11-01T08:00:00Z"),
            )
        authorities = import_module("helpers.authorities")
        for stem, holder in (("issued", authorities.leaf()), ("rsa", authorities.signed_by_rsa())):
            self.write(f"keys/{stem}.key", holder.key_file())
            self.write(f"keys/{stem}-chain.pem", holder.chain)
        self.write("keys/root.pem", authorities.root().pem)
        (self.inputs / "keys/issued.key").chmod(0o600)  # the other one is warned about

    def stamped(self) -> None:
        """A sheet and a deviation with time stamps of the tests' own clock."""
        clock, sheet, documents, deviations, demo = map(
            import_module,
            (
                "helpers.authorities",
                "compliance.sheet.make_sheet",
                "compliance.documents",
                "compliance.evidence.deviation_file",
                "helpers.demo_slots",
            ),
        )
        identity, times = clock.leaf().identity, (NOW, LATER)
        now, later = (datetime.fromisoformat(each) for each in times)
        assessed = demo.assessed("3", now=now)
        made = sheet.write_sheet(assessed, identity=identity, stamper=clock.Within(now))
        acceptance = deviations.Acceptance("for the offline edit", "Ada", later, later.date())
        stated = documents.statement(assessed)
        accepted = deviations.new_deviation(
            stated, DEMO_MISSED[0], acceptance, identity, stamper=clock.Within(later)
        )
        self.write("sheets/stamped/stamped.pdf", made)
        self.write("deviations/stamped.json", accepted)
        self.write("keys/clock.pem", clock.clock().root.pem)

    # ------------------------------------------------------------ a job for a rule

    def rule_job(self, number: int, rule: Any) -> RuleJob:
        """A job of five slots, a house rule, and readings in several formats."""
        folder = f"jobs/{rule.id}"
        house = f"house-{rule.id}"
        self.write(f"{folder}/rules/{house}.yaml", house_rule(number, rule))
        for meter in METERS:
            self.write(f"{folder}/{meter}", (self.inputs / "demo" / meter).read_bytes())
        entries = {
            name: self.readings(folder, name, number, encoding, text)
            for name, encoding, text in session(number, rule)
        }
        self.write(f"{folder}/job.yaml", in_yaml(job(number, rule, house, entries)))
        return RuleJob(rule.id, number, house, entries["good"]["file"], rule.encoding.name)

    def readings(
        self, folder: str, name: str, number: int, encoding: str, text: str
    ) -> dict[str, str]:
        """Write readings, in varying formats; returns their entry in a job."""
        file = f"readings/{name}.csv"
        formats = {("bad", 1): "txt", ("bad", 2): "cxf", ("missing", 3): "cxf"}
        if (name, number % 4) == ("missing", 0) or (name, number) == ("good", 9):
            text = displays.spectral(text)
        self.write(f"{folder}/{file}", text)
        if end := formats.get((name, number % 4)):
            other = f"readings/{name}.{end}"
            self.call(
                *("convert", f"{folder}/{file}", f"{folder}/{other}"),
                *("--encoding", encoding, "--now", NOW),
            )
            file = other
        return {"file": file, "measured": "2026-11-20T11:00:00Z", "encoding": encoding}

    # ------------------------------------------------------------ what others left

    def repository(self) -> None:
        """A repository of house rules at two revisions, and a change that is not committed."""
        folder = self.inputs / "repository"
        shutil.copytree(self.checkout / "demo" / "house-rules", folder)
        self.write("repository/.compliance.yaml", "specs: [rules]\n")
        self.write("repository/job.yaml", in_yaml(repository_job()))
        shutil.copytree(self.inputs / "demo" / "readings", folder / "readings")
        commit_all(folder, ".")
        rule = folder / "rules" / "vellumfish-broadcast.yaml"
        text = rule.read_text()
        rule.write_text(text.replace("{max: 0.05}", "{max: 0.08}").replace("n: 1", "n: 2", 1))
        commit_all(folder, ".", again=True)
        rule.write_text(rule.read_text().replace("days: 14", "days: 21"))

    def sheets(self, jobs: list[RuleJob]) -> list[RuleJob]:
        """Sheets and documents of the demo and of some jobs, deliveries, deviations of all jobs."""
        key = ("--identity", "keys/facility.p12", "--password-file", "keys/password")
        self.call("assess", "demo/job.yaml", "--out", "sheets/demo", *key, "--now", DEMO_NOW)
        for each in jobs:
            slots = tuple(word for slot in each.documents for word in ("--slot", slot))
            self.call(
                *("assess", f"jobs/{each.rule}/job.yaml", "--out", f"documents/{each.rule}"),
                *(*slots, "--no-sheet", "--now", NOW),
            )
        for each in jobs[::3]:
            self.call(
                *("assess", f"jobs/{each.rule}/job.yaml", "--out", f"sheets/{each.rule}"),
                *("--slot", "moved", *key, "--now", NOW),
            )
        for sheets, packed in (("demo", "demo"), ("web-srgb", "small")):
            for end in ("", ".zip"):
                place = f"deliveries/{packed}{end}"
                self.call("deliver", f"sheets/{sheets}", "--out", place, *key, "--now", NOW)
        document = "sheets/demo/MV-0417-3-hdr-pq-1000.json"
        self.accept(document, "demo", DEMO_MISSED[:1], "keys/rsa")
        self.accept(document, "demo", DEMO_MISSED[1:], "keys/client")
        return [replace(each, accepted=self.accepted(each)) for each in jobs]

    def accepted(self, job: RuleJob) -> tuple[str, ...]:
        """The client's deviations for the bad slot: the first value, or with some jobs all."""
        document = f"documents/{job.rule}/T-{job.number}-bad-{job.rule}.json"
        missed = tuple(missed_by(json.loads((self.inputs / document).read_text())))
        return self.accept(document, job.rule, missed if job.number % 2 else missed[:1])

    def accept(
        self, document: str, name: str, missed: tuple[str, ...], key: str = "keys/client"
    ) -> tuple[str, ...]:
        """Make a deviation for each requirement that a document misses; returns their files."""
        signs = {
            "keys/client": ("--identity", f"{key}.p12", "--password-file", "keys/password"),
            "keys/rsa": ("--identity", f"{key}.key", "--chain", f"{key}-chain.pem"),
        }[key]
        files = tuple(f"deviations/{name}/{requirement}.json" for requirement in missed)
        for requirement, file in zip(missed, files, strict=True):
            self.call(
                *("deviation", "new", document, "--requirement", requirement),
                *("--reason", "for the offline edit only", "--accepted-by", "Odile Farrowmere"),
                *("--until", "2026-12-31", "--now", NOW, "--out", file, *signs),
            )
        return files


def missed_by(document: Any) -> Iterator[str]:
    """Ids of the missed requirements in an assessment's document."""
    for finding in document["findings"]:
        if finding["verdict"] == "fail" and finding["level"] == "shall":
            yield finding["id"]


def session(number: int, rule: Any) -> Iterator[tuple[str, str, str]]:
    """Name, encoding and readings as CSV of each of a job's sessions."""
    own = rule.encoding.name
    other = own if rule.encoding.kind == "xyz" else RGB_ENCODINGS[number % len(RGB_ENCODINGS)]
    well = displays.good(rule, 100 + number)
    yield "good", own, displays.with_deviations(well) if number % 3 == 0 else well
    yield "bad", own, displays.bad(rule, number)
    yield "missing", own, displays.without_some(displays.good(rule, 200 + number))
    yield "before", own, displays.worse(rule, number)
    yield "moved", other, displays.good(rule, 300 + number, other)
    yield "house", own, displays.bad(rule, 5 * number + 2)


def job(number: int, rule: Any, house: str, entries: dict[str, dict[str, str]]) -> dict[str, Any]:
    """The job file."""
    shipped = import_module("helpers.shipped")
    says, declares = shipped.recorded(rule), shipped.declared(rule)
    meant = shipped.technology(rule)
    kind = meant if meant == "projector" else KINDS[number % len(KINDS)]
    display = {
        "make": "Invented", "model": f"D-{number}", "serial": f"D-{number}-0007",
        "technology": kind, "hours": says.get("hours", 1000 + number),
    }  # fmt: skip
    declared = {
        name: {"value": value, "by": "Noor Reed", "date": "2026-11-20"}
        for name, value in declares.items()
    }
    common: dict[str, Any] = {"deliverable": rule.id, "declared": declared or None}
    bad_room = {"surround": 40.0, "ambient": 300}
    well = {key: says[key] for key in ("surround", "ambient") if key in says}
    slots: list[dict[str, Any]] = [
        {"slot": "good", **common, "warm_up": says.get("warm-up", 45), "readings": entries["good"]},
        {
            "slot": "bad", **common, "calibrated": "2026-11-20T09:00:00Z",
            "settings": {"preset": "user-1", "gamma": "2.2"}, "readings": entries["bad"],
            "display": {"serial": "B-1", "technology": shipped.technologies(rule)[-1]},
        },
        {"slot": "missing", "deliverable": rule.id, "readings": entries["missing"]},
        {
            "slot": "moved", **common, "calibrated": "2026-11-20T10:30:00Z", "warm_up": 60,
            "before": {**entries["before"], "measured": "2026-11-20T08:00:00Z"},
            "readings": {**entries["moved"], "ambient": "off", "geometry": "contact"},
            "meter": METERS[(number + 1) % 2],
        },
        {
            "slot": "house", **common, "deliverable": [f"rules/{house}.yaml"],
            "readings": entries["house"],
        },
    ]  # fmt: skip
    return {
        "job": f"T-{number}",
        "title": None if number % 4 == 3 else f"A river documentary, part {number}",
        "client": {"name": "Low Tide Films", "contact": "Ada Marsh"} if number % 2 else None,
        "facility": {"name": "Sandbar Post", "address": "1 Quay Street"} if number % 3 else None,
        "suite": {"id": f"suite-{number}", "room": well or (bad_room if number % 2 else None)},
        "display": display,
        "encoding": rule.encoding.name,
        "meter": (*METERS, None)[number % 3],
        "people": {"measured_by": "Noor Reed"} if number % 5 else None,
        "slots": slots,
    }


def repository_job() -> dict[str, Any]:
    """A job in the repository, by its rule's id."""
    entry = {"measured": "2026-11-20T09:40:00Z", "file": "readings/slot-1.csv"}
    slot = {"slot": 1, "deliverable": "vellumfish-broadcast", "readings": entry}
    return {"job": "R-1", "encoding": "rgb-10-narrow", "slots": [slot]}


def in_yaml(value: Any) -> str:
    """The data as YAML, without None and empty values."""
    return yaml.safe_dump(_stated(value), sort_keys=False, allow_unicode=True)


def _stated(value: Any) -> Any:
    if isinstance(value, dict):
        stated = {key: _stated(part) for key, part in value.items()}
        return {key: part for key, part in stated.items() if part not in (None, {}, [])}
    return [_stated(part) for part in value] if isinstance(value, list | tuple) else value


# ---------------------------------------------------------------- house rules


CHANGE = {"reason": "older panel in suite 2", "agreed_by": "Ada Marsh", "date": "2026-11-02"}


def house_rule(number: int, rule: Any) -> str:
    """A rule that loosens, tightens and withdraws a requirement of its parent."""
    plain = [one for one in rule.requirements if one.limits is not None and not one.bands]
    loosened, tightened, withdrawn = plain[number % 2], plain[2 + number % 2], plain[-1]
    document: dict[str, Any] = {
        "rule": f"house-{rule.id}",
        "title": f"{rule.title}, house",
        "revision": 2,
        "extends": f"{rule.id}@{rule.revision}",
        "requirements": {
            loosened.id: {"limits": scaled(loosened.limits, 1.6), "change": CHANGE},
            tightened.id: {"limits": scaled(tightened.limits, 0.8)},
            withdrawn.id: {"withdraw": True, "change": CHANGE},
        },
    }
    if number % 2:
        document["decision"] = {"acceptance": "guarded"}
    if number % 3 == 1:
        document["valid_for"] = {"days": 10}
    return in_yaml(document)


def scaled(limits: Any, factor: float) -> dict[str, Any]:
    """Limits with their distance multiplied by about `factor`."""
    if limits.box is not None:
        return {"box": [round(side * factor, 5) for side in limits.box]}
    low, high = limits.minimum, limits.maximum
    if low is not None and high is not None:
        middle, half = (low + high) / 2, (high - low) / 2 * factor
        return {"min": round(middle - half, 5), "max": round(middle + half, 5)}
    ends = {"min": (low, 1 / factor), "max": (high, factor)}
    stated = {name: round(end * by, 6) for name, (end, by) in ends.items() if end is not None}
    return {**stated, **({"exclusive": True} if limits.exclusive else {})}
