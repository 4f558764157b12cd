"""Calls for every rule: its job's slots, their explanations, the rule itself."""

from __future__ import annotations

from collections.abc import Iterator

from freezing.calls import FACILITY, IN, KEYS, METERS, NOW, TRUST, RuleJob, call, in_formats
from freezing.cases import Case

__all__ = ["assessing", "explaining", "of_the_rule"]


def assessing(job: RuleJob) -> Iterator[Case]:
    """Its slots: two with sheets, the others with documents only; with deviations; bare."""
    whole = ("assess", job.file, "--now", NOW)
    signed = FACILITY if job.number % 2 else ()
    for slot in ("bad", "house") if job.number % 2 else ("missing", "moved"):
        yield Case(
            f"assess/{job.rule}/{slot}",
            (call(*whole, "--slot", slot, "--out", "out", *signed),),
            quick=job.quick and slot in ("bad", "missing"),
        )
    others = ("good", *(("missing", "moved") if job.number % 2 else ("bad", "house")))
    slots = tuple(word for slot in others for word in ("--slot", slot))
    yield Case(
        f"assess/{job.rule}/others",
        (
            call(
                *(*whole, *slots, "--out", "out", "--no-sheet"),
                *("--junit", "out/report.xml", "--csv", "out/findings.csv"),
            ),
        ),
    )
    if job.number % 3 == 0:
        bare = ("--rule", job.rule, "--technology", "lcd", "--encoding", job.encoding)
        readings = ("assess", f"{job.folder}/{job.good}", *bare, "--now", NOW)
        yield Case(f"assess/{job.rule}/bare", (call(*readings, "--format", "json"),))
    elif job.number % 3 == 1:
        printed = (*whole, "--slot", "house", "--no-sheet", "--format", "json")
        yield Case(f"assess/{job.rule}/printed", (call(*printed),))
    elif job.accepted:
        given = tuple(word for file in job.accepted for word in ("--deviation", f"{IN}/{file}"))
        key = ("--client-trust", f"{KEYS}/client.pem", *FACILITY)
        yield Case(
            f"assess/{job.rule}/accepted",
            (
                call(*whole, "--slot", "bad", *given, *key, "--out", "out"),
                call("verify", "out", *TRUST),
            ),
        )


def explaining(job: RuleJob) -> Iterator[Case]:
    """The causes in its documents, and the readings before calibration."""
    yield Case(
        f"explain/{job.rule}/documents",
        tuple(one for slot in job.documents for one in in_formats("explain", job.document(slot))),
        quick=job.quick,
    )
    before = ("explain", job.file, "--slot", "moved", "--before", "--now", NOW)
    output = "json" if job.number % 2 else "text"
    yield Case(f"explain/{job.rule}/before", (call(*before, "--format", output),))


def of_the_rule(job: RuleJob) -> Iterator[Case]:
    """Show, check, compare and plan it, and ask whether meters can prove it."""
    rule, house = job.rule, job.house_file
    yield Case(
        f"rules/show/{rule}",
        (
            *in_formats("rules", "show", rule, formats=("text", "yaml", "json", "markdown")),
            *in_formats("rules", "show", house, formats=("text", "yaml")),
        ),
        quick=job.quick,
    )
    yield Case(
        f"rules/check/{rule}",
        (
            call("rules", "check", f"{job.folder}/rules"),
            call("rules", "check", house, "--format", "json"),
            call("rules", "check", f"{rule}.yaml"),
            *in_formats("rules", "diff", rule, house, formats=("text", "json", "markdown")),
            call("rules", "diff", rule, house, "--fail-on", "loosened"),
        ),
        quick=job.quick,
    )  # fmt: skip
    yield Case(
        f"plan/rule/{rule}",
        (
            call("plan", rule),
            call("plan", house, "--meter", METERS[job.number % 2], "--windows", "--yxy"),
        ),
        quick=job.quick,
    )
    yield Case(
        f"capability/{rule}",
        (
            call("capability", rule, "--meter", METERS[0]),
            call("capability", rule, "--meter", METERS[1], "--format", "json"),
        ),
        quick=rule == "web-srgb",
    )
