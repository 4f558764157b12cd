"""The outputs of a call, as texts and bytes that are the same if a user sees the same.

Parts that differ from run to run are replaced by a word in angle brackets: the names of temporary
folders, signatures, keys, and the digests of files with such parts.
"""

from __future__ import annotations

import hashlib
import io
import re
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding

from freezing.markup import html_outline
from freezing.sheets import sheet_outputs

__all__ = ["Ink", "file_outputs", "files_below", "listing", "sha256"]

RANDOM = (".pdf", ".p7s", ".p12", ".pem", ".csr", ".key")
"""Suffixes of files with random content."""
SIGNED_VALUE = re.compile(rb'("(?:cms|timestamp)": ")[A-Za-z0-9+/=]+"')
PAYLOAD = re.compile(rb"(?m)^(Payload-Oxum: )\d+")


def sha256(data: bytes) -> str:
    """The digest as the command writes it."""
    return hashlib.sha256(data).hexdigest()


def files_below(folder: Path) -> dict[str, bytes]:
    """Every file below a folder by its relative name."""
    found = sorted(path for path in folder.rglob("*") if path.is_file() and not path.is_symlink())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in found}


def listing(folder: Path) -> str:
    """Names and rights of everything below a folder."""
    found = sorted(folder.rglob("*"))
    return "".join(
        f"{path.lstat().st_mode:06o} {path.relative_to(folder).as_posix()}\n" for path in found
    )


@dataclass
class Ink:
    """Replace parts that always differ: folder names, and digests of files that differ."""

    folders: Mapping[str, str]
    constant: frozenset[str]
    """Digests of the inputs, which are the same in every run."""
    digests: dict[str, str] = field(default_factory=dict)

    def over(self, data: bytes) -> bytes:
        """`data` with words in place of the parts that always differ."""
        data = SIGNED_VALUE.sub(rb'\1<signature>"', data)
        for text, word in (*self.folders.items(), *self.digests.items()):
            data = data.replace(text.encode(), word.encode())
        return data

    def learn(self, files: Mapping[str, bytes]) -> None:
        """Remember the digests of files that differ, and of those that state such a digest."""
        waiting = {name: data for name, data in files.items() if sha256(data) not in self.constant}
        while differing := [name for name, data in waiting.items() if self._differs(name, data)]:
            for name in differing:
                self._remember(name, waiting.pop(name))

    def _differs(self, name: str, data: bytes) -> bool:
        return Path(name).suffix in RANDOM or self.over(data) != data

    def _remember(self, name: str, data: bytes) -> None:
        self.digests[sha256(data)] = f"<digest of {name}>"
        if Path(name).suffix == ".pem" and b"BEGIN CERTIFICATE" in data:
            for each in x509.load_pem_x509_certificates(data):
                self.digests[sha256(each.public_bytes(Encoding.DER))] = f"<certificate {name}>"


def file_outputs(
    files: Mapping[str, bytes], ink: Ink, *, pixels: bool
) -> Iterator[tuple[str, bytes]]:
    """Each file as named outputs."""
    ink.learn(files)
    for name, data in files.items():
        for told, output in _outputs(name, data, ink, pixels=pixels):
            yield ink.over(told.encode()).decode(), output


def _outputs(name: str, data: bytes, ink: Ink, *, pixels: bool) -> Iterator[tuple[str, bytes]]:
    end = Path(name).suffix
    if end in (*RANDOM, ".zip") and sha256(data) in ink.constant:
        yield name, f"<as in the inputs: {sha256(data)}>".encode()
    elif end == ".pdf":
        yield f"kept/{name}", data
        for part, output in sheet_outputs(data, pixels=pixels):
            yield f"{name}/{part}", ink.over(output)
    elif end == ".zip":
        yield from _members(name, data, ink, pixels=pixels)
    elif end == ".html":
        yield name, ink.over(html_outline(data).encode())
    elif end == ".pem" and b"BEGIN CERTIFICATE" in data:
        yield name, _certificates(data).encode()
    elif end in RANDOM:
        yield name, b"<random>"
    else:
        yield name, PAYLOAD.sub(rb"\1<bytes>", ink.over(data))


def _members(name: str, data: bytes, ink: Ink, *, pixels: bool) -> Iterator[tuple[str, bytes]]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        told = [
            f"{each.filename} {each.date_time} {each.compress_type} {each.external_attr:o} "
            f"{each.create_system} {each.comment!r}\n"
            for each in archive.infolist()
        ]
        members = {
            each.filename: archive.read(each) for each in archive.infolist() if not each.is_dir()
        }
    ink.learn(members)
    yield f"{name}/members", ink.over("".join(told).encode())
    for member, content in members.items():
        for part, output in _outputs(member, content, ink, pixels=pixels):
            yield f"{name}/{ink.over(part.encode()).decode()}", output


def _certificates(data: bytes) -> str:
    return "\n".join(
        f"{each.subject.rfc4514_string()}\nby {each.issuer.rfc4514_string()}\n"
        f"{each.not_valid_before_utc} to {each.not_valid_after_utc}\n"
        f"{type(each.public_key()).__name__} {each.signature_algorithm_oid.dotted_string}\n"
        + "".join(f"{one.critical} {one.value!r}\n" for one in each.extensions if _stable(one))
        for each in x509.load_pem_x509_certificates(data)
    )


def _stable(extension: x509.Extension[x509.ExtensionType]) -> bool:
    """Whether an extension is not a digest of a key."""
    return not isinstance(extension.value, x509.SubjectKeyIdentifier | x509.AuthorityKeyIdentifier)
