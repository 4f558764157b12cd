"""`verify --require` and `--on`: what programs ask for, and how long a sheet holds."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from helpers import near_limit
from helpers.authorities import Within, clock
from helpers.deliveries import as_zip, delivery
from helpers.signing import countersigned, identity, signed

from compliance.evidence.recompute import attachments
from compliance.model.results import Answer, Required
from compliance.sheet.make_sheet import write_sheet
from compliance.verification.requirements import required_code

Run = Callable[..., subprocess.CompletedProcess[str]]
GOOD = (95.047, 100.0, 108.883)
NOW = ("--now", "2026-11-22T08:00:00Z")
END = "2026-12-20T15:10:00Z"
ME, CLIENT = ("--trust", "me.pem"), ("--client-trust", "client.pem")
CLOCK = ("--timestamp-trust", "clock.pem")


@cache
def contents() -> Mapping[str, bytes]:
    """Sheets of one slot: compliant, missing two limits, accepted, signed again, stamped."""
    good = near_limit.assessment(white=GOOD)
    once = write_sheet(good, identity=identity())
    return {
        "good.pdf": once,
        "twice.pdf": countersigned(once),
        "colleague.pdf": countersigned(once, identity("Nils")),
        "stamped.pdf": write_sheet(good, identity=identity(), stamper=Within()),
        "missed.pdf": near_limit.sheet(),
        "accepted.pdf": near_limit.sheet(accepted=True),
        "broken.pdf": signed({**attachments(good), "readings.csv": b"r,g,b,X,Y,Z\n"}),
        "me.pem": identity().pem,
        "client.pem": identity("Cleo Client").pem,
        "clock.pem": clock().root.pem,
    }


@pytest.fixture
def verify(compliance: Run, tmp_path: Path) -> Run:
    for name, content in contents().items():
        (tmp_path / name).write_bytes(content)
    known = ("--rules", near_limit.rule().digest)
    return lambda *more: compliance("verify", *more, *known, *(() if "--now" in more else NOW))


def data(done: subprocess.CompletedProcess[str], kind: str = "sheets") -> dict[str, Any]:
    (found,) = json.loads(done.stdout)[kind]
    assert found["exit_code"] == done.returncode
    return found


@pytest.mark.parametrize(
    ("name", "more", "required", "code", "met"),
    [
        ("good.pdf", ME, "compliant,current", 0, [True, True]),
        ("good.pdf", ME, "countersigned", 1, [False]),
        ("good.pdf", ME, "stamped", 1, [False]),
        ("good.pdf", (), "compliant", 3, [True]),
        ("good.pdf", (), "stamped", 1, [False]),
        ("missed.pdf", ME, "compliant", 1, [False]),
        ("accepted.pdf", (*ME, *CLIENT), "compliant", 1, [False]),
        ("twice.pdf", (*ME, *CLIENT), "countersigned, compliant", 0, [True, True]),
        ("twice.pdf", ME, "countersigned", 3, [None]),
        ("twice.pdf", ("--any-signer",), "countersigned", 0, [True]),
        ("colleague.pdf", ("--any-signer",), "countersigned", 1, [False]),
        ("stamped.pdf", (*ME, *CLOCK), "stamped", 0, [True]),
        ("stamped.pdf", ME, "stamped", 3, [None]),
        ("broken.pdf", ME, "compliant,current", 1, [None, None]),
    ],
)
def test_what_is_required(
    verify: Run, name: str, more: tuple[str, ...], required: str, code: int, met: list[bool | None]
) -> None:
    done = verify(name, *more, "--require", required, "--format", "json")
    assert done.returncode == code
    assert [each["met"] for each in data(done)["requirements"].values()] == met


@pytest.mark.parametrize(
    ("more", "code", "state", "words"),
    [
        (("--now", END), 0, "current", "Measure again by 2026-12-20 15:10 UTC."),
        (("--now", "2026-12-20T15:10:01Z"), 1, "expired", "Expired since 2026-12-20 15:10 UTC: "),
        (("--on", "2026-12-19"), 0, "current", "Measure again by 2026-12-20 15:10 UTC."),
        (("--on", "2026-12-20"), 1, "expired", "Expired since 2026-12-20 15:10 UTC: measure"),
    ],
)
def test_an_expired_sheet_stays_intact(
    verify: Run, more: tuple[str, ...], code: int, state: str, words: str
) -> None:
    done = verify("good.pdf", *ME, *more)
    assert (done.returncode, done.stdout.splitlines()[1].startswith(f"  {words}")) == (0, True)
    done = verify("good.pdf", *ME, *more, "--require", "current", "--format", "json")
    assert done.returncode == code
    found = data(done)
    assert list(found)[:2] == ["file", "validity"]
    assert (found["validity"]["state"], found["validity"]["until"]) == (state, END)


def test_the_answer_is_told_in_words(verify: Run) -> None:
    done = verify("good.pdf", *ME, "--require", "compliant,countersigned")
    assert done.returncode == 1
    assert done.stdout.splitlines()[4:6] == [
        "  compliant: met: the verdict is compliant",
        "  countersigned: not met: nobody signed for the client",
    ]


def test_what_allows_nothing_holds_for_no_time(verify: Run) -> None:
    assert verify("missed.pdf", *ME).stdout.splitlines()[1].startswith("  Valid: intact")
    accepted = verify("accepted.pdf", *ME, *CLIENT).stdout
    assert accepted.splitlines()[1] == "  Measure again by 2026-12-11 00:00 UTC."
    assert "again by" not in verify("broken.pdf", *ME).stdout


def test_of_a_delivery_every_sheet(verify: Run, tmp_path: Path) -> None:
    as_zip(delivery(), tmp_path / "d.zip")
    call = ("d.zip", *ME, *CLIENT)
    done = verify(*call, "--require", "current,countersigned", "--format", "json")
    assert done.returncode == 1, "one of two sheets is countersigned"
    found = data(done, "deliveries")
    assert found["requirements"] == {"current": {"met": True}, "countersigned": {"met": False}}
    assert [each["requirements"]["countersigned"]["met"] for each in found["sheets"]] == [
        True,
        False,
    ]
    assert verify(*call).stdout.splitlines()[1] == "  Measure again by 2026-12-11 00:00 UTC."
    late = verify(*call, "--on", "2026-12-24")
    assert (late.returncode, late.stdout.splitlines()[1]) == (
        0,
        "  Expired: its sheet; measure again.",
    )


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (("--require", "compliant,curent"), "'curent' cannot be required; did you mean 'current'?"),
        (("--require", ""), "'' cannot be required"),
        (("--on", "tomorrow"), "'tomorrow' is not a date; expected e.g. 2026-12-31"),
    ],
)
def test_bad_calls_are_one_line(verify: Run, more: tuple[str, ...], message: str) -> None:
    done = verify("good.pdf", *more)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert message in done.stderr


def test_a_3_replaces_only_a_0() -> None:
    met, unmet, unknown = (Answer(Required.CURRENT, each) for each in (True, False, None))
    assert [required_code(code, [met]) for code in (0, 1, 2, 3, 4)] == [0, 1, 2, 3, 4]
    assert [required_code(code, [unknown]) for code in (0, 1, 2, 3, 4)] == [3, 1, 2, 3, 4]
    assert [required_code(code, [unmet, unknown]) for code in (0, 1, 2, 3, 4)] == [1, 1, 2, 1, 4]
