"""Build a bag (BagIt 1.0, RFC 8493) as names and bytes, and check it against its manifests.

The format defines the files in the folder and their digests, but not who made it: that is
proven by the signature over its tag manifest.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

DECLARATION = "bagit.txt"
INFO = "bag-info.txt"
MANIFEST = "manifest-sha256.txt"
TAG_MANIFEST = "tagmanifest-sha256.txt"
PAGE = "index.html"
SUMMARY = "delivery.json"
TABLE = "delivery.csv"
SIGNATURE = "signature.p7s"
"""The signature over the tag manifest; the only file that no manifest can name."""

DECLARED = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
AGENT_LABEL = "Bag-Software-Agent"
TOP = (DECLARATION, INFO, PAGE, SUMMARY, TABLE, MANIFEST, TAG_MANIFEST, SIGNATURE)
LINE = re.compile(r"([0-9a-f]{64})  (.+)")
LONGEST = 1000
"""Most characters of a path."""
DEPTH = 12
RESERVED = frozenset('<>:"|?*%')
"""Characters that some file systems reserve; a manifest would write % in another way (RFC 8493,
2.1.3)."""
MOST_FAULTS = 100
"""Faults of a manifest after which the rest of it is not read."""
MOST_LINES = 20_000
"""Most lines of a manifest or of bag-info.txt."""

Tag = tuple[str, str]
"""A label of bag-info.txt and its text."""


@dataclass(frozen=True, slots=True)
class Sum:
    """A file's SHA-256 and its size in bytes."""

    sha256: str
    size: int


def sum_of(data: bytes) -> Sum:
    """Return the sum of a file's bytes."""
    return Sum(hashlib.sha256(data).hexdigest(), len(data))


def tag_files(
    payload: Mapping[str, Sum], info: Sequence[Tag], described: Mapping[str, bytes], agent: str
) -> dict[str, bytes]:
    """Build all files of a bag beside its payload, by path, without a signature.

    `payload` is by path, which begins with `data/`. `info` goes into bag-info.txt in its order,
    followed by the size of the payload and the `agent` that made the bag. `described` are files
    that describe the payload.
    """
    size = sum(each.size for each in payload.values())
    lines = [*info, ("Payload-Oxum", f"{size}.{len(payload)}"), (AGENT_LABEL, agent)]
    tags = {
        DECLARATION: DECLARED,
        INFO: "".join(f"{label}: {_one_line(text)}\n" for label, text in lines).encode(),
        **described,
        MANIFEST: _manifest({name: each.sha256 for name, each in payload.items()}),
    }
    listed = {name: sum_of(data).sha256 for name, data in tags.items()}
    return {**tags, TAG_MANIFEST: _manifest(listed)}


def _one_line(text: str) -> str:
    return " ".join(text.split()) or "not stated"


def _manifest(digests: Mapping[str, str]) -> bytes:
    lines = (f"{digest}  {name}\n" for name, digest in sorted(digests.items()))
    return "".join(lines).encode()


# ---------------------------------------------------------------- paths


def path_fault(name: str) -> str | None:
    """Return why a path is not allowed in a delivery; None if it is. Such a path is not opened."""
    shown = ascii(name[:120])
    if not name or len(name) > LONGEST:
        return f"{shown}: expected a path of 1 to {LONGEST} characters"
    if name.startswith(("/", "\\", "~")) or re.match("[A-Za-z]:", name):
        return f"{shown}: is an absolute path; expected one inside the folder"
    parts = name.split("/")
    if ".." in parts:
        return f"{shown}: leads out of the folder"
    if "\\" in name or any(part in ("", ".") for part in parts) or len(parts) > DEPTH:
        return f"{shown}: is not a plain path"
    if any(unicodedata.category(char)[0] == "C" for char in name):
        return f"{shown}: contains an invisible character"
    if RESERVED & set(name) or any(part.endswith((".", " ")) for part in parts):
        return f"{shown}: has another name on other systems"
    return None


# ---------------------------------------------------------------- against the manifests


@dataclass(frozen=True, slots=True)
class Listing:
    """The content of a bag's manifests."""

    digests: Mapping[str, str]
    """Digests by path, of payload and tag files together."""
    faults: tuple[str, ...]


def read_manifests(texts: Mapping[str, bytes], names: Iterable[str]) -> Listing:
    """Read the digests that a bag states, and check the names of its files.

    `texts` are the bytes of the tag files that exist, `names` the paths of all files that
    exist. A path that is missing, added, listed twice or leads elsewhere is a fault; the
    caller compares the digests.
    """
    faults: list[str] = []
    digests: dict[str, str] = {}
    if texts.get(DECLARATION) != DECLARED:
        what = "is missing" if DECLARATION not in texts else "does not declare BagIt 1.0 in UTF-8"
        faults.append(f"{DECLARATION}: {what}")
    for manifest in (MANIFEST, TAG_MANIFEST):
        if manifest not in texts:
            faults.append(f"{manifest}: is missing")
            continue
        found, wrong = _parsed(manifest, texts[manifest])
        digests |= found
        faults += wrong
    there = set(names)
    faults += [f"{name}: is missing" for name in sorted(digests.keys() - there)]
    listed = digests.keys() | {TAG_MANIFEST, SIGNATURE}
    faults += [f"{name}: was added: not in any manifest" for name in sorted(there - listed)]
    faults += _unlisted(digests)
    return Listing(digests, tuple(dict.fromkeys(faults)))


def _parsed(manifest: str, data: bytes) -> tuple[dict[str, str], list[str]]:
    """Read a manifest; a fault for each line that other programs could read otherwise."""
    if data.count(b"\n") > MOST_LINES:
        return {}, [f"{manifest}: has more than {MOST_LINES} lines"]
    payload = manifest == MANIFEST
    found: dict[str, str] = {}
    faults: list[str] = []
    try:
        lines = data.decode().removesuffix("\n").split("\n")
    except UnicodeDecodeError:
        return {}, [f"{manifest}: is not UTF-8 text"]
    for number, line in enumerate(lines, 1):
        match = LINE.fullmatch(line)
        if match is None:
            fault: str | None = "expected a SHA-256, two spaces and a path"
        else:
            name = match[2]
            fault = path_fault(name)
            if fault is None and name.startswith("data/") != payload:
                fault = f"{name}: does not belong in this manifest"
            if fault is None and name in found:
                fault = f"{name}: is listed twice"
            if fault is None:
                found[name] = match[1]
        if fault is not None:
            faults.append(f"{manifest}:{number}: {fault}")
        if len(faults) >= MOST_FAULTS:
            break
    if not faults and data != _manifest(found):
        faults.append(f"{manifest}: is not sorted and written as 'deliver' does it")
    return found, faults


def _unlisted(digests: Mapping[str, str]) -> Iterable[str]:
    """Yield faults for files that the manifests must name, or must not."""
    for name in (DECLARATION, INFO, PAGE, MANIFEST):
        if name not in digests:
            yield f"{TAG_MANIFEST}: does not name {name}"
    for name in digests:
        if not name.startswith("data/") and name not in TOP:
            yield f"{name}: does not belong to a delivery"


def tags_in(data: bytes) -> list[Tag]:
    """Read the labels and texts of a bag-info.txt; ValueError if it is not one."""
    if data.count(b"\n") > MOST_LINES:
        raise ValueError(f"{INFO}: has more than {MOST_LINES} lines")
    try:
        lines = data.decode().removesuffix("\n").split("\n")
    except UnicodeDecodeError:
        raise ValueError(f"{INFO}: is not UTF-8 text") from None
    found: list[Tag] = []
    for number, line in enumerate(lines, 1):
        label, colon, text = line.partition(": ")
        if not colon:
            raise ValueError(f"{INFO}:{number}: expected 'label: text'")
        found.append((label, text))
    return found
