"""All calls that are recorded, but for the wrong ones. Paths are those from a case's own folder."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from freezing.cases import Call, Case

__all__ = ["DEMO_MISSED", "DEMO_NOW", "FACILITY", "NOW", "RuleJob", "all_cases"]

DEMO_NOW = "2026-11-20T16:00:00Z"
NOW = "2026-11-21T16:00:00Z"
LATER = "2026-11-22T16:00:00Z"
IN = "../inputs"
KEYS = f"{IN}/keys"
PASSWORD = ("--password-file", f"{KEYS}/password")
FACILITY = ("--identity", f"{KEYS}/facility.p12", *PASSWORD)
CLIENT = ("--identity", f"{KEYS}/client.p12", *PASSWORD)
ISSUED = ("--identity", f"{KEYS}/issued.key", "--chain", f"{KEYS}/issued-chain.pem")
RSA = ("--identity", f"{KEYS}/rsa.key", "--chain", f"{KEYS}/rsa-chain.pem")
TRUST = ("--trust", f"{KEYS}/facility.pem", "--trust", f"{KEYS}/client.pem")
DEMO = f"{IN}/demo/job.yaml"
DEMO_SHEETS = f"{IN}/sheets/demo"
METERS = tuple(
    f"{IN}/demo/meters/{name}.yaml" for name in ("filter-colorimeter", "spectroradiometer")
)
DEMO_MISSED = ("peak-level", "grey", "tracking")
"""What slot 3 of the demo misses."""
COMMANDS = (
    "", "plan", "convert", "assess", "explain", "capability", "countersign", "verify", "deviation",
    "deviation new", "deviation verify", "deliver", "identity", "identity new", "identity request",
    "identity show", "rules", "rules check", "rules diff", "rules list", "rules show", "schema",
)  # fmt: skip
SCHEMAS = ("rule", "job", "meter", "assessment", "deviation", "repository")
GREY = "95.047,100,108.883\n"
"""A row of readings: what web-srgb's plan has 47 of."""
QUICK_RULES = ("hdr-pq-1000", "cinema-theatre", "web-srgb", "hdr-hlg-grade-1")


@dataclass(frozen=True, slots=True)
class RuleJob:
    """The job that was invented for a rule."""

    rule: str
    number: int
    house: str
    """Id of its house rule."""
    good: str
    """Readings of the good display, from the job's folder."""
    encoding: str
    accepted: tuple[str, ...] = ()
    """Deviations for its bad slot, from the folder of inputs."""

    @property
    def folder(self) -> str:
        """Where it is."""
        return f"{IN}/jobs/{self.rule}"

    @property
    def file(self) -> str:
        """The job file."""
        return f"{self.folder}/job.yaml"

    @property
    def house_file(self) -> str:
        """The house rule's file."""
        return f"{self.folder}/rules/{self.house}.yaml"

    @property
    def quick(self) -> bool:
        """Whether it stands for all."""
        return self.rule in QUICK_RULES

    @property
    def documents(self) -> tuple[str, ...]:
        """Slots whose assessments are there as documents."""
        return ("good", "bad", "missing", "moved") if self.number % 4 == 0 else ("bad", "moved")

    def document(self, slot: str) -> str:
        """The document of a slot's assessment."""
        return f"{IN}/documents/{self.rule}/T-{self.number}-{slot}-{self.rule}.json"


def call(*args: str, **how: str) -> Call:
    """A call of these words."""
    return Call(args, **how)  # type: ignore[arg-type]


def in_formats(*args: str, formats: Iterable[str] = ("text", "json")) -> tuple[Call, ...]:
    """The same call once for each format."""
    return tuple(call(*args, "--format", name) for name in formats)


def all_cases(jobs: list[RuleJob], wrong: Iterable[Case]) -> list[Case]:
    """Every case; what the first imports is what most of them import."""
    cases = [
        first(), *words(), *demo(), *signing(), *verifying(jobs), *delivering(), *repository(),
        *rules_in_all(), *converting(jobs), *planning(jobs), *wrong,
    ]  # fmt: skip
    for job in jobs:
        cases += [*assessing(job), *explaining(job), *of_the_rule(job)]
    twice = {case.name for case in cases if sum(case.name == one.name for one in cases) > 1}
    if twice:
        raise ValueError(f"names of several cases: {sorted(twice)}")
    return cases


def first() -> Case:
    """A little of everything that imports something of its own."""
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


def signing() -> Iterator[Case]:
    """Identities, signatures of other kinds, countersignatures, deviations."""
    slot = ("assess", DEMO, "--slot", "2", "--rule", "web-srgb", "--out", "out")
    sheet = "out/MV-0417-2-web-srgb.pdf"
    trusted = ("--trust", f"{KEYS}/root.pem")
    again = ("countersign", sheet, *CLIENT, "--as", "supervising engineer", "--now", LATER)
    yield Case(
        "signing/issued",
        (
            call(*slot, *ISSUED, "--now", DEMO_NOW),
            call("verify", sheet, *trusted),
            call(*again, "--out", "twice.pdf"),
            call("verify", "twice.pdf", *trusted, *TRUST),
            call("verify", "twice.pdf", *TRUST, "--format", "json"),
            call("countersign", "twice.pdf", *RSA, "--now", LATER),
            call("deliver", "out", "--out", "packed", *RSA, "--now", LATER),
            call("verify", "packed", *trusted),
        ),
    )
    yield Case(
        "signing/rsa",
        (
            call(*slot, *RSA, "--now", DEMO_NOW),
            call("verify", sheet, "--trust", KEYS, "--format", "json"),
        ),
    )
    golden = f"{IN}/golden/0.1.0"
    yield Case(
        "signing/countersign",
        (
            call("countersign", "sheet.pdf", *CLIENT, "--now", LATER),
            call("countersign", "sheet.pdf", *CLIENT, "--now", LATER),
            call("verify", "sheet.pdf", *TRUST),
        ),
        copied={"sheet.pdf": "sheets/demo/MV-0417-1-sdr-broadcast.pdf"},
    )
    new = ("--name", "Jo Heron", "--organisation", "Sandbar Post", "--email", "jo@example.org")
    own = {"COMPLIANCE_DATA": "data"}
    yield Case(
        "signing/identity",
        (
            Call(("identity", "new", *new, *PASSWORD, "--now", NOW), settings=own),
            Call(("identity", "new", *new, *PASSWORD, "--now", NOW), settings=own),
            Call(("identity", "new", *new, *PASSWORD, "--now", NOW, "--replace"), settings=own),
            Call(("identity", "show", *PASSWORD), settings=own),
            call("identity", "new", *new, *PASSWORD, "--now", NOW, "--out", "mine.p12"),
            call("identity", "request", *new, *PASSWORD, "--out", "asked.p12"),
            call("identity", "request", *new, *PASSWORD, "--out", "asked.p12"),
            call("identity", "show", "asked.p12", *PASSWORD),
        ),
        quick=True,
    )
    yield Case(
        "signing/identity-show",
        (
            call("identity", "show", f"{KEYS}/facility.p12", *PASSWORD),
            call("identity", "show", f"{KEYS}/facility.p12", *PASSWORD, "--pem"),
            call("identity", "show", f"{KEYS}/issued.key", "--chain", f"{KEYS}/issued-chain.pem"),
            call("identity", "show", f"{KEYS}/rsa.key", "--chain", f"{KEYS}/rsa-chain.pem"),
            call("identity", "show"),
        ),
        quick=True,
    )
    yield Case(
        "signing/own-identity",
        (Call((*slot, *PASSWORD, "--now", LATER), settings=own),),
        copied={"data/identity.p12": "keys/facility.p12"},
    )
    yield from deviating()
    yield Case(
        "signing/golden-deviation",
        in_formats("deviation", "verify", f"{golden}/deviation.json", "--now", NOW),
    )


def deviating() -> Iterator[Case]:
    """What is accepted: written down, checked, stated on sheets."""
    document = f"{DEMO_SHEETS}/MV-0417-3-hdr-pq-1000"
    words = ("--reason", "for the offline edit", "--accepted-by", "Odile Farrowmere")
    accepted = (*words, "--until", "2026-12-31", "--now", NOW)
    new = ("deviation", "new", f"{document}.json", "--requirement")
    sheet = ("deviation", "new", f"{document}.pdf", "--requirement")
    check = ("deviation", "verify", "peak-level.json", "grey.json", "--now", NOW)
    yield Case(
        "signing/new-deviations",
        (
            call(*new, "peak-level", *accepted, "--out", "peak-level.json", *CLIENT),
            call(*sheet, "grey", *accepted, "--out", "grey.json", *RSA),
            *in_formats(*check, *TRUST),
            call(*check, "--unpack", "unpacked"),
            call(*check[:3], "--now", "2027-01-01T00:00:00Z"),
        ),
        quick=True,
    )
    files = [f"{IN}/deviations/demo/{name}.json" for name in DEMO_MISSED]
    given = tuple(word for name in files for word in ("--deviation", name))
    slot = ("assess", DEMO, "--slot", "3", *given, "--now", LATER)
    client, root = (("--deviation-trust", f"{KEYS}/{name}.pem") for name in ("client", "root"))
    yield Case(
        "signing/deviations",
        (
            call(*slot, "--out", "out", *FACILITY),
            call("verify", "out/MV-0417-3-hdr-pq-1000.pdf", *TRUST),
            call(*slot, *client, "--out", "refused"),
            call(*slot, *client, *root, "--out", "trusted"),
        ),
    )


def verifying(jobs: list[RuleJob]) -> Iterator[Case]:
    """Sheets, folders and deliveries as another version left them."""
    golden = f"{IN}/golden/0.1.0"
    trust = ("--trust", f"{golden}/facility.pem", "--trust", f"{golden}/client.pem")
    for name in ("accepted.pdf", "countersigned.pdf", "delivery.zip"):
        yield Case(
            f"verify/golden/{name}",
            (
                *in_formats("verify", f"{golden}/{name}", *trust),
                call("verify", f"{golden}/{name}", "--any-signer"),
                call("explain", f"{golden}/{name}"),
            ),
        )
    for kind, output in (("demo", "json"), ("demo.zip", "text")):
        checked = ("verify", f"{IN}/deliveries/{kind}", *TRUST, "--format", output)
        yield Case(f"verify/deliveries/{kind}", (call(*checked),))
    yield Case("verify/folder", (call("verify", DEMO_SHEETS, *TRUST),))
    small = in_formats("verify", f"{IN}/deliveries/small", *TRUST)
    yield Case("verify/deliveries/small", small, quick=True)
    sheet = f"{DEMO_SHEETS}/MV-0417-2-web-srgb.pdf"
    yield Case(
        "verify/signers",
        (
            call("verify", sheet),
            call("verify", sheet, "--any-signer"),
            call("verify", sheet, "--trust", f"{KEYS}/client.pem"),
            call("verify", sheet, *TRUST, "--timestamp-trust", f"{KEYS}/root.pem"),
        ),
    )
    for job in jobs[::3]:
        sheet = f"{IN}/sheets/{job.rule}/T-{job.number}-moved-{job.rule}.pdf"
        yield Case(
            f"verify/sheet/{job.rule}", (call("verify", sheet, *TRUST),), quick=job.number == 9
        )


def delivering() -> Iterator[Case]:
    """Deliveries in a folder and as .zip."""
    signed = (*FACILITY, "--now", LATER)
    small = ("deliver", f"{IN}/sheets/web-srgb", "--out", "packed", *signed)
    yield Case("deliver/small", (call(*small), call(*small)), quick=True)
    yield Case("deliver/folder", (call("deliver", DEMO_SHEETS, "--out", "packed.zip", *signed),))
    unsigned = ("--no-signature", "--now", LATER)
    job = ("deliver", DEMO, "--sheets", DEMO_SHEETS, "--out", "job.zip", *unsigned)
    yield Case("deliver/job", (call(*job),))
    yield Case(
        "deliver/countersigned",
        (
            call("deliver", "some", "--out", "some.zip", *unsigned),
            call("verify", "some.zip", "--any-signer"),
        ),
        copied={
            "some/a.pdf": "golden/0.1.0/countersigned.pdf",
            "some/b.pdf": "golden/0.1.0/accepted.pdf",
        },
    )


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
        ("hdr-hlg-grade-3", "hdr-hlg-grade-1"), ("cinema-theatre", "cinema-review-room"),
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


# ---------------------------------------------------------------- for every rule


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
        key = ("--deviation-trust", f"{KEYS}/client.pem", *FACILITY)
        yield Case(
            f"assess/{job.rule}/accepted",
            (
                call(*whole, "--slot", "bad", *given, *key, "--out", "out"),
                call("verify", "out", *TRUST),
            ),
        )


def explaining(job: RuleJob) -> Iterator[Case]:
    """What its documents say of causes, and the readings before calibration."""
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
