"""The visible box of a signature: who, for whom, when, by which certificate."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from compliance.pictures.canvas import INK, Ink
from compliance.pictures.fonts import BOLD, MONO, SANS, ellipsize
from compliance.pictures.pdf_canvas import PdfCanvas

if TYPE_CHECKING:
    from compliance.model.signatures import Signer


PAD = 5.0
LEAD = 1.3
"""Line height over type size."""
GROUP, GROUPS = 8, 4
"""Digits of the fingerprint in a group, and groups in a line."""

Line = tuple[str, str, float, Ink]


def draw_stamp(
    signer: Signer, when: datetime, *, width: float, height: float, role: str | None = None
) -> bytes:
    """A one-page PDF of `width` by `height` points that shows who signs, as whom, and when.

    Lines that find no room at the foot are left out. Raises SheetError where the fonts lack
    a character of the name or the role.
    """
    canvas = PdfCanvas(width, height, created=when)
    y = height - PAD
    for text, face, size, ink in _lines(signer, when, role):
        y -= size * LEAD
        if y < 0:
            break
        shown = ellipsize(text, face, size, width - 2 * PAD)
        canvas.text(PAD, y + size * (LEAD - 1), shown, face=face, size=size, ink=ink)
    canvas.end_page()
    return canvas.finish()


def _lines(signer: Signer, when: datetime, role: str | None) -> list[Line]:
    digits = signer.fingerprint
    groups = [digits[at : at + GROUP] for at in range(0, len(digits), GROUP)]
    moment = when.astimezone(UTC)
    affiliation = ", ".join(part for part in (role, signer.organisation) if part)
    lines = [
        (f"Signed by {signer.name}", BOLD, 9.0, INK.TEXT),
        (affiliation, SANS, 8.0, INK.TEXT),
        (f"{moment:%Y-%m-%d %H:%M} UTC, certificate SHA-256", SANS, 6.5, INK.QUIET),
        (" ".join(groups[:GROUPS]), MONO, 6.5, INK.QUIET),
        (" ".join(groups[GROUPS:]), MONO, 6.5, INK.QUIET),
    ]
    return [line for line in lines if line[0]]
