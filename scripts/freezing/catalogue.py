"""All cases except the wrong ones; here those of the demo and those for all rules."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from freezing.calls import (
    DEMO,
    DEMO_NOW,
    DEMO_SHEETS,
    FACILITY,
    IN,
    METERS,
    NOW,
    TRUST,
    RuleJob,
    call,
    in_formats,
)
from freezing.cases import Call, Case
from freezing.ruled import assessing, explaining, of_the_rule
from freezing.signed import delivering, deviating, signing, stamped, verifying

__all__ = ["all_cases"]

COMMANDS = (
    "", "plan", "convert", "assess", "explain", "capability", "countersign", "verify", "deviation",
    "deviation new", "deviation verify", "deliver", "identity", "identity new", "identity request",
    "identity show", "rules", "rules check", "rules diff", "rules list", "rules show", "schema",
)  # fmt: skip
SCHEMAS = (
    *("rule", "job", "meter", "assessment", "deviation", "delivery", "repository"),
    "assessment-1",
)
GREY = "95.047,100,108.883\n"
"""A row of readings; the plan of web-srgb has 47 rows."""


def all_cases(jobs: list[RuleJob], wrong: Iterable[Case]) -> list[Case]:
    """All cases; the first imports the same modules as most others."""
    cases = [
        first(), *words(), *demo(), *signing(), *deviating(), *verifying(jobs), *delivering(),
        *stamped(), *repository(), *rules_in_all(), *converting(jobs), *planning(jobs), *wrong,
    ]  # fmt: skip
    for job in jobs:
        cases += [*assessing(job), *explaining(job), *of_the_rule(job)]
    twice = {case.name for case in cases if sum(case.name == one.name for one in cases) > 1}
    if twice:
        raise ValueError(f"names of several cases: {sorted(twice)}")
    return cases


def first() -> Case:
    """A little of everything that imports other modules."""
    readings = f"{IN}/jobs/cinema-theatre/readings/missing.csv"
    return Case(
        "first",
        (
            call("assess", DEMO, "--slot", "4", "--out", "out", *FACILITY, "--now", DEMO_NOW),
            call("verify", "out/MV-0417-4-cinema-review-room.pdf", *TRUST),
            call("convert", readings, "some.cxf", "--encoding", "xyz-12-full", "--now", NOW),
            call("convert", "some.cxf", "some.txt", "--now", NOW),
        ),
        quick=True,
    )


def words() -> Iterator[Case]:
    """Help, version and schemas."""
    helped = tuple(call(*name.split(), "--help") for name in COMMANDS)
    bare = tuple(call(*name.split()) for name in COMMANDS)
    yield Case("words/help", (*helped, call("-h"), call("--version")), quick=True)
    yield Case("words/bare", bare, quick=True)
    schemas = tuple(call("schema", kind) for kind in SCHEMAS)
    yield Case("words/schema", (*schemas, call("schema", "job", "--path")), quick=True)


def demo() -> Iterator[Case]:
    """Everything of the demo."""
    signed = ("--out", "out", *FACILITY, "--now", DEMO_NOW)
    for slot in "1234":
        whole = ("assess", DEMO, "--slot", slot, *signed)
        reports = ("--junit", "report.xml", "--csv", "findings.csv")
        yield Case(f"demo/slot-{slot}", (call(*whole, *reports),), quick=slot in "13")
    printed = ("assess", DEMO, "--no-sheet", "--now", DEMO_NOW)
    plain = Call((*printed, "--slot", "2", "--slot", "4"), encoding="ascii")
    yield Case("demo/printed", (call(*printed, "--format", "json"), plain))
    letter = ("--slot", "2", "--out", "out", "--page", "letter", "--now", DEMO_NOW)
    yield Case("demo/letter", (call("assess", DEMO, *letter),))
    explained = ("explain", DEMO, "--now", DEMO_NOW)
    yield Case("demo/explain", (call(*explained),))
    yield Case("demo/explain-slot", (call(*explained, "--slot", "3", "--format", "json"),))
    yield Case("demo/explain-before", (call(*explained, "--slot", "1", "--before"),))
    documents = [
        f"{DEMO_SHEETS}/MV-0417-{name}"
        for name in ("1-sdr-broadcast", "2-web-proven", "3-hdr-pq-1000", "4-cinema-review-room")
    ]
    told = (one for name in documents for one in in_formats("explain", f"{name}.json"))
    yield Case("demo/explain-documents", tuple(told), quick=True)
    sheets = tuple(call("explain", f"{name}.pdf") for name in documents)
    yield Case("demo/explain-sheets", sheets)
    yield Case("demo/capability", in_formats("capability", DEMO))
    yield Case(
        "demo/bare-readings",
        (
            call("assess", f"{IN}/demo/readings/slot-2.csv", "--rule", "web-srgb",
                 "--encoding", "rgb-8-full", "--meter", METERS[0], "--now", DEMO_NOW),
            call("explain", f"{IN}/demo/readings/slot-3.csv", "--rule", "hdr-pq-1000",
                 "--encoding", "rgb-10-full", "--technology", "oled", "--now", DEMO_NOW),
            call("assess", f"{IN}/demo/readings/slot-4.csv", "--rule", "cinema-review-room",
                 "--encoding", "xyz-12-full", "--technology", "projector", "--now", DEMO_NOW,
                 "--format", "json", "--csv", "a.csv", "--junit", "a.xml"),
        ),
    )  # fmt: skip


def repository() -> Iterator[Case]:
    """House rules under version control."""
    repo, rule = f"{IN}/repository", "vellumfish-broadcast"
    named = f"{repo}/rules/{rule}.yaml"
    yield Case(
        "repository/rules",
        (
            *in_formats("rules", "show", named, formats=("text", "yaml", "json", "markdown")),
            *in_formats("rules", "check", f"{repo}/rules", formats=("text", "json", "github")),
            *in_formats("rules", "list", "--specs", f"{repo}/rules"),
            *in_formats("rules", "diff", "sdr-broadcast", named, formats=("text", "markdown")),
            call("rules", "diff", "sdr-broadcast", named, "--fail-on", "any"),
        ),
    )
    yield Case(
        "repository/revisions",
        (
            call("rules", "list"),
            call("rules", "check"),
            call("rules", "diff", f"{rule}@1", f"{rule}@2"),
            call("rules", "diff", "HEAD:rules", "rules", "--fail-on", "loosened"),
            *in_formats("rules", "diff", f"HEAD~1:rules/{rule}.yaml", rule,
                        formats=("text", "json", "markdown")),
            call("rules", "diff", "HEAD~1:rules", "HEAD:./rules"),
            call("rules", "diff", "HEAD~5:rules", "rules"),
        ),
        copied={".": "repository"},
        quick=True,
    )  # fmt: skip
    yield Case(
        "repository/assess",
        (call("assess", f"{repo}/job.yaml", "--out", "out", "--now", DEMO_NOW),),
        pixels=False,
    )


def rules_in_all() -> Iterator[Case]:
    """The shipped rules together."""
    formats = ("text", "json", "markdown")
    yield Case("rules/list", in_formats("rules", "list", formats=formats))
    grades = [
        ("sdr-broadcast-grade-1", "sdr-broadcast-grade-2"), ("web-srgb", "web-p3"),
        ("hdr-hlg-grade-3", "hdr-hlg-grade-1a"), ("cinema-theatre", "cinema-review-room"),
        ("hdr-pq-1000", "hdr-pq-bt2020"), ("sdr-broadcast", "sdr-broadcast@1"),
    ]  # fmt: skip
    for old, new in grades:
        yield Case(
            f"rules/diff/{old}-{new}",
            in_formats("rules", "diff", old, new, formats=formats),
            quick=old == "web-srgb",
        )


def converting(jobs: list[RuleJob]) -> Iterator[Case]:
    """From every format to every other."""
    for job in jobs:
        ends = [("txt", "bad", 1), ("cxf", "bad", 2), ("cxf", "missing", 3)]
        found = next(((end, name) for end, name, at in ends if job.number % 4 == at), None)
        source = f"{job.folder}/readings/{found[1]}.{found[0]}" if found else (
            f"{job.folder}/readings/missing.csv"
        )  # fmt: skip
        stated = () if found else ("--encoding", job.encoding)
        calls = [call("convert", source, f"a.{end}", *stated, "--now", NOW)
                 for end in ("csv", "txt", "cxf")]  # fmt: skip
        calls += [call("convert", "a.txt", "b.cxf", "--now", NOW),
                  call("convert", "a.cxf", "-", "--to", "csv", "--now", NOW),
                  call("convert", "a.csv", "a.csv", "b.txt", "--encoding", job.encoding,
                       "--now", NOW)]  # fmt: skip
        yield Case(f"convert/{job.rule}", tuple(calls), quick=job.number in (0, 1))
    spectra = f"{IN}/jobs/{jobs[0].rule}/readings/missing.csv"
    encoded = ("--encoding", jobs[0].encoding)
    yield Case(
        "convert/observers",
        tuple(
            call("convert", spectra, f"{name}.csv", *encoded, "--observer", name, "--now", NOW)
            for name in ("cie-1931-2", "cie-1964-10", "cie-2015-2", "cie-2015-10")
        ),
    )
    yield Case(
        "convert/plan",
        (
            call("plan", "web-srgb", "--out", "plan.csv"),
            call("convert", "export.csv", "read.csv", "--plan", "plan.csv", "--now", NOW),
            call("convert", "short.csv", "read.csv", "--plan", "plan.csv", "--now", NOW),
            call("convert", "-", "out.txt", *("--encoding", "rgb-8-full"), "--now", NOW),
            Call(
                ("convert", "-", "-", "--to", "cxf", "--encoding", "rgb-8-full", "--now", NOW),
                stdin="r,g,b,Y,x,y\n255,255,255,100.0,0.3127,0.3290\n0,0,0,0.1,0.31,0.33\n",
            ),
        ),
        written={"export.csv": "X,Y,Z\n" + GREY * 47, "short.csv": "X,Y,Z\n" + GREY * 3},
    )


def planning(jobs: list[RuleJob]) -> Iterator[Case]:
    """Plans of jobs, of several rules, and with all options."""
    yield Case(
        "plan/options",
        (
            call("plan", "sdr-broadcast", "web-srgb", "--encoding", "rgb-10-full"),
            call("plan", "hdr-pq-1000", "--windows", "--points", "13", "--grid", "3"),
            call("plan", "web-p3", "--yxy", "--meter", METERS[0]),
            call("plan", DEMO, "--slot", "1", "--out", "plan.csv"),
            call("plan", DEMO, "--slot", "2"),
            call("plan", DEMO, "--slot", "4", "--points", "5"),
            call("plan", f"{IN}/demo/rules/web-proven.yaml", "--points", "9"),
            call("plan", DEMO),
            call("plan", "cinema-theatre", "--encoding", "rgb-12-full"),
        ),
        quick=True,
    )
    slots = ("good", "moved", "house")
    for job in jobs[::4]:
        yield Case(
            f"plan/job/{job.rule}", tuple(call("plan", job.file, "--slot", slot) for slot in slots)
        )
