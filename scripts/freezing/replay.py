"""Run cases on a stage, several at a time, and return their outputs by name."""

from __future__ import annotations

import multiprocessing
import resource
import shutil
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from freezing.cases import Case
from freezing.outputs import Ink, file_outputs, files_below, listing, sha256
from freezing.running import Stage, import_all, run

__all__ = ["Replayed", "replay"]

KEPT = "kept/"
"""Prefix of outputs for inspection, which are not compared."""


@dataclass(frozen=True, slots=True)
class Replayed:
    """A case and its outputs."""

    case: Case
    outputs: dict[str, bytes]


@dataclass(frozen=True, slots=True)
class Player:
    """The task of a worker process: run one case."""

    stage: Stage
    constant: frozenset[str]

    def play(self, numbered: tuple[int, Case]) -> Replayed:
        """Run the calls of a case in a new folder and collect their outputs."""
        number, case = numbered
        start = busy()
        folder = self.stage.root / f"case-{number:04}"
        self._furnish(folder, case)
        outputs = dict(self._outputs(folder, case))
        shutil.rmtree(folder)
        return Replayed(replace(case, seconds=round(busy() - start, 2)), outputs)

    def _furnish(self, folder: Path, case: Case) -> None:
        folder.mkdir()
        for name, source in case.copied.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            place = self.stage.inputs / source
            if place.is_dir():
                shutil.copytree(place, folder / name, dirs_exist_ok=True)
            else:
                shutil.copy2(place, folder / name)
        for name, text in case.written.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_text(text, encoding="utf-8", newline="")

    def _outputs(self, folder: Path, case: Case) -> Iterator[tuple[str, bytes]]:
        ink = Ink(
            {
                str(folder): "<here>",
                str(self.stage.code): "<code>",
                str(self.stage.root): "<stage>",
                sys.prefix: "<environment>",
            },
            self.constant,
        )
        before = files_below(folder)
        for number, call in enumerate(case.calls, 1):
            printed = run(call, folder, notes=folder.with_suffix(".x"))
            after = files_below(folder)
            new = {name: data for name, data in after.items() if before.get(name) != data}
            yield from (
                (f"{number}/{KEPT}{name.removeprefix(KEPT)}", data) if name.startswith(KEPT)
                else (f"{number}/files/{name}", data)
                for name, data in file_outputs(new, ink, pixels=case.pixels)
            )  # fmt: skip
            yield f"{number}/exit", f"{printed.code}\n".encode()
            yield f"{number}/stdout", ink.over(printed.stdout)
            yield f"{number}/stderr", ink.over(printed.stderr)
            yield f"{number}/listing", ink.over(listing(folder).encode())
            before = after


def busy() -> float:
    """Seconds of computing of this process and its children."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in used)


def replay(
    stage: Stage, cases: Sequence[Case], modules: Iterable[str], jobs: int
) -> Iterator[Replayed]:
    """Run the cases with the code of the stage, the longest first, and yield them when done.

    `modules` are imported once, for all.
    """
    import_all(stage.code, modules)
    constant = frozenset(map(sha256, files_below(stage.inputs).values()))
    player = Player(stage, constant)
    ordered = sorted(cases, key=lambda case: -case.seconds)
    with multiprocessing.get_context("fork").Pool(jobs) as pool:
        yield from pool.imap_unordered(player.play, enumerate(ordered))
