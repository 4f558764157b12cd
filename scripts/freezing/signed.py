"""Calls about signatures: identities, sheets, deviations, deliveries."""

from __future__ import annotations

from collections.abc import Iterator

from freezing.calls import (
    CLIENT,
    DEMO,
    DEMO_MISSED,
    DEMO_NOW,
    DEMO_SHEETS,
    FACILITY,
    IN,
    ISSUED,
    KEYS,
    LATER,
    NOW,
    PASSWORD,
    RSA,
    TRUST,
    RuleJob,
    call,
    in_formats,
)
from freezing.cases import Call, Case

__all__ = ["delivering", "deviating", "signing", "stamped", "verifying"]


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
    yield Case(
        "signing/golden-deviation",
        in_formats("deviation", "verify", f"{golden}/deviation.json", "--now", NOW),
    )


def deviating() -> Iterator[Case]:
    """Deviations: written, checked, stated on sheets."""
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
    client, root = (("--client-trust", f"{KEYS}/{name}.pem") for name in ("client", "root"))
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
    """Sheets, folders and deliveries of another version."""
    golden = f"{IN}/golden/0.1.0"
    trust = ("--trust", f"{golden}/facility.pem", "--client-trust", f"{golden}/client.pem")
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


def stamped() -> Iterator[Case]:
    """Signatures with a time stamp."""
    sheet, deviation = f"{IN}/sheets/stamped/stamped.pdf", f"{IN}/deviations/stamped.json"
    trust = ("--trust", f"{KEYS}/root.pem")
    by_clock = (*trust, "--timestamp-trust", f"{KEYS}/clock.pem")
    pack = ("deliver", f"{IN}/sheets/stamped", "--out", "packed", "--no-signature")
    yield Case(
        "stamped/sheet",
        (
            *in_formats("verify", sheet, *by_clock),
            call("verify", sheet, *trust),
            call("verify", sheet, *trust, "--timestamp-trust", f"{KEYS}/root.pem"),
        ),
    )
    yield Case("stamped/delivery", (call(*pack), call("verify", "packed", *by_clock)))
    check = ("deviation", "verify", deviation, "--now", LATER)
    yield Case("stamped/deviation", (*in_formats(*check, *by_clock), call(*check, *trust)))


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
