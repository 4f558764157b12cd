"""Faces for the letters of a call's texts, looked for before anything is computed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from compliance.cli._assess_inputs import Call, WorkItem, inputs_of
from compliance.cli._options import search_path
from compliance.errors import InputError, Problem
from compliance.pictures.fonts import normalise

if TYPE_CHECKING:
    from compliance.lettering.choose import Lettering
    from compliance.lettering.font_files import FontFile
    from compliance.model import Deviation, Measurement
    from compliance.model.signatures import Signer

LARGEST = 1 << 20
"""Most bytes of a file in which a text is looked for."""
BEGINNING = 12
"""Characters of a text that are looked for: a file may break it into lines."""


class LettersError(InputError):
    """No face has letters of a text that sheets would show."""


def check_letters(
    call: Call,
    cases: Sequence[WorkItem],
    deviations: Sequence[Sequence[Deviation]],
    signer: Signer | None,
) -> None:
    """Check that every letter of the sheets can be drawn. Raises LettersError with all texts.

    A slot whose files cannot be read is left to its turn.
    """
    from compliance.lettering.choose import advice, missing_letters
    from compliance.lettering.font_files import given_fonts
    from compliance.lettering.texts import foreign_clusters, signer_texts, texts_of

    fonts = given_fonts(call.fonts)
    texts: dict[str, None] = {}
    for case, held in zip(cases, deviations, strict=True):
        try:
            texts |= dict.fromkeys(texts_of(case.measurement(held)))
        except Exception:  # told when it is its turn
            continue
    own = signer_texts(signer) if signer else []
    missing = set(missing_letters([*texts, *own], fonts))
    if not missing:
        return
    places = list(_lines(call, cases))
    problems = [
        _problem(text, clusters, places, is_signers=text in own)
        for text in dict.fromkeys([*texts, *own])
        if (clusters := [each for each in foreign_clusters([text]) if each in missing])
    ]
    problems.append(Problem("no sheet was drawn", advice(missing)))
    raise LettersError(problems)


def _problem(
    text: str, clusters: Sequence[str], places: Sequence[tuple[str, int, str]], *, is_signers: bool
) -> Problem:
    message = f"'{text[:60]}': no type face here has {' '.join(clusters[:12])}"
    if is_signers:
        return Problem("the signing certificate", message)
    for file, number, line in places:
        if text[:BEGINNING] in normalise(line):
            return Problem(file, message, number)
    return Problem("a file of the job", message)


def _lines(call: Call, cases: Sequence[WorkItem]) -> Iterator[tuple[str, int, str]]:
    """Yield the lines of the files of a call, with file and number."""
    for path in dict.fromkeys([call.target, *inputs_of(cases), *_rule_files(call)]):
        try:
            if not path.is_file() or path.stat().st_size > LARGEST:
                continue
            text = path.read_text("utf-8", errors="replace")
        except OSError:
            continue
        for number, line in enumerate(text.splitlines(), 1):
            if not line.isascii():
                yield str(path), number, line


def _rule_files(call: Call) -> Iterable[Path]:
    folders = search_path(call.specs, call.target.parent)
    return [path for folder in folders for path in sorted(folder.glob("*.yaml"))]


def lettering_of(
    measurement: Measurement, signer: Signer | None, fonts: Sequence[FontFile]
) -> Lettering:
    """Choose the faces of a slot's sheet. Raises SheetError for letters that no face has."""
    from compliance.lettering.choose import lettering
    from compliance.lettering.texts import signer_texts, texts_of

    names = signer_texts(signer) if signer else []
    return lettering([*texts_of(measurement), *names], fonts)
