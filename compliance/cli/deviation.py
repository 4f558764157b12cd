"""`compliance deviation`: accept a value outside its limits, and check who did."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import click

from compliance.cli._deviations import check, document_in_file, parts_of, print_checked, stated_in
from compliance.cli._files import check_folder, check_new_file, check_targets, write_new
from compliance.cli._identity_options import (
    MAKE_ONE,
    default_identity,
    pop_key_options,
    signing_options,
    warn_missing_timestamp,
)
from compliance.cli._options import (
    PATH,
    format_option,
    now_option,
    out_option,
    parse_date,
    read_trust,
    replace_option,
    trust_options,
)
from compliance.cli._terminal import print_plain
from compliance.errors import IdentityError, UsageError
from compliance.report.results import exit_code
from compliance.report.words.en.verdicts import accepted_sentence


@click.group("deviation")
def command() -> None:
    """Accept a value outside its limits, and check who did.

    A deviation is a client's signed leave for one requirement of one slot to be missed, as
    far as it was missed and no further, until a date. It changes no verdict: 'assess
    --deviation' states it beside the finding.
    """


@command.command("new")
@click.argument("source", metavar="ASSESSMENT.json|SHEET.pdf", type=PATH)
@click.option("--requirement", metavar="ID", required=True, help="What may be missed.")
@click.option("--reason", required=True, help="Why that is accepted.")
@click.option("--accepted-by", metavar="NAME", required=True, help="Who accepts it.")
@click.option(
    "--until",
    metavar="DATE",
    required=True,
    callback=parse_date,
    help="Last day, e.g. 2026-12-31.",
)
@out_option("File to write.", required=True)
@replace_option("Write over a file that stands there.")
@now_option()
@signing_options("of the one who accepts; the user's own unless said.")
def new(source: Path, out: Path, replace: bool, now: datetime, **given: Any) -> None:
    """Accept one value of an assessment that lies outside its limits.

    Signed by the client, or whoever may accept it; the file goes back to the facility.
    """
    from compliance.evidence.deviation_file import (
        Acceptance,
        check_acceptor,
        new_deviation,
        read_deviation,
    )

    keys = pop_key_options(given)
    keys.check()
    until: date = given["until"]
    if until < now.astimezone(UTC).date():
        raise UsageError(f"--until: {until.isoformat()} is over already")
    check_new_file(out, replace)
    document, facility = document_in_file(source)
    stated = stated_in(document, str(source))
    acceptance = Acceptance(
        reason=_line("--reason", given["reason"]),
        accepted_by=_line("--accepted-by", given["accepted_by"]),
        accepted=now,
        until=until,
    )
    means = keys.means()
    if means.identity is None:
        raise IdentityError(
            f"{default_identity()}: there is no identity to sign with; give --identity FILE, or "
            f"make one: {MAKE_ONE}"
        )
    data = new_deviation(
        stated,
        given["requirement"],
        acceptance,
        means.identity,
        stamper=means.stamper,
        file=str(source),
    )
    deviation, _ = read_deviation(data, str(out))
    if facility is not None:
        check_acceptor(deviation, facility)
    write_new({out: data}, replace=replace)
    print_plain(f"{out}: {accepted_sentence(deviation)}".replace("\u00a0", " "))
    warn_missing_timestamp(means.stamper)


@command.command("verify")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=PATH)
@trust_options("accept", "a stamp by one")
@click.option(
    "--unpack",
    metavar="DIR",
    type=PATH,
    help="Also write what was signed, and the signature, for 'openssl cms -verify'.",
)
@replace_option("Write over files that stand in DIR.")
@now_option()
@format_option()
def verify(
    files: tuple[Path, ...],
    trust: tuple[Path, ...],
    timestamp_trust: tuple[Path, ...],
    unpack: Path | None,
    replace: bool,
    now: datetime,
    form: str,
) -> int:
    """Check each deviation FILE: unchanged, signed by whom, still running.

    Exit codes: 0 all hold, 1 one was changed, has expired or is not by the trusted, 2 the
    input or the call is wrong, 3 unchanged but the signer, or the stamp, was not checked.
    """
    trusted = read_trust(trust) if trust else None
    stamping = read_trust(timestamp_trust)
    checked = [check(file, trusted, stamping, now) for file in files]
    if unpack is not None:
        _unpack(files, unpack, replace)
    print_checked(checked, form)
    return exit_code(checked)


def _unpack(files: tuple[Path, ...], folder: Path, replace: bool) -> None:
    written: dict[Path, bytes] = {}
    for file in files:
        written |= parts_of(file, folder)
    check_folder(folder)
    check_targets(written, replace)
    write_new(written, replace=replace)


def _line(option: str, text: str) -> str:
    try:
        text.encode()
    except UnicodeEncodeError:
        # What a system in another encoding makes of letters that it does not know.
        told = f"{option}: has letters that this system's encoding does not know"
        raise UsageError(f"{told}; expected UTF-8, as with PYTHONUTF8=1") from None
    return " ".join(text.split())
