"""Wrong files and wrong calls, for their messages."""

from __future__ import annotations

import io
import shutil
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pikepdf

from freezing.calls import CLIENT, DEMO, DEMO_SHEETS, FACILITY, IN, KEYS, NOW, PASSWORD, TRUST
from freezing.cases import Call, Case

__all__ = ["mistakes"]

GROUP = 25
"""Wrong files in one case."""


def mistakes(inputs: Path) -> Iterator[Case]:
    """Write wrong files below the inputs; yields the cases that read them, and wrong calls."""
    wrong = inputs / "wrong"
    yield from grouped("wrong/rules", wrong_rules(wrong / "rules"))
    yield from grouped("wrong/jobs", wrong_jobs(wrong / "jobs"))
    yield from grouped("wrong/meters", wrong_meters(wrong / "meters"))
    yield from grouped("wrong/readings", wrong_readings(wrong / "readings"))
    yield from grouped("wrong/sheets", broken_sheets(inputs, wrong / "sheets"), 2)
    yield from grouped("wrong/deliveries", broken_deliveries(inputs, wrong / "deliveries"), 1)
    yield from grouped("wrong/deviations", broken_deviations(inputs, wrong / "deviations"))
    for number, each in enumerate(wrong_calls()):
        quick = not {*each.args} & {"deliver", "countersign", *FACILITY[:2]}
        yield Case(f"wrong/calls/{number:02}-{each.args[0]}", (each,), quick=quick)
    yield existing_files()


def grouped(name: str, calls: Iterator[Call], size: int = GROUP) -> Iterator[Case]:
    """Cases of independent calls, several in a case; the first case is quick."""
    every = list(calls)
    for start in range(0, len(every), size):
        part = tuple(every[start : start + size])
        yield Case(f"{name}-{start:03}", part, quick=start == 0)


def call(*args: str) -> Call:
    """A call of these words."""
    return Call(args)


def write(place: Path, data: str | bytes) -> str:
    """Write a file; returns its name in a case."""
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(data.encode("utf-8", "surrogatepass") if isinstance(data, str) else data)
    (inputs,) = (each for each in place.parents if each.name == "inputs")
    return f"{IN}/{place.relative_to(inputs)}"


# ---------------------------------------------------------------- files that people write


def wrong_rules(folder: Path) -> Iterator[Call]:
    """Rule files and patch lists with a wrong part."""
    texts, told = import_module("helpers.sample_text"), import_module("helpers.rule_mistakes")
    tables = [
        (told.STRUCTURE + told.SENSE, "sdr", texts.RULE),
        (told.LISTS, "patches/steps", texts.STEPS),
        (told.EXTENDED, "house", texts.HOUSE),
    ]
    number = 0
    for table, changed, text in tables:
        for old, new, *_ in table:
            number += 1
            place = folder / f"{number:03}"
            files = {"sdr": texts.RULE, "patches/steps": texts.STEPS}
            for name, content in {**files, changed: text.replace(old, new, 1)}.items():
                write(place / f"{name}.yaml", content)
            read = "house" if changed == "house" else "sdr"
            command = ("check", "show")[number % 2]
            yield call("rules", command, f"{IN}/wrong/rules/{place.name}/{read}.yaml")


def wrong_jobs(folder: Path) -> Iterator[Call]:
    """Job files with a wrong part."""
    text = import_module("helpers.sample_text").JOB
    for number, (old, new, _) in enumerate(import_module("test_job_files").MESSAGES):
        file = write(folder / f"{number:03}" / "job.yaml", text.replace(old, new, 1))
        yield call(("assess", "plan", "explain", "capability")[number % 4], file)
    yield call("assess", write(folder / "whole" / "job.yaml", text))


def wrong_meters(folder: Path) -> Iterator[Call]:
    """Meter files with a wrong part."""
    text = import_module("helpers.sample_text").METER
    for number, (old, new, _) in enumerate(import_module("test_meter_files").MESSAGES):
        file = write(folder / f"{number:03}" / "meter.yaml", text.replace(old, new, 1))
        yield call("capability", "web-srgb", "--meter", file)


def wrong_readings(folder: Path) -> Iterator[Call]:
    """Readings with wrong rows, wrong headers, of other kinds."""
    for number, (name, text, encoding) in enumerate(_readings()):
        file = write(folder / f"{number:03}.{name}", text)
        stated = ("--encoding", encoding) if encoding else ()
        if number % 3:
            yield call("convert", file, "out.csv", *stated, "--now", NOW)
        else:
            yield call("assess", file, "--rule", "sdr-broadcast", *stated, "--now", NOW)


def _readings() -> Iterator[tuple[str, str | bytes, str]]:
    ten = "rgb-10-full"
    for header, row, _ in import_module("test_readings_bad_rows").ROWS.values():
        yield "csv", f"{header}\n{row}\n", ten
    files = import_module("test_readings_bad_files")
    for data, _ in (*files.KINDS.values(), *files.HEADERS.values()):
        yield "txt", data, ten
    formats = import_module("helpers.other_formats")
    for (old, new), _ in import_module("test_cgats").FAULTS.values():
        yield "txt", formats.CGATS.replace(old, new, 1), ten
    for changes, _ in import_module("test_cxf").FAULTS.values():
        text = formats.CXF
        for old, new in changes:
            text = text.replace(old, new, 1)
        yield "cxf", text, ten
    for (old, new), _ in import_module("test_spectra").TM27_FAULTS.values():
        yield "xml", formats.tm27().replace(old, new, 1), ten
    yield "txt", formats.CGATS, ""
    yield "csv", "r,g,b,X,Y,Z\n" + "5,5,5,1,1,x\n" * 40, ten


# ---------------------------------------------------------------- files that are signed


def broken_sheets(inputs: Path, folder: Path) -> Iterator[Call]:
    """Sheets that were changed or cut off, and other files."""
    whole = (inputs / "sheets/demo/MV-0417-2-web-srgb.pdf").read_bytes()
    tampering = import_module("helpers.tampering")
    changed = {
        name: tampering.updated(whole, getattr(tampering, name))
        for name in (
            "new_title", "new_packet", "nothing_but_written", "new_annotation",
            "new_attachment", "new_text",
        )
    }  # fmt: skip
    middle = len(whole) // 2
    changed |= {
        "cut": whole[:-2000],
        "half": whole[:middle],
        "empty": b"",
        "text": b"This is no sheet.\n",
        "longer": whole + b"\n% more\n",
        "flipped": whole[:middle] + bytes([whole[middle] ^ 1]) + whole[middle + 1 :],
        "unsigned": unsigned(whole),
    }
    for number, (name, data) in enumerate(changed.items()):
        file = write(folder / f"{name}.pdf", data)
        yield Call(("verify", file, *TRUST, *(("--format", "json") if number % 3 == 2 else ())))
        if name in ("cut", "text", "flipped"):
            yield Call(("countersign", file, *CLIENT, "--out", "twice.pdf", "--now", NOW))
            yield call("explain", file)


def unsigned(data: bytes) -> bytes:
    """The same pages as another program saves them."""
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(data)) as sheet:
        for field in sheet.Root.AcroForm.Fields:
            if "/V" in field:
                del field["/V"]
        sheet.save(out, deterministic_id=True)
    return out.getvalue()


def broken_deliveries(inputs: Path, folder: Path) -> Iterator[Call]:
    """Deliveries that were changed after they were packed."""
    whole = inputs / "deliveries/small"
    (packed,) = (whole / "data/sheets").iterdir()
    sheet = f"data/sheets/{packed.name}"
    changes: dict[str, Callable[[Path], object]] = {
        "added": lambda at: (at / "data/more.txt").write_text("more\n"),
        "left-out": lambda at: (at / sheet).unlink(),
        "changed": lambda at: (at / "index.html").write_text("<p>All is well</p>\n"),
        "renamed": lambda at: (at / sheet).rename(at / "data/sheets/another.pdf"),
        "unsigned": lambda at: (at / "signature.p7s").unlink(),
        "no-manifest": lambda at: (at / "manifest-sha256.txt").unlink(),
    }
    for name, change in changes.items():
        shutil.copytree(whole, folder / name)
        change(folder / name)
        yield Call(("verify", f"{IN}/wrong/deliveries/{name}", *TRUST))
    zipped = (inputs / "deliveries/small.zip").read_bytes()
    yield Call(("verify", write(folder / "cut.zip", zipped[:-500]), *TRUST))
    yield Call(("verify", write(folder / "none.zip", b"PK nothing"), *TRUST, "--format", "json"))


def broken_deviations(inputs: Path, folder: Path) -> Iterator[Call]:
    """Deviations that were changed, have ended, or are for another slot."""
    text = (inputs / "golden/0.1.0/deviation.json").read_text()
    changes: list[tuple[str, str]] = [
        ("636.32", "636.33"), ("Test Client", "Test Clerk"), ('"cms": "MII', '"cms": "MIJ'),
        ('"slot": "3"', '"slot": "4"'), ('"until"', '"untill"'), ("{", "["), ("2026-12-31", "soon"),
    ]  # fmt: skip
    key = ("--out", "out", *FACILITY, "--now", NOW)
    for number, (old, new) in enumerate(changes):
        file = write(folder / f"{number}.json", text.replace(old, new, 1))
        yield call("deviation", "verify", file, "--now", NOW)
        yield call("assess", DEMO, "--slot", "3", "--deviation", file, *key)
    whole = f"{IN}/golden/0.1.0/deviation.json"
    yield call("assess", DEMO, "--slot", "1", "--deviation", whole, *key)
    yield call("assess", DEMO, "--slot", "3", "--deviation", whole, *key[:-1], "2027-05-01T00:00Z")
    trusted = ("--client-trust", f"{KEYS}/client.pem")
    yield call("assess", DEMO, "--slot", "3", "--deviation", whole, *trusted, *key)


# ---------------------------------------------------------------- calls


def wrong_calls() -> Iterator[Call]:
    """Calls that cannot be carried out."""
    sheet, document = (f"{DEMO_SHEETS}/MV-0417-3-hdr-pq-1000.{end}" for end in ("pdf", "json"))
    readings, slot = f"{IN}/demo/readings/slot-1.csv", ("assess", DEMO, "--slot", "4")
    accepted = ("--accepted-by", "Ada", "--until", "2026-12-31", "--out", "a.json", *CLIENT)
    new = ("deviation", "new", document, "--reason", "a", *accepted, "--now", NOW)
    encoded = ("--encoding", "rgb-10-narrow")
    who = ("--name", "A", "--organisation", "B", "--email", "c@example.org")
    for args in (
        ("asess",),
        ("--nothing",),
        ("plan", "nothing"),
        ("plan", "sdr-brodcast"),
        ("plan", "web-srgb", "--grid", "99"),
        ("plan", "web-srgb", "--points", "7"),
        ("plan", "web-srgb", "--encoding", "rgb-9"),
        ("plan", "cinema-theatre", "--encoding", "rgb-8-narrow"),
        ("plan", DEMO, "--slot", "9"),
        ("plan", "web-srgb", "--out", "no/such/folder.csv"),
        ("convert", readings, "a.xyz"),
        ("convert", readings, "a.csv"),
        ("convert", "none.csv", "a.csv", "--encoding", "rgb-8-full"),
        ("convert", readings, "a.csv", "--encoding", "rgb-8-full"),
        ("convert", readings, "a.txt", "--input-format", "cxf"),
        ("convert", readings, "-", *encoded),
        ("assess",),
        ("assess", "none.yaml"),
        ("assess", "."),
        ("assess", DEMO, "--no-sheet", "--slot", "9"),
        ("assess", DEMO, "--now", "yesterday"),
        ("assess", DEMO, "--no-sheet", "--rule", "nothing"),
        ("assess", DEMO, "--no-sheet", "--rule", "none.yaml"),
        ("assess", DEMO),
        ("assess", DEMO, "--format", "xml"),
        ("assess", DEMO, "--meter", "a.yaml"),
        ("assess", readings),
        ("assess", readings, "--rule", "sdr-broadcast"),
        ("assess", readings, "--rule", "sdr-broadcast", "--encoding", "rgb-8-full"),
        ("assess", readings, "--rule", "cinema-review-room", *encoded, "--now", NOW),
        ("assess", readings, "--rule", "sdr-broadcast", "--out", "out"),
        ("assess", f"{IN}/demo/README.md"),
        ("assess", sheet),
        (*slot, "--out", "out", "--identity", f"{KEYS}/facility.p12"),
        (*slot, "--out", "out", "--identity", "none.p12", *PASSWORD),
        (*slot, "--out", "out", "--identity", f"{KEYS}/facility.p12", "--password-file", DEMO),
        (*slot, "--out", "out", "--identity", f"{KEYS}/issued.key"),
        (*slot, "--out", "out", "--identity", f"{KEYS}/issued.key", "--chain", f"{KEYS}/root.pem"),
        (*slot, "--out", "out", "--identity", f"{KEYS}/password"),
        (*slot, "--out", "out", *FACILITY, "--now", "2020-01-01T00:00:00Z"),
        (*slot, "--out", "out", *FACILITY, "--now", "2040-01-01T00:00:00Z"),
        (*slot, "--out", "out", *FACILITY, "--timestamp", "nowhere"),
        (*slot, "--out", "out", "--deviation", "none.json"),
        (*slot, "--out", "out", "--specs", "nowhere"),
        ("explain",),
        ("explain", DEMO, "--slot", "2", "--before"),
        ("explain", readings, "--rule", "sdr-broadcast", "--before"),
        ("explain", f"{IN}/demo/README.md"),
        ("explain", f"{KEYS}/password"),
        ("capability", "web-srgb"),
        ("capability", "web-srgb", "--meter", "none.yaml"),
        ("capability", "web-srgb", "--meter", DEMO),
        ("countersign", sheet),
        ("countersign", "none.pdf", *CLIENT),
        ("countersign", sheet, *FACILITY, "--out", "a.pdf", "--now", NOW),
        ("countersign", document, *CLIENT, "--out", "a.pdf"),
        ("verify",),
        ("verify", "none.pdf"),
        ("verify", "."),
        ("verify", document),
        ("verify", sheet, "--trust", "none.pem"),
        ("verify", sheet, "--trust", f"{KEYS}/password"),
        ("verify", sheet, "--trust", f"{KEYS}/facility.pem", "--any-signer"),
        ("deviation", "new", document),
        (*new, "--requirement", "nothing"),
        (*new, "--requirement", "primaries"),
        (*new, "--requirement", "surround"),
        (*new, "--requirement", "peak-level", "--until", "2026-01-01"),
        ("deviation", "verify", "none.json"),
        ("deviation", "verify", document),
        ("deliver", "."),
        ("deliver", "none", "--out", "a.zip", "--no-signature"),
        ("deliver", DEMO, "--out", "a.zip", "--no-signature"),
        ("deliver", f"{IN}/sheets/web-srgb", "--out", "a.zip"),
        ("deliver", DEMO_SHEETS, "--out", "no/such/folder/a.zip", "--no-signature"),
        ("deliver", f"{IN}/sheets", "--out", "a", "--no-signature"),
        ("identity", "new", "--name", "A"),
        ("identity", "new", *who, "--out", "a.p12"),
        ("identity", "new", *who, "--out", "a.p12", "--password-file", "none"),
        ("identity", "new", *who, "--out", "a/b/c.p12", *PASSWORD, "--now", NOW),
        ("identity", "show", "none.p12"),
        ("identity", "show", f"{KEYS}/facility.p12", "--password-file", f"{KEYS}/root.pem"),
        ("identity", "sho"),
        ("rules", "show", "web-srbg"),
        ("rules", "show", "none.yaml"),
        ("rules", "show", DEMO),
        ("rules", "check", "none"),
        ("rules", "check", "."),
        ("rules", "check", DEMO),
        ("rules", "diff", "web-srgb"),
        ("rules", "diff", "web-srgb", "web-srgb@2"),
        ("rules", "diff", "HEAD:rules", "rules"),
        ("rules", "list", "--specs", "none"),
        ("rules", "list", "--specs", f"{IN}/wrong/rules/001"),
        ("schema", "sheet"),
        ("schema",),
    ):
        yield call(*args)


def existing_files() -> Case:
    """Nothing is overwritten without --replace."""
    slot = ("assess", DEMO, "--slot", "4", "--no-sheet", "--now", NOW)
    plan = ("plan", "web-srgb", "--out", "plan.csv")
    encoded = ("--encoding", "rgb-10-narrow", "--now", NOW)
    convert = ("convert", f"{IN}/demo/readings/slot-1.csv", "a.txt", *encoded)
    pack = ("deliver", f"{IN}/sheets/web-srgb", "--out", "a.zip", "--no-signature", "--now", NOW)
    calls: list[tuple[Any, ...]] = [
        (*slot, "--out", "out"), (*slot, "--out", "out"), (*slot, "--out", "out", "--replace"),
        (*slot, "--out", "plan.csv"), plan, plan, (*plan, "--replace"),
        (*slot, "--out", "plan.csv"), convert, convert, (*convert, "--replace"),
        pack, pack, (*pack, "--replace"),
    ]  # fmt: skip
    return Case("wrong/existing", tuple(call(*each) for each in calls))
