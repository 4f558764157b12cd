"""Make docs/pictures/sheet.png: page 1 of a sheet of the demo, for README.

    .venv/bin/python scripts/make_readme_picture.py

Run it when the sheet's drawing changes. Needs pdftoppm (poppler) and Pillow.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from pages.follow import FollowError, prepare, run
from PIL import Image

PICTURE = Path(__file__).resolve().parent.parent / "docs" / "pictures" / "sheet.png"
WIDTH = 900
"""Pixels"""
COLOURS = 128
MADE, NOW = "2026-11-20T08:00:00Z", "2026-11-20T16:00:00Z"
SIGNER = '--name "Bram Osterley" --organisation "Vellumfish Finishing"'
CALLS = (
    f"compliance identity new {SIGNER} --email sheets@vellumfish.example --now {MADE} "
    "--password-file password.txt",
    f"compliance assess job.yaml --slot 1 --out sheets --now {NOW} --password-file password.txt",
)


def main() -> int:
    """Write the picture."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        prepare(folder)
        for call in CALLS:
            done = run(call, folder)
            if done.code:
                raise FollowError(f"{call}\nexit code {done.code}\n{done.err}")
        page = folder / "page"
        subprocess.run(
            ["pdftoppm", "-png", "-singlefile", "-scale-to-x", str(WIDTH), "-scale-to-y", "-1",
             folder / "sheets" / "MV-0417-1-sdr-broadcast.pdf", page],
            check=True,
        )  # fmt: skip
        with Image.open(page.with_suffix(".png")) as image:
            small = image.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
        PICTURE.parent.mkdir(exist_ok=True)
        small.save(PICTURE, optimize=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
