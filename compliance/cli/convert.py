"""`compliance convert`: convert readings to another format, digit for digit."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from compliance import __version__
from compliance.cli._files import check_folder, check_targets, write_new
from compliance.cli._options import (
    PATH,
    OneOf,
    encoding_option,
    input_format_option,
    now_option,
    replace_option,
)
from compliance.cli._terminal import HYPHEN, escape_controls, write_data
from compliance.errors import ReadingsError, UsageError
from compliance.model import ENCODINGS
from compliance.readings.load import FORMATS, format_for_suffix

if TYPE_CHECKING:
    from compliance.readings.convert import Converted

WRITTEN = [name for name, form in FORMATS.items() if form.writer]
OBSERVERS = ("cie-1931-2", "cie-1964-10", "cie-2015-2", "cie-2015-10")


@click.command("convert")
@click.argument("sources", metavar="IN...", nargs=-1, required=True, type=PATH)
@click.argument("out", metavar="OUT", type=PATH)
@click.option(
    "--to",
    type=OneOf(WRITTEN),
    help="Format of OUT; default: by the suffix of its name.",
)
@input_format_option("Format of IN; default: detected from the content.")
@encoding_option("Encoding of the code values, if IN does not state it.")
@click.option(
    "--plan",
    metavar="FILE",
    type=PATH,
    help="The plan that was measured: it gives code values and positions, row by row; those in "
    "IN, as codes or percent, are checked against it.",
)
@click.option(
    "--retake",
    metavar="FILE",
    type=PATH,
    help="Readings of patches that were measured again: they are added, and the earlier ones of "
    "these patches are marked as replaced. Requires --reason.",
)
@click.option("--reason", metavar="TEXT", help="Why they were measured again; for the sheet.")
@click.option("--unit", metavar="UNIT", default="", help="Unit of spectra, if IN states none.")
@click.option(
    "--observer",
    type=OneOf(OBSERVERS),
    default=OBSERVERS[0],
    show_default=True,
    help="Observer for X, Y, Z of spectra; rules judge cie-1931-2.",
)
@replace_option("Overwrite OUT if it already exists.")
@now_option()
def command(
    sources: tuple[Path, ...],
    out: Path,
    to: str | None,
    input_format: str | None,
    encoding: str | None,
    plan: Path | None,
    retake: Path | None,
    reason: str | None,
    unit: str,
    observer: str,
    replace: bool,
    now: datetime,
) -> int:
    """Convert the readings in IN to another format, OUT.

    Reads CSV, CGATS text (CGATS.17, ISO 28178), CxF, and spectral radiance as CSV, CGATS text
    or IES TM-27; writes CSV (.csv), CGATS text (.txt) and CxF (.cxf). Values keep every
    digit. Several IN are joined in their order; - is standard input, or output with --to.

    IN needs the code values shown and the values measured, in cd/m². CSV: r,g,b (c1,c2,c3 for
    X'Y'Z') and X,Y,Z or Y,x,y. CGATS: RGB_R RGB_G RGB_B and XYZ_X XYZ_Y XYZ_Z or XYY_CAPY
    XYY_X XYY_Y. CxF: ColorRGB with MaxRange and ColorEmissiveCIEXYZ. Spectra: a column for
    each wavelength in nm, and the unit. An export without code values, or in percent, requires
    --plan.

    Exit codes: 0 written, 2 wrong input or call, 4 internal or I/O failure.
    """
    from compliance.readings.convert import Retake, Source, convert
    from compliance.readings.raw_table import SpectralOptions
    from compliance.readings.text import MOST_BYTES
    from compliance.yaml_nodes.read_file import read_bytes

    wanted = to or format_for_suffix(out.suffix)
    if wanted is None:
        raise UsageError(f"{out}: unknown format; end the name in .csv, .txt or .cxf, or give --to")
    why = _checked_reason(retake, reason)
    if out != HYPHEN:
        check_folder(out.parent)
        _check_apart(out, [*sources, *(path for path in (plan, retake) if path)])
        check_targets([out], replace)

    def source(path: Path) -> Source:
        if path == HYPHEN:
            data = sys.stdin.buffer.read(MOST_BYTES + 1) if sys.stdin else b""
            return Source("standard input", data)
        return Source(str(path), read_bytes(path, ReadingsError, "readings", limit=MOST_BYTES))

    done = convert(
        [source(path) for path in sources],
        wanted,
        created=now,
        tool=f"deliverable-compliance {__version__}",
        encoding=ENCODINGS[encoding] if encoding else None,
        form=input_format,
        plan=source(plan) if plan else None,
        spectral=SpectralOptions(observer, unit),
        retake=Retake(source(retake), why) if retake else None,
    )
    if out == HYPHEN:
        write_data(done.data)
    else:
        write_new({out: done.data}, replace=replace)
    for line in _summary(done, wanted, out):
        click.echo(line, err=out == HYPHEN)
    return 0


def _checked_reason(retake: Path | None, reason: str | None) -> str:
    """Return the reason of a retake. Raises UsageError if only one of them is given, or the reason
    does not fit in a cell."""
    from compliance.readings.raw_table import MOST_CHARACTERS

    text = (reason or "").strip()
    if retake is None and reason is not None:
        raise UsageError("--reason: only with --retake FILE, the patches that were measured again")
    if retake is not None and not text:
        raise UsageError('--retake: requires --reason TEXT, e.g. --reason "door open"')
    if len(text) > MOST_CHARACTERS or not text.isprintable():
        expected = f"at most {MOST_CHARACTERS} printable characters on one line"
        raise UsageError(f"--reason: not a short text; expected {expected}")
    return text


def _check_apart(out: Path, read: Sequence[Path]) -> None:
    """Check that no input is overwritten: spectra would be lost."""
    for path in read:
        if path != HYPHEN and out.exists() and path.exists() and out.samefile(path):
            raise UsageError(f"{out}: is an input and would be overwritten; choose another OUT")


def _summary(done: Converted, wanted: str, out: Path) -> Iterator[str]:
    """Yield lines that say what was converted."""
    read = " and ".join(FORMATS[name].title for name in done.forms)
    count = "1 reading" if done.count == 1 else f"{done.count} readings"
    yield f"{count} in {done.encoding.name}, {read} to {FORMATS[wanted].title}"
    if wanted == "cxf" and done.negative:
        yield (
            f"{done.negative} of them have values below zero, kept as read; the schema of CxF "
            "allows none, so a strict reader may refuse the file."
        )
    if out != HYPHEN:
        yield f"\nWritten:\n  {escape_controls(str(out))}"
