"""Files of type faces: those that are given, and those that the system has.

Only TrueType outlines can be embedded; a face whose licence forbids that is refused.
"""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cache, cached_property, lru_cache
from hashlib import sha256
from pathlib import Path
from struct import unpack_from
from typing import Any

from compliance.errors import SheetError
from compliance.pictures.scripts import is_drawn

LARGEST = 64 << 20
"""Most bytes of a file; faces of Chinese have some ten million."""
COLLECTION = b"ttcf"
OUTLINES = "glyf"
RESTRICTED, NO_SUBSET, BITMAP_ONLY = 0x0002, 0x0100, 0x0200
"""Bits of `fsType` that forbid embedding, or embedding a part (ISO/IEC 14496-22, OS/2)."""
FORBIDDEN = RESTRICTED | NO_SUBSET | BITMAP_ONLY
FORMAT = "%{file}\\t%{index}\\t%{postscriptname}\\t%{family[0]}\\t%{weight}\\t%{slant}\\n"
REGULAR = 80
"""Weight of regular faces, as fontconfig counts."""
PATIENCE = 30.0
"""Seconds for the list of the system's faces."""


@dataclass(frozen=True)
class FontFile:
    """A face in a file."""

    data: bytes = field(repr=False)
    index: int
    """In a collection; 0 for a single face."""

    @cached_property
    def sha256(self) -> str:
        """SHA-256 of the whole file."""
        return sha256(self.data).hexdigest()

    @cached_property
    def face(self) -> Any:
        """The face, for HarfBuzz."""
        import uharfbuzz

        return uharfbuzz.Face(self.data, self.index)

    @cached_property
    def characters(self) -> frozenset[int]:
        """The code points that it has glyphs for."""
        return frozenset(self.face.unicodes)

    def covers(self, cluster: str) -> bool:
        """Return whether it has all letters of a cluster."""
        drawn = [char for char in cluster if is_drawn(char)]
        return bool(drawn) and all(ord(char) in self.characters for char in drawn)

    @property
    def postscript_name(self) -> str:
        return self._name("POSTSCRIPT_NAME") or self._name("FULL_NAME") or "Face"

    @property
    def version(self) -> str:
        return self._name("VERSION_STRING")

    def _name(self, what: str) -> str:
        import uharfbuzz

        found = self.face.get_name(uharfbuzz.OTNameIdPredefined[what])
        return str(found or "").strip()

    def fault(self) -> str | None:
        """Return why it cannot be embedded; None if it can."""
        tags = self.face.table_tags
        if OUTLINES not in tags:
            return "has no TrueType outlines; expected a face with them (.ttf or .ttc)"
        blob = self.face.reference_table("OS/2").data if "OS/2" in tags else b""
        if len(blob) >= 10 and unpack_from(">H", blob, 8)[0] & FORBIDDEN:
            return "its licence bits forbid to embed it; use another face"
        return None


def given_fonts(paths: Iterable[Path]) -> list[FontFile]:
    """Read the faces in the files given. Raises SheetError if one cannot be used."""
    found: list[FontFile] = []
    for path in paths:
        faces = _given(path)
        faults = [face.fault() for face in faces]
        if not faces or all(faults):
            why = next((fault for fault in faults if fault), "is not a font file")
            raise SheetError(f"--font: {path} {why}")
        found += [face for face, fault in zip(faces, faults, strict=True) if fault is None]
    return found


def _given(path: Path) -> tuple[FontFile, ...]:
    try:
        faces = _faces_in(path)
    except OSError as error:
        raise SheetError(f"--font: {path}: cannot be read: {error.strerror}") from None
    if faces is None:
        raise SheetError(f"--font: {path}: expected a font file of at most {LARGEST} bytes")
    return faces


def _faces_in(path: Path) -> tuple[FontFile, ...] | None:
    """Return the faces in a file; None for a folder or too many bytes. Raises OSError."""
    state = path.stat()
    if not path.is_file() or state.st_size > LARGEST:
        return None
    return _opened(path, state.st_size, state.st_mtime_ns)


@lru_cache(maxsize=16)
def _opened(path: Path, size: int, changed: int) -> tuple[FontFile, ...]:
    """The faces in a file as it is now: slots and signatures need the same ones again."""
    data = path.read_bytes()
    count = unpack_from(">I", data, 8)[0] if data[:4] == COLLECTION and len(data) > 12 else 1
    faces = (FontFile(data, index) for index in range(min(count, 64)))
    return tuple(each for each in faces if each.face.glyph_count and each.face.table_tags)


def system_font(characters: Iterable[str]) -> FontFile | None:
    """Return the system's face that has all of some characters, rather upright and regular."""
    wanted = " ".join(sorted({f"{ord(char):x}" for char in characters if is_drawn(char)}))
    if not wanted:
        return None
    listed = [_Listed.read(line) for line in _list(f":fontformat=TrueType:charset={wanted}")]
    return next(_usable(sorted(each for each in listed if each is not None)), None)


def system_face(name: str, digest: str, index: int) -> FontFile | None:
    """Return the system's face of a PostScript name whose file has a digest; None without it."""
    for line in _list(":fontformat=TrueType"):
        listed = _Listed.read(line)
        if listed is not None and listed.name == name and listed.index == index:
            for found in _usable([listed]):
                if found.sha256 == digest:
                    return found
    return None


@dataclass(frozen=True, order=True)
class _Listed:
    """A face of the system, in the order in which faces are preferred."""

    slanted: bool
    off_weight: float
    no_sans: bool
    file: str
    index: int
    name: str

    @classmethod
    def read(cls, line: str) -> _Listed | None:
        """Read a line of the list; None for what is no single face, as an instance of a variable
        one."""
        parts = line.split("\t")
        try:
            file, index, name, family, weight, slant = parts
            number, off = int(index), abs(float(weight) - REGULAR)
        except ValueError:
            return None
        if number > 0xFFFF:
            return None
        return cls(slant != "0", off, "sans" not in family.lower(), file, number, name)


@cache
def _list(pattern: str) -> tuple[str, ...]:
    program = shutil.which("fc-list")
    if program is None:
        return ()
    try:
        done = subprocess.run(
            [program, "--format", FORMAT, pattern],
            capture_output=True,
            timeout=PATIENCE,
            check=False,
            stdin=subprocess.DEVNULL,
        )
    except (OSError, subprocess.TimeoutExpired):
        return ()
    return tuple(done.stdout.decode("utf-8", "replace").splitlines())


def _usable(listed: Iterable[_Listed]) -> Iterator[FontFile]:
    for each in listed:
        try:
            faces = _faces_in(Path(each.file)) or ()
        except OSError:
            continue
        yield from (face for face in faces if face.index == each.index and face.fault() is None)
