"""`compliance convert`: readings from one format into another, digit for digit."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click

from compliance import __version__
from compliance.cli.files import check_folder, check_targets, write_new
from compliance.cli.moments import moment
from compliance.cli.terminal import harmless
from compliance.errors import ReadingsError, UsageError
from compliance.model import ENCODINGS
from compliance.readings.formats import FORMATS, form_of_name

__all__ = ["command"]

PATH = click.Path(path_type=Path)
WRITTEN = [name for name, form in FORMATS.items() if form.writer]
OBSERVERS = ("cie-1931-2", "cie-1964-10", "cie-2015-2", "cie-2015-10")


@click.command("convert")
@click.argument("sources", metavar="IN...", nargs=-1, required=True, type=PATH)
@click.argument("out", metavar="OUT", type=PATH)
@click.option(
    "--to",
    type=click.Choice(WRITTEN),
    help="Format of OUT; told from the end of its name unless said.",
)
@click.option(
    "--input-format",
    "form",
    type=click.Choice(list(FORMATS)),
    help="Insist on the format of IN; told from what stands in it unless said.",
)
@click.option(
    "--encoding",
    metavar="NAME",
    type=click.Choice(list(ENCODINGS)),
    help="Of the code values, where IN does not state it.",
)
@click.option(
    "--plan",
    metavar="FILE",
    type=PATH,
    help="The plan that was measured: code values and places where IN has none, row by row.",
)
@click.option("--unit", metavar="UNIT", default="", help="Of spectra whose file states none.")
@click.option(
    "--observer",
    type=click.Choice(OBSERVERS),
    default=OBSERVERS[0],
    show_default=True,
    help="For whom X, Y, Z of spectra are computed; a rule judges the first.",
)
@click.option("--replace", is_flag=True, help="Write over OUT if it stands there already.")
@click.option("--now", metavar="TIME", callback=moment, help="RFC 3339; the clock's unless said.")
def command(
    sources: tuple[Path, ...],
    out: Path,
    to: str | None,
    form: str | None,
    encoding: str | None,
    plan: Path | None,
    unit: str,
    observer: str,
    replace: bool,
    now: datetime | None,
) -> int:
    """Write the readings in IN to OUT in another format.

    Reads CSV, CGATS text (CGATS.17, ISO 28178), CxF, and spectral radiance as CSV or IES
    TM-27; writes CSV (.csv), CGATS text (.txt) and CxF (.cxf). Values keep every digit.
    Several IN are read one after the other.

    Exit codes: 0 written, 2 the input or the call is wrong, 4 an internal or I/O failure.
    """
    from compliance.documents.files import read_bytes
    from compliance.readings.convert import Source, convert
    from compliance.readings.tables import Spectral
    from compliance.readings.text import MOST_BYTES

    wanted = to or form_of_name(out.suffix)
    if wanted is None:
        raise UsageError(f"{out}: its name tells no format; end it in .csv, .txt or .cxf, or --to")
    check_folder(out.parent)
    check_targets([out], replace)

    def source(path: Path) -> Source:
        return Source(str(path), read_bytes(path, ReadingsError, "readings", limit=MOST_BYTES))

    done = convert(
        [source(path) for path in sources],
        wanted,
        created=now or datetime.now(UTC).replace(microsecond=0),
        tool=f"deliverable-compliance {__version__}",
        encoding=ENCODINGS[encoding] if encoding else None,
        form=form,
        plan=source(plan) if plan else None,
        spectral=Spectral(observer, unit),
    )
    write_new({out: done.data}, replace=replace)
    read = " and ".join(FORMATS[name].title for name in done.forms)
    count = "1 reading" if done.count == 1 else f"{done.count} readings"
    click.echo(f"{count} in {done.encoding.name}, {read} to {FORMATS[wanted].title}")
    if wanted == "cxf" and done.negative:
        click.echo(
            f"Values below zero in {done.negative} of them stand as they were read; the schema of "
            "CxF has none such, and a strict reader may refuse them."
        )
    click.echo(f"\nWritten:\n  {harmless(str(out))}")
    return 0
