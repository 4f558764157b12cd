"""A rule's YAML as data: its requirements, and which rows of a plan each of them covers.

Nothing here is of one rule: sets, ranges and limits are read by the words of the file format. A
word that is not known raises `Unknown`, so that a new one is noticed, never skipped.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from io import StringIO
from pathlib import Path
from typing import Any

import numpy as np
import yaml
from click.testing import CliRunner

from compliance.cli import command
from outside.displays import Array, channels, signal_of, uv_of
from outside.ideal import Target

SPECS = Path(__file__).parents[2] / "specs"
GROUPS = {
    "sides": ("left", "right"),
    "corners": ("top-left", "top-right", "bottom-left", "bottom-right"),
}
FIVE = ("centre", *GROUPS["corners"])
NINE = ("centre", "left", "right", "top", "bottom", *GROUPS["corners"])
INNER = ("inner-top-left", "inner-top-right", "inner-bottom-left", "inner-bottom-right")
POINTS = {**GROUPS, "5-points": FIVE, "9-points": NINE, "13-points": (*NINE, *INNER)}
HUES = {
    "red": (1, 0, 0), "green": (0, 1, 0), "blue": (0, 0, 1),
    "cyan": (0, 1, 1), "magenta": (1, 0, 1), "yellow": (1, 1, 0),
}  # fmt: skip
NEVER_DARK = {"luminance", "contrast", "checkerboard-contrast", "monotonicity"}
"""Quantities that signal 0 belongs to, or whose range is stated by the rule itself."""
OFF_SCREEN = {"recorded", "declared"}


class Unknown(Exception):
    """A word of a rule that this reading of the format does not know."""


@dataclass(frozen=True)
class Patch:
    """What identifies a patch; rows that are equal in it are repeats."""

    codes: tuple[int, int, int]
    position: str
    window: float
    pattern: str
    seconds: float


@dataclass(frozen=True)
class Requirement:
    """One requirement that covers patches; `limits` of each patch are (min, max), None open."""

    id: str
    quantity: str
    shall: bool
    body: Mapping[str, Any]
    patches: tuple[int, ...]
    names: tuple[str, ...]
    limits: tuple[tuple[float | None, float | None], ...]
    box: tuple[float, float] | None
    levels: Array
    """The unscaled target, cd/m², of each patch."""

    @property
    def statistic(self) -> Any:
        """`each`, `mean`, …"""
        return self.body.get("statistic", "each")

    @property
    def reference(self) -> str:
        """`target`, `white`, `adapted` or `centre`."""
        return str(self.body.get("reference", "target"))


def plan_of(rule: str) -> str:
    """Give the program's plan of a rule, as CSV."""
    result = CliRunner().invoke(command, ["plan", rule])
    if result.exit_code != 0:
        raise Unknown(f"no plan of {rule}: {result.stderr}")
    return result.stdout


class Rulebook:
    """A rule with the rows of its plan."""

    def __init__(self, file: Path, plan: str | None = None) -> None:
        """Read the rule, and its plan from the program unless it is given."""
        self.file = file
        self.document: Mapping[str, Any] = yaml.safe_load(file.read_text(encoding="utf-8"))
        self.id = str(self.document["rule"])
        self.target = Target.of(self.document)
        self.window = float(self.document.get("window", 100))
        self.rows = _rows(plan or plan_of(str(file)), self.target.encoding)
        self.patches: list[Patch] = list(dict.fromkeys(self.rows))
        index = {patch: i for i, patch in enumerate(self.patches)}
        self.patch_of_row = np.array([index[row] for row in self.rows])
        self.codes = np.array([patch.codes for patch in self.patches])
        self.row_codes = np.array([row.codes for row in self.rows])
        self.averaging = np.zeros((len(self.patches), len(self.rows)))
        self.averaging[self.patch_of_row, np.arange(len(self.rows))] = 1
        self.averaging /= self.averaging.sum(axis=1, keepdims=True)
        self.nominal = self.target.nominal(self.codes)
        self.reachable = self.target.reachable(self.codes)
        self.neutral = self._neutrals()
        self.absent: list[tuple[str, str, Array]] = []
        """Listed patches that the plan leaves out: list, name, codes."""

    def _neutrals(self) -> Array:
        """Say which patches are neutral; of X'Y'Z' those within Δu'v' .003 of the white."""
        codes = self.codes
        if self.target.container is not None:
            return (codes[:, 0] == codes[:, 1]) & (codes[:, 1] == codes[:, 2])
        xyz = self.target.xyz(codes, self.target.white)
        lit = xyz.sum(axis=1) > 1e-9
        safe = np.where(lit[:, None], xyz, self.target.white_xyz)
        near = np.linalg.norm(uv_of(safe) - uv_of(self.target.white_xyz), axis=1) < 0.003
        expected = [self.target.neutral_code(level) for level in self.nominal]
        close = np.abs(codes - np.array(expected)).max(axis=1) <= 1
        return near | close

    # roles

    def at(
        self,
        codes: Sequence[int],
        *,
        window: float | None = None,
        position: str = "centre",
        seconds: float = 0,
        pattern: str | None = None,
        off: float = 0,
    ) -> int | None:
        """Find the patch with these codes, the nearest within `off` codes of each component."""
        size = self.window if window is None else window
        kind = pattern or ("full" if size == 100 else "window")
        found = [
            (int(np.abs(np.array(patch.codes) - codes).max()), i)
            for i, patch in enumerate(self.patches)
            if (patch.position, patch.window, patch.seconds, patch.pattern)
            == (position, size, seconds, kind)
        ]
        best = min(found, default=None)
        return best[1] if best is not None and best[0] <= off else None

    @property
    def white_code(self) -> tuple[int, int, int]:
        """The code of `white`."""
        return self.target.white_code()

    @property
    def black_code(self) -> tuple[int, int, int]:
        """The code of signal 0."""
        if self.target.container is None:
            return (0, 0, 0)
        black = int(self.target.codes(0.0))
        return (black, black, black)

    @property
    def peak_code(self) -> tuple[int, int, int]:
        """The code of `peak`."""
        return self.target.neutral_code(self.target.peak)

    def white_patch(self, window: float | None = None) -> int | None:
        """Find the white of a window."""
        return self.at(self.white_code, window=window, off=1)

    def black_patch(self, window: float | None = None) -> int | None:
        """Find the black of a window; the rule's own window where that one has none."""
        found = self.at(self.black_code, window=window)
        return self.at(self.black_code) if found is None else found

    # sets

    def hue_codes(self, hue: str, saturation: float, level: float) -> Array:
        """Give the codes of a hue of the target's own primaries, part of the way in u'v'."""
        own = channels(self.target.primaries, self.target.white_xy)
        white, full = uv_of(self.target.white_xyz), uv_of(own @ np.array(HUES[hue], dtype=float))
        u, v = white + saturation * (full - white)
        xyz = np.array([9 * u / (4 * v), 1.0, (12 - 3 * u - 20 * v) / (4 * v)])
        parts = np.linalg.solve(own, xyz)
        parts = np.where(np.abs(parts) < 1e-9, 0, parts / parts.max())
        xyz = own @ parts
        if self.target.container is None:
            raise Unknown("hues of an X'Y'Z' signal")
        outer = channels(self.target.container, self.target.white_xy)
        signal = self.target.encode(np.linalg.solve(outer, xyz), level)
        return self.target.codes(np.clip(signal, 0, 1))

    def _level_of(self, body: Mapping[str, Any]) -> list[float]:
        """Give the drives of a set of hues, cd/m² on the neutral axis."""
        white = self.target.white
        usual = min(white, 100.0) if self.target.curve in ("pq", "hlg") else white
        value = body.get("neutral", usual)
        return [float(v) for v in (value if isinstance(value, list) else [value])]

    def members(self, name: str) -> list[tuple[str, int]]:
        """Give (name, patch) of a set, before it is narrowed."""
        if name in ("white", "black", "peak"):
            return self._roles(name)
        body = self.document["patches"][name]
        known = {
            "ramp", "steps", "signal", "hues", "saturations", "list", "positions", "windows",
            "repeats", "of", "neutral", "window", "pattern", "seconds",
        }  # fmt: skip
        if set(body) - known:
            raise Unknown(f"set {name}: {sorted(set(body) - known)}")
        if "list" in body:
            return self._listed(body)
        if "ramp" in body:
            low, high = body.get("signal", [0, 1])
            return [
                (f"neutral-{level:.3f}", i)
                for i, level in self.neutral_levels().items()
                if low - 0.03 <= level <= high + 0.03
            ]
        if "hues" in body or "saturations" in body:
            return self._hues(body)
        if "positions" in body or "windows" in body or "repeats" in body:
            of = self.members(str(body.get("of", "white")))
            if "repeats" in body:
                return of
            codes = self.patches[of[0][1]].codes
            if "positions" in body:
                points = [p for group in body["positions"] for p in POINTS.get(group, (group,))]
                found = [
                    (p, self.at(codes, position=p, window=self._window(body)))
                    for p in dict.fromkeys(points)
                ]
            else:
                found = [(f"{w} %", self.at(codes, window=float(w))) for w in body["windows"]]
            return [(label, i) for label, i in found if i is not None]
        raise Unknown(f"set {name}: {sorted(body)}")

    def _window(self, body: Mapping[str, Any]) -> float | None:
        return float(body["window"]) if "window" in body else None

    def _roles(self, name: str) -> list[tuple[str, int]]:
        codes = {"white": self.white_code, "black": self.black_code, "peak": self.peak_code}[name]
        off = 1 if name != "black" else 0
        return [
            (name, i)
            for i, patch in enumerate(self.patches)
            if np.abs(np.array(patch.codes) - codes).max() <= off
        ]

    def neutral_levels(self) -> dict[int, float]:
        """Give the signal level of each neutral at the centre in the rule's window."""
        kind = "full" if self.window == 100 else "window"
        if self.target.container is None:
            levels = self.codes[:, 1] / self.white_code[1]
        else:
            levels = signal_of(self.codes, self.target.encoding)[:, 1]
        return {
            i: float(levels[i])
            for i, patch in enumerate(self.patches)
            if self.neutral[i]
            and (patch.position, patch.window, patch.pattern, patch.seconds)
            == ("centre", self.window, kind, 0)
        }

    def _listed(self, body: Mapping[str, Any]) -> list[tuple[str, int]]:
        listed = yaml.safe_load((self.file.parent / body["list"]).read_text(encoding="utf-8"))
        window, found = self._window(body), []
        for name, codes in listed["patches"].items():
            if listed["encoding"] == self.target.encoding:
                wanted = np.array(codes)
            elif self.target.container is None:
                raise Unknown(f"list in {listed['encoding']} for an X'Y'Z' signal")
            else:
                wanted = self.target.codes(signal_of(codes, listed["encoding"]))
            i = self.at(wanted.tolist(), window=window, off=1)
            if i is None:
                self.absent.append((str(body["list"]), str(name), wanted))
            else:
                found.append((str(name), i))
        return found

    def _hues(self, body: Mapping[str, Any]) -> list[tuple[str, int]]:
        found = []
        window = self._window(body)
        steps = int(body.get("steps", 1)) if "saturations" in body else 1
        for level in self._level_of(body):
            for hue in body.get("hues", body.get("saturations")):
                for step in range(1, steps + 1):
                    codes = self.hue_codes(hue, step / steps, level)
                    i = self.at(codes.tolist(), window=window, off=2)
                    if i is None:
                        raise Unknown(f"{hue} {step}/{steps} {codes.tolist()} is not in the plan")
                    found.append((hue if step == steps else f"{hue}-{100 * step // steps}", i))
        return found

    # requirements

    @cached_property
    def requirements(self) -> list[Requirement]:
        """All requirements that cover patches."""
        defaults = self.document.get("defaults", {})
        found = []
        for id_, own in self.document["requirements"].items():
            body = {**defaults, **own}
            if body["quantity"] not in OFF_SCREEN:
                found.append(self._requirement(id_, body))
        return found

    def applies(self, requirement: Requirement, technology: str) -> bool:
        """Say whether a requirement is for this kind of display."""
        kind = requirement.body.get("displays")
        if kind is None:
            return True
        return (kind == "projector") == (technology == "projector")

    def _requirement(self, id_: str, body: Mapping[str, Any]) -> Requirement:
        over = body.get("over", {})
        if isinstance(over, str):
            over = {"patches": over}
        known = {
            "patches", "signal", "target", "position", "window", "pattern", "seconds", "only",
            "except",
        }  # fmt: skip
        if set(over) - known:
            raise Unknown(f"{id_}: over {sorted(set(over) - known)}")
        names = over.get("patches", [])
        sets = [names] if isinstance(names, str) else list(names)
        if not sets:
            return self._fixed_roles(id_, body)
        members: dict[int, str] = {}
        self.absent.clear()
        for name in sets:
            for label, i in self.members(name):
                members.setdefault(i, label)
        self._check_absent(id_, over, body)
        kept = [i for i in members if self._covers(i, members[i], over, body, sets)]
        if body["quantity"] in ("fitted-exponent", "monotonicity", "slope-monotonicity"):
            kept.sort(key=lambda i: self.nominal[i])
        limits, box = self._limits(id_, body, kept, members)
        return Requirement(
            id_,
            body["quantity"],
            body.get("level", "shall") == "shall",
            body,
            tuple(kept),
            tuple(members[i] for i in kept),
            tuple(limits),
            box,
            self.nominal[kept],
        )

    def _check_absent(self, id_: str, over: Mapping[str, Any], body: Mapping[str, Any]) -> None:
        """Raise if the plan lacks a listed patch within the requirement's range."""
        low, high = self._range(over, body)
        for file, name, codes in self.absent:
            level = self.target.nominal(codes[None, :])[0]
            wanted = "only" not in over or name in over["only"]
            wanted = wanted and name not in over.get("except", ())
            if low <= level <= high and wanted and self.target.reachable(codes[None, :])[0]:
                raise Unknown(f"{id_}: {name} {codes.tolist()} of {file} is not in the plan")

    def _fixed_roles(self, id_: str, body: Mapping[str, Any]) -> Requirement:
        """Give contrast, coverage and additivity, whose roles the catalogue fixes."""
        roles: list[tuple[str, int | None]]
        if body["quantity"] == "contrast":
            roles = [("white", self.white_patch()), ("black", self.black_patch())]
        elif body["quantity"] in ("gamut-coverage", "additivity"):
            level = self._level_of({})[0]
            roles = [
                (hue, self.at(self.hue_codes(hue, 1, level).tolist(), off=2))
                for hue in ("red", "green", "blue")
            ]
        else:
            raise Unknown(f"{id_}: {body['quantity']} without patches")
        missing = [name for name, i in roles if i is None]
        if missing:
            raise Unknown(f"{id_}: no {missing} in the plan")
        kept = [i for _, i in roles if i is not None]
        limits, box = self._limits(id_, body, [], {})
        names = tuple(name for name, _ in roles)
        shall = body.get("level", "shall") == "shall"
        return Requirement(
            id_, body["quantity"], shall, body, tuple(kept), names, tuple(limits), box,
            self.nominal[kept],
        )  # fmt: skip

    def _covers(
        self,
        i: int,
        label: str,
        over: Mapping[str, Any],
        body: Mapping[str, Any],
        sets: Sequence[str],
    ) -> bool:
        """Say whether a member of the sets is in the requirement's own ranges."""
        patch = self.patches[i]
        if "only" in over and label not in over["only"]:
            return False
        if "except" in over and label in over["except"]:
            return False
        placed = any("positions" in self.document["patches"].get(name, {}) for name in sets)
        if "position" in over:
            wanted = over["position"]
            groups = [wanted] if isinstance(wanted, str) else wanted
            points = {p for group in groups for p in POINTS.get(group, (group,))}
            if patch.position not in points:
                return False
        elif not placed and patch.position != "centre":
            return False
        bodies = [self.document["patches"].get(name, {}) for name in sets]
        by_window = any("windows" in b for b in bodies)
        stated = next((float(b["window"]) for b in bodies if "window" in b), self.window)
        if sets == ["peak"] or any(b.get("of") == "peak" for b in bodies):
            stated = next((float(b["window"]) for b in bodies if "window" in b), 10.0)
        window = over.get("window", None if by_window else stated)
        windows = window if isinstance(window, list) else [window]
        if window is not None and patch.window not in [float(w) for w in windows]:
            return False
        seconds = over.get("seconds", next((b["seconds"] for b in bodies if "seconds" in b), 0))
        if patch.seconds != seconds:
            return False
        pattern = over.get("pattern", "full" if patch.window == 100 else "window")
        if patch.pattern != pattern:
            return False
        if "signal" in over:
            low, high = over["signal"]
            level = self.neutral_levels().get(i)
            half = 0.5 / self._span()
            if level is None or not low - half <= level <= high + half:
                return False
        if body["quantity"] in NEVER_DARK | {"fitted-exponent", "slope-monotonicity"} and (
            "target" not in over
        ):
            return True
        low, high = self._range(over, body)
        level = self.nominal[i]
        if not low * (1 - 1e-9) <= level <= high * (1 + 1e-9):
            return False
        return bool(self.reachable[i])

    def _range(self, over: Mapping[str, Any], body: Mapping[str, Any]) -> tuple[float, float]:
        """Give the ends of what a requirement covers, cd/m² of the unscaled target."""
        low, high = over.get("target", [body.get("floor", self._usual_floor()), np.inf])
        return float(low), float(high)

    def _usual_floor(self) -> float:
        return 0.05 if self.target.curve == "pq" else 0.1

    def _span(self) -> float:
        """Codes from black to white."""
        if self.target.container is None:
            return float(self.white_code[1])
        return float(self.target.codes(1.0) - self.target.codes(0.0))

    def _limits(
        self, id_: str, body: Mapping[str, Any], kept: Sequence[int], members: Mapping[int, str]
    ) -> tuple[list[tuple[float | None, float | None]], tuple[float, float] | None]:
        if "bands" in body:
            found = []
            for i in kept:
                band = next(b for b in body["bands"] if self.nominal[i] <= b.get("upto", np.inf))
                found.append(_ends({k: v for k, v in band.items() if k != "upto"}))
            return found, None
        if "by_patch" in body:
            return [_ends(body["by_patch"][members[i]]) for i in kept], None
        limits = body["limits"]
        if "box" in limits:
            dx, dy = limits["box"]
            return [(None, None)] * max(len(kept), 1), (float(dx), float(dy))
        return [_ends(limits)] * max(len(kept), 1), None


def _ends(limits: Mapping[str, Any]) -> tuple[float | None, float | None]:
    """Give (min, max) of limits."""
    known = {"min", "max", "within", "nominal", "within_percent", "exclusive", "unit"}
    if set(limits) - known:
        raise Unknown(f"limits {sorted(set(limits) - known)}")
    centre = float(limits.get("nominal", 0))
    if "within" in limits:
        return centre - float(limits["within"]), centre + float(limits["within"])
    if "within_percent" in limits:
        half = abs(centre) * float(limits["within_percent"]) / 100
        return centre - half, centre + half
    low, high = limits.get("min"), limits.get("max")
    return None if low is None else float(low), None if high is None else float(high)


def _rows(plan: str, encoding: str) -> list[Patch]:
    """Read the plan's rows."""
    found = []
    for row in csv.DictReader(StringIO(plan)):
        names = ("c1", "c2", "c3") if "c1" in row else ("r", "g", "b")
        if row.get("encoding", encoding) != encoding:
            raise Unknown(f"plan in {row['encoding']}")
        a, b, c = (int(row[name]) for name in names)
        found.append(
            Patch(
                (a, b, c),
                row["position"],
                float(row["window"]),
                row["pattern"],
                float(row["seconds"]),
            )
        )
    return found
