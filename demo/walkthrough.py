"""The demo, step by step: make an identity, assess the job, verify the sheets.

Called by `demo/run`. Shows each command before it runs it, compares what came out with
what was meant, and ends with 0 only if all of it agrees. Everything it writes stays in
demo/out/, the identity included; the user's own data folder is not touched. Two runs at
once take turns.
"""

from __future__ import annotations

import json
import os
import secrets
import shlex
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from filelock import FileLock

ROOT = Path(__file__).resolve().parent.parent
OUT = Path("demo/out")
"""Relative to ROOT, as all paths in the commands shown."""
IDENTITY = OUT / "identity"
PASSWORD = OUT / "password.txt"
MADE = "2026-11-20T08:00:00Z"
NOW = "2026-11-20T16:00:00Z"
"""Fixed, so that the demo comes out the same on every day."""

MEANT = {
    "MV-0417-1-sdr-broadcast": ("compliant", False, None),
    "MV-0417-2-web-srgb": ("compliant", True, None),
    "MV-0417-2-web-proven": ("undecided", False, "uncertainty"),
    "MV-0417-3-hdr-pq-1000": ("not-compliant", False, None),
    "MV-0417-4-cinema-review-room": ("undecided", False, "missing-readings"),
}
"""Per slot and deliverable: verdict, whether it is conditional, reason where undecided."""


@contextmanager
def alone() -> Iterator[None]:
    """Hold demo/out/ while the block runs; the system lets go when the process ends."""
    (ROOT / OUT).mkdir(parents=True, exist_ok=True)
    with FileLock(ROOT / OUT / ".lock"):
        yield


def say(text: str) -> None:
    """Print; a reader that has gone away does not change how the demo ends."""
    with suppress(BrokenPipeError):
        print(text, flush=True)


def compliance(*arguments: str | Path) -> int:
    """Show and run one command; returns its exit code."""
    words = [str(argument) for argument in arguments]
    say(f"\n$ compliance {shlex.join(words)}")
    done = subprocess.run(
        [sys.executable, "-m", "compliance.cli", *words],
        cwd=ROOT,
        env={**os.environ, "COMPLIANCE_DATA": str(IDENTITY)},
        stdin=subprocess.DEVNULL,
        check=False,
    )
    return done.returncode


def make_password() -> None:
    """A password of the demo's own; a real one belongs into a password manager."""
    place = ROOT / PASSWORD
    place.unlink(missing_ok=True)
    with open(os.open(place, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "wb") as file:
        file.write(secrets.token_urlsafe(18).encode() + b"\n")


def wrong_verdicts() -> Iterator[str]:
    """One line per assessment that did not come out as meant."""
    for name, meant in MEANT.items():
        try:
            document = json.loads((ROOT / OUT / f"{name}.json").read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            yield f"{name}: no assessment: {error}"
            continue
        found = document["verdict"], document["conditional"], document["reason"]
        if found != meant:
            yield f"{name}: came out as {found}, meant was {meant}"


def walk() -> list[str]:
    """All steps; returns what did not come out as meant."""
    faults = []
    for name in MEANT:
        for kind in ("json", "pdf"):
            (ROOT / OUT / f"{name}.{kind}").unlink(missing_ok=True)
    make_password()
    code = compliance(
        *("identity", "new", "--name", "Bram Osterley"),
        *("--organisation", "Vellumfish Finishing", "--email", "sheets@vellumfish.example"),
        *("--password-file", PASSWORD, "--now", MADE, "--replace"),
    )
    if code != 0:
        return [f"identity new: exit code {code}, meant was 0"]

    code = compliance(
        *("assess", "demo/job.yaml", "--out", OUT, "--password-file", PASSWORD),
        *("--now", NOW, "--replace"),
    )
    if code != 1:
        faults.append(f"assess: exit code {code}, meant was 1: slot 3 is not compliant")
    faults.extend(wrong_verdicts())

    sheets = [OUT / f"{name}.pdf" for name in MEANT]
    known = ("--trust", IDENTITY / "identity.pem", "--rules", "demo/rules")
    code = compliance("verify", *sheets, *known, "--now", NOW)
    if code != 0:
        faults.append(f"verify: exit code {code}, meant was 0")
    return faults


def main() -> int:
    """Return 0 if all came out as meant, 1 if not, 4 if nothing can be written."""
    say(f"The demo: all of it is invented. Commands run in {ROOT}")
    try:
        with alone():
            faults = walk()
    except OSError as error:
        print(f"demo/run: {error}", file=sys.stderr)
        return 4
    except KeyboardInterrupt:
        return 130
    for fault in faults:
        print(f"demo/run: {fault}", file=sys.stderr)
    if faults:
        return 1
    say(
        "\nAll came out as meant: slot 1 compliant; slot 2 so near its limits that it is "
        "compliant\nconditionally, and undecided where the facility's own rule wants proof; "
        "slot 3 not\ncompliant; slot 4 undecided, for missing readings. Their sheets are in\n"
        f"{ROOT / OUT}"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
