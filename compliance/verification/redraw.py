"""The pages of a sheet as this program draws them from its evidence, to be compared by eye.

For pages that cannot be compared here: another version or other libraries drew them.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from compliance.errors import SheetError
from compliance.lettering.choose import stated_letters
from compliance.lettering.texts import signer_texts
from compliance.signing.attached_files import read_attachments
from compliance.signing.pyhanko_key import run_outside_event_loop
from compliance.signing.read import read_signatures
from compliance.verification.compare import tool_version
from compliance.verification.steps import one_line
from compliance.verification.versions import Standing, standing


def redrawn_sheet(data: bytes, fonts: Sequence[Path] = ()) -> bytes:
    """Return an unsigned sheet, drawn and computed from the evidence in a signed one.

    `fonts` are files of type faces, beside the system's. Raises SheetError if the file is not as
    it was signed, or if its evidence gives no assessment here.
    """
    try:
        return run_outside_event_loop(lambda: _redrawn(data, fonts))
    except Exception as fault:  # a damaged file can raise any
        raise SheetError(f"its pages cannot be drawn again: {one_line(fault)}") from fault


def _redrawn(data: bytes, fonts: Sequence[Path]) -> bytes:
    from compliance.evidence.attachments import largest_size, read_assessment
    from compliance.evidence.recompute import assess_again
    from compliance.sheet.make_sheet import archival_sheet
    from compliance.verification.compare_pages import paper

    seal = read_signatures(data, (), ())
    if not seal.signatures or seal.all_faults:
        raise ValueError("the file is not as it was signed")
    attached = read_attachments(data, largest=largest_size)
    document = read_assessment(attached)
    if standing(*tool_version(document)) is Standing.LATER_ENGINE:
        raise ValueError("made with definitions that this version does not know")
    letters = stated_letters(document, fonts)
    names = signer_texts(seal.signatures[0].signer)
    again = assess_again(attached, faces=letters.faces, signed_by=names)
    for face in letters.faces:
        if not letters.program(face):
            raise ValueError(f"face {face.name} is not here; give its file with --font")
    program = letters.program
    return archival_sheet(again, page=paper(data), signed=False, program=program).pdf
