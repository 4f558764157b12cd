"""The freezer: check that a change of the code changes nothing that a user sees.

    python scripts/freeze.py record STORE      # make inputs, run all calls, keep all outputs
    python scripts/freeze.py compare STORE     # run the same calls with this checkout's code
    python scripts/freeze.py accept STORE      # the same, and keep the new outputs

`record` makes invented jobs for every rule with the test helpers of its own checkout, and runs
them with the code of `--checkout`; `compare` needs only the command itself. It compares
printed texts, exit codes and files byte by byte; of sheets the words and their places, pixels,
attachments and metadata; of pages their elements. Differences are printed, and the new outputs
kept in STORE/differs, in a folder with the checkout's name.
"""

from __future__ import annotations

import argparse
import difflib
import os
import shlex
import shutil
import sys
import time
from collections.abc import Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from freezing.cases import Case

CHECKOUT = Path(__file__).resolve().parent.parent
EXCERPT = 14
"""Lines of a difference that are printed."""
LONGEST_LINE = 200
"""Characters; texts with longer lines are split at commas."""

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ[name] = "1"  # before numpy is imported: the same sums on any number of cores


def record(store: Path, checkout: Path, asked: argparse.Namespace) -> int:
    """Make inputs and cases, run them, and keep both with the outputs in an empty STORE."""
    from freezing.cases import load_cases, save_cases
    from freezing.replay import replay
    from freezing.running import Stage, imported_by, in_fork

    if store.exists() and any(store.iterdir()):
        print(f"{store} already exists", file=sys.stderr)
        return 2
    store.mkdir(parents=True, exist_ok=True)
    cases_file, recorded = store / "cases.json", store / "recorded"
    with Stage.of(CHECKOUT) as stage:

        def make() -> None:
            from freezing.inputs import make_inputs

            save_cases(cases_file, make_inputs(stage, CHECKOUT))

        in_fork(make)
        shutil.copytree(stage.inputs, store / "inputs", symlinks=True)
    cases = chosen(load_cases(cases_file), asked.only, asked.quick)
    if not cases:
        print(f"no case has {asked.only!r} in its name", file=sys.stderr)
        return 2
    with Stage.of(checkout) as stage:
        shutil.copytree(store / "inputs", stage.inputs, symlinks=True)
        modules = imported_by(cases[0].calls, stage.root)
        (store / "modules.txt").write_text("\n".join(modules) + "\n")
        done: dict[str, Case] = {}
        for played in replay(stage, cases, modules, asked.jobs):
            keep(recorded / played.case.name, played.outputs)
            done[played.case.name] = played.case
    save_cases(cases_file, (done[case.name] for case in cases))
    total = sum(1 for _ in compared_files(recorded))
    print(f"{total} outputs of {len(cases)} cases recorded")
    return 0


def compare(store: Path, checkout: Path, asked: argparse.Namespace) -> int:
    """Run the cases again with the checkout's code; returns 1 if an output differs.

    With `accept`, the new outputs of such a case replace the recorded ones.
    """
    from freezing.cases import load_cases
    from freezing.replay import replay
    from freezing.running import Stage

    start = time.monotonic()
    differs = store / "differs" / checkout.name
    shutil.rmtree(differs, ignore_errors=True)
    cases = chosen(load_cases(store / "cases.json"), asked.only, asked.quick)
    modules = (store / "modules.txt").read_text().split()
    compared = different = 0
    with Stage.of(checkout) as stage:
        shutil.copytree(store / "inputs", stage.inputs, symlinks=True)
        for played in replay(stage, cases, modules, asked.jobs):
            place = store / "recorded" / played.case.name
            old = {
                str(each.relative_to(place)): each.read_bytes() for each in compared_files(place)
            }
            new = {name: data for name, data in played.outputs.items() if not is_kept(name)}
            names = [name for name in sorted({*old, *new}) if old.get(name) != new.get(name)]
            compared += len({*old, *new})
            different += len(names)
            for name in names:
                print("\n".join(difference(played.case, name, old.get(name), new.get(name))))
            if names and asked.task == "accept":
                shutil.rmtree(place, ignore_errors=True)
                keep(place, played.outputs)
            elif names:
                keep(differs / played.case.name, played.outputs)
    seconds = time.monotonic() - start
    verdict = f"{different} differ" if different else "all equal"
    print(f"{compared} outputs of {len(cases)} cases compared in {seconds:.0f} s: {verdict}")
    return int(different > 0 and asked.task == "compare")


def chosen(cases: Sequence[Case], only: str, quick: bool) -> list[Case]:
    """The selected cases."""
    return [case for case in cases if only in case.name and (case.quick or not quick)]


def compared_files(place: Path) -> Iterator[Path]:
    """The outputs in a folder, without those kept for inspection."""
    return (
        path
        for path in sorted(place.rglob("*"))
        if path.is_file() and not is_kept(str(path.relative_to(place)))
    )


def is_kept(name: str) -> bool:
    """Whether an output is for inspection only."""
    return "/kept/" in name


def keep(place: Path, outputs: dict[str, bytes]) -> None:
    """Write outputs below a folder."""
    for name, data in outputs.items():
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (place / name).write_bytes(data)


def difference(case: Case, name: str, old: bytes | None, new: bytes | None) -> Iterator[str]:
    """A difference in lines: its place, its call, and the first differing lines."""
    number, _, rest = name.partition("/")
    yield f"\n=== {case.name}, call {number}: {rest}"
    yield f"$ compliance {shlex.join(case.calls[int(number) - 1].args)}"
    if old is None or new is None:
        yield "    is new" if old is None else "    is gone"
        return
    before, after = lines(old), lines(new)
    changed = difflib.unified_diff(before, after, lineterm="", n=1)
    yield from (line[:LONGEST_LINE] for line in islice(changed, 2, 2 + EXCERPT))


def lines(data: bytes) -> list[str]:
    """Text in lines, split at commas too if the lines are long."""
    whole = data.decode("utf-8", "backslashreplace").splitlines()
    if max(map(len, whole), default=0) <= LONGEST_LINE:
        return whole
    return [part for line in whole for part in line.replace(",", ",\n").splitlines()]


def main() -> int:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("task", choices=("record", "compare", "accept"))
    parser.add_argument("store", type=Path, metavar="STORE")
    parser.add_argument("--only", default="", metavar="TEXT", help="cases whose name has TEXT")
    parser.add_argument("--quick", action="store_true", help="a representative subset")
    parser.add_argument("--jobs", type=int, default=2, metavar="N", help="processes; default 2")
    parser.add_argument(
        "--checkout", type=Path, default=CHECKOUT, metavar="DIR",
        help="run its code; default: this script's checkout",
    )  # fmt: skip
    asked = parser.parse_args()
    store, checkout = asked.store.resolve(), asked.checkout.resolve()
    if asked.task == "record":
        return record(store, checkout, asked)
    return compare(store, checkout, asked)


if __name__ == "__main__":
    sys.exit(main())
