"""The options that several commands share, and the files that they name."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from compliance.cli._files import read_bounded
from compliance.errors import IdentityError, UsageError, system_reason
from compliance.model import ENCODINGS, TECHNOLOGIES

if TYPE_CHECKING:
    from compliance.model import Rule
    from compliance.model.signatures import Signer

PATH = click.Path(path_type=Path)

Command = TypeVar("Command", bound=Callable[..., Any])


def together(*options: Callable[[Any], Any]) -> Callable[[Command], Command]:
    """Combine several options into one decorator, in their order."""

    def decorate(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return decorate


class OneOf(click.Choice):  # type: ignore[type-arg]  # generic from click 8.2 on
    """One of several names; for a wrong name, the error suggests the likely one."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Check the name. Raises BadParameter."""
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter as error:
            from compliance.yaml_nodes.messages import suggestion

            meant = suggestion(str(value), self.choices)
            if not meant:
                raise
            message = f"{error.message.rstrip('.')}; {meant}"
            raise click.BadParameter(message, ctx, param) from None


# ---------------------------------------------------------------- times


def now_option(help: str = "Time as RFC 3339; default: now.") -> Callable[[Command], Command]:
    """`--now TIME`, passed as `now`; default: the clock's time in whole seconds."""
    return click.option("--now", metavar="TIME", callback=_time_or_clock, help=help)


def clock() -> datetime:
    """Return the time in whole seconds. Pages and tests put another clock in its place."""
    return datetime.now(UTC).replace(microsecond=0)


def _time_or_clock(ctx: click.Context, param: click.Parameter, value: str | None) -> datetime:
    if value is None:
        return clock()
    from compliance.yaml_nodes.json_schema import as_time

    time = as_time(value)
    if time is None:
        raise click.BadParameter(
            f"{value!r} is not a time; expected RFC 3339 with an offset, e.g. 2026-11-20T16:00:00Z",
            ctx,
            param,
        )
    return time


def parse_date(ctx: click.Context, param: click.Parameter, value: str) -> date:
    """Parse a date (a click callback)."""
    from compliance.yaml_nodes.json_schema import as_date

    day = as_date(value)
    if day is None:
        raise click.BadParameter(f"{value!r} is not a date; expected e.g. 2026-12-31", ctx, param)
    return day


# ---------------------------------------------------------------- output


def format_option(*forms: str, help: str | None = "Output format.") -> Callable[[Command], Command]:
    """`--format`, passed as `form`: one of `forms`, by default text or json."""
    return click.option(
        "--format",
        "form",
        type=OneOf(forms or ["text", "json"]),
        default="text",
        show_default=True,
        help=help,
    )


def out_option(
    help: str, metavar: str = "FILE", *, required: bool = False
) -> Callable[[Command], Command]:
    """`--out`, the file or folder to write."""
    return click.option("--out", metavar=metavar, type=PATH, required=required, help=help)


def replace_option(help: str) -> Callable[[Command], Command]:
    """`--replace`, permission to overwrite."""
    return click.option("--replace", is_flag=True, help=help)


# ---------------------------------------------------------------- jobs, rules and readings


def slots_option(help: str = "Only this slot; may be repeated.") -> Callable[[Command], Command]:
    """`--slot`, passed as `slots`."""
    return click.option("--slot", "slots", metavar="SLOT", multiple=True, help=help)


def rules_option(help: str) -> Callable[[Command], Command]:
    """`--rule`, passed as `rules`."""
    return click.option("--rule", "rules", metavar="ID|FILE", multiple=True, help=help)


def specs_option(
    help: str = "Folder of further rule files; may be repeated.",
) -> Callable[[Command], Command]:
    """`--specs DIR`, passed as `specs`."""
    return click.option("--specs", metavar="DIR", type=PATH, multiple=True, help=help)


def allow_outside_option(
    help: str = "Let the job name files outside its own folder.",
) -> Callable[[Command], Command]:
    """`--allow-outside`."""
    return click.option("--allow-outside", is_flag=True, help=help)


def encoding_option(help: str) -> Callable[[Command], Command]:
    """`--encoding`, the name of an encoding."""
    return click.option("--encoding", metavar="NAME", type=OneOf(list(ENCODINGS)), help=help)


def meter_option(help: str) -> Callable[[Command], Command]:
    """`--meter FILE`."""
    return click.option("--meter", metavar="FILE", type=PATH, help=help)


def input_format_option(help: str) -> Callable[[Command], Command]:
    """`--input-format`, the format that the readings must have."""
    from compliance.readings.load import FORMATS

    return click.option("--input-format", type=OneOf(list(FORMATS)), help=help)


BARE_ONLY = ("encoding", "meter", "technology")
"""Options for bare readings only; a job states these itself."""
NOT_FOR_JOBS = "is for readings without a job; a job file states its own"
"""The fault if one of them is given with a job."""


def bare_options() -> Callable[[Command], Command]:
    """The options that state for bare readings what a job would state: `BARE_ONLY`."""
    return together(
        encoding_option(
            "Encoding of the code values of bare readings, if the file does not state it: "
            f"{', '.join(ENCODINGS)}."
        ),
        meter_option("Meter file for bare readings."),
        click.option(
            "--technology",
            metavar="NAME",
            type=OneOf(TECHNOLOGIES),
            help=f"Display technology for bare readings: {', '.join(TECHNOLOGIES)}.",
        ),
    )


def search_path(specs: Sequence[Path], start: Path | None = None) -> tuple[Path, ...]:
    """Return the folders of rule files for a job in the folder `start` (default: current folder).

    The shipped rules are not among them; they are always searched last. Raises RuleError if
    the repository's `.compliance.yaml` is wrong.
    """
    from compliance.rules.library import repository_folders

    return (*specs, *repository_folders(start if start is not None else Path()))


# ---------------------------------------------------------------- trust

LARGEST = 1 << 20
"""Most bytes of a file of certificates."""
SUFFIXES = (".pem", ".crt", ".cer", ".der")
"""Suffixes of the files that are read in a folder."""


def font_option() -> Callable[[Command], Command]:
    """`--font`: files of type faces."""
    return click.option(
        "--font",
        "fonts",
        metavar="FILE",
        type=PATH,
        multiple=True,
        help="A TrueType face (.ttf, .ttc) for letters that this program's own faces lack; may be "
        "repeated. Default: the system's, as fc-list names them.",
    )


def check_fonts(files: Sequence[Path]) -> tuple[Path, ...]:
    """Return files of type faces, checked. Raises SheetError if one cannot be used."""
    if files:
        from compliance.lettering.font_files import given_fonts

        given_fonts(files)
    return tuple(files)


def trust_option() -> Callable[[Command], Command]:
    """`--trust`: who signs for the facility."""
    return _certificates_option(
        "--trust",
        "Certificate (PEM or DER) of the facility's expected signer or of the issuing authority, "
        "or a folder of certificates; may be repeated.",
    )


def client_trust_option(may: str) -> Callable[[Command], Command]:
    """`--client-trust`: who acts for the client; `may` says what they may do."""
    return _certificates_option(
        "--client-trust",
        f"Certificate of a person who may {may} for the client, or of the issuing authority, or a "
        "folder of certificates; may be repeated.",
    )


def timestamp_trust_option(stamped: str) -> Callable[[Command], Command]:
    """`--timestamp-trust`; what has to be `stamped` then."""
    return _certificates_option(
        "--timestamp-trust",
        "Certificate of a time-stamping authority, or a folder of certificates; then "
        f"{stamped} needs a time stamp from one. May be repeated.",
    )


def _certificates_option(name: str, help: str) -> Callable[[Command], Command]:
    return click.option(name, metavar="FILE|DIR", multiple=True, type=PATH, help=help)


DIGEST = re.compile(r"[0-9a-fA-F]{64}", re.ASCII)


def read_known_rules(given: Sequence[str]) -> list[Rule | str]:
    """Read `--rules`: digests, and the rules in folders. Raises RuleError, UsageError."""
    from compliance.rules.library import load_rule

    digests: list[Rule | str] = [each.lower() for each in given if DIGEST.fullmatch(each)]
    folders = [Path(each) for each in given if not DIGEST.fullmatch(each)]
    files = [(folder, sorted(folder.glob("*.yaml"))) for folder in folders]
    for folder, found in files:
        if not found:
            raise UsageError(
                f"--rules: {folder}: expected a folder of rule files (.yaml), or the 64 hex digits "
                "of a rule's SHA-256"
            )
    return [
        *digests,
        *(
            load_rule(file, search=folders)
            for _, found in files
            for file in found
            if not file.name.startswith(".")
        ),
    ]


def crl_option() -> Callable[[Command], Command]:
    """`--crl`, passed as `crls`: revocation lists of the verifier's own."""
    return click.option(
        "--crl",
        "crls",
        metavar="FILE",
        multiple=True,
        type=PATH,
        help="Revocation list of an authority (PEM or DER), to judge certificates by besides what "
        "a sheet contains; may be repeated.",
    )


def read_lists(files: Sequence[Path]) -> tuple[bytes, ...]:
    """Read revocation lists as DER. Raises IdentityError."""
    if not files:
        return ()
    from compliance.signing.revocation import LARGEST as LARGEST_LIST
    from compliance.signing.revocation import MOST_LISTED, read_list

    limit = 2 * LARGEST_LIST  # PEM is longer than DER
    lists, size = [], 0
    for file in files:
        data = read_bounded(file, limit, IdentityError, "that revocation lists may have")
        lists.append(read_list(data, file=str(file)))
        size += len(lists[-1])
        if size > MOST_LISTED:
            raise IdentityError(
                f"{file}: with it the revocation lists have more than {MOST_LISTED >> 20} MiB; "
                "leave out those of other authorities and earlier ones"
            )
    return tuple(lists)


def read_trust(places: Sequence[Path]) -> list[Signer]:
    """Read the certificates, PEM or DER, in files and folders. Raises IdentityError."""
    from compliance.signing.certificates import read_certificates

    signers: dict[str, Signer] = {}
    for file in (file for place in places for file in _certificate_files(place)):
        data = read_bounded(file, LARGEST, IdentityError, "that certificates may have")
        if _is_key_store(data):
            raise IdentityError(
                f"{file}: contains a password-protected key; expected {_instead(file)}"
            )
        for signer in read_certificates(data, file=str(file)):
            signers[signer.fingerprint] = signer
    return list(signers.values())


def _certificate_files(place: Path) -> Iterator[Path]:
    if not place.is_dir():
        yield place
        return
    try:
        # Folders, pipes and devices hold no certificates; a broken link is an error later.
        files = sorted(
            file
            for file in place.iterdir()
            if file.suffix.lower() in SUFFIXES and (file.is_file() or not file.exists())
        )
    except OSError as error:
        raise IdentityError(f"{place}: cannot be read: {system_reason(error)}") from error
    if not files:
        *some, last = SUFFIXES
        expected = f"{', '.join(some)} or {last}"
        raise IdentityError(f"{place}: no certificates in this folder; expected {expected} files")
    yield from files


def _is_key_store(data: bytes) -> bool:
    """Return whether data begins as PKCS#12 (RFC 7292, 4): a DER sequence, first item version 3."""
    length = 2 if data[1:2] < b"\x80" else 2 + (data[1] & 0x7F)
    return data[:1] == b"\x30" and data[length : length + 3] == b"\x02\x01\x03"


def _instead(file: Path) -> str:
    """Name the file or the command that gives the certificate of a key store."""
    beside = file.with_suffix(".pem")
    if beside.is_file():
        return f"the certificate alone, {beside}"
    return f"the certificate alone; 'compliance identity show {file} --pem' prints it"
