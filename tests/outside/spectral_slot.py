"""A slot of a spectral panel: codes of a plan in, the light of each row out.

The signal goes through the slot's table (an ideal mapping to amounts of the deliverable's own
primaries, then to the panel's), the panel's drive curves, and its light. Each stage takes steps, so
that a fault changes one stage and nothing else. Amounts are in cd/m² of the neutral that equal
amounts give, in the deliverable's primaries; levels of light are relative, 1 at full drive.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from outside.displays import Array, Pair, channels, xyz_of
from outside.ideal import Corners, Target
from outside.rulebook import Rulebook
from outside.spectra import Spectral, xyz_of_spectra

HEADROOM = 1.12
"""Full drive over what the brightest neutral of the slot needs."""
NODES: Array = np.linspace(0, 1, 2049) ** 2
"""Drives at which a panel's curve is tabled; denser in the dark."""


@dataclass(frozen=True)
class Rows:
    """What a step may know of each row (n,): its window in %, seconds shown, and its place 0..1."""

    window: Array
    seconds: Array
    time: Array
    level: Array
    """Signal of the highest channel, 0..1, as the rule means it."""


Step = Callable[[Array, Rows], Array]
"""Changes (n, 3) of a stage."""


@dataclass(frozen=True)
class Curve:
    """A channel's light over its drive: a power, bent as a liquid crystal's curve is."""

    exponent: float = 2.2
    bend: float = 0.0

    def light(self, drive: Array) -> Array:
        """Give light of a drive, both 0..1, clipped."""
        return np.interp(drive, NODES, self._nodes())

    def drive(self, light: Array) -> Array:
        """Give the drive of a light: exactly the inverse."""
        return np.interp(light, self._nodes(), NODES)

    def _nodes(self) -> Array:
        return NODES**self.exponent * (1 + self.bend * (1 - NODES))


@dataclass(frozen=True)
class Slot:
    """One slot of a panel, exactly the rule's target but for its steps and what is replaced."""

    book: Rulebook
    panel: Spectral
    white: float
    """cd/m² of the brightest neutral: full signal, or where PQ clips."""
    black: float
    """cd/m² of the leak."""
    table: Target
    """What the slot was loaded for: the rule's target when right."""
    ceiling: float
    """cd/m² of the neutral at full drive of the weakest channel."""
    corners: Corners | None = None
    """Primaries that the slot shows; the table's unless stated."""
    white_xy: Pair | None = None
    """Of the white that the slot shows; the table's unless stated."""
    gamma: float | None = None
    """Of HLG; the rule's nominal unless stated."""
    table_white: float | None = None
    """cd/m² that the table aims at; `white` unless stated."""
    table_peak: float | None = None
    """cd/m² where a table of PQ clips; `white` unless stated."""
    curves: tuple[Curve, Curve, Curve] = (Curve(), Curve(), Curve())
    codes: tuple[Step, ...] = ()
    """Change codes before they are decoded."""
    amounts: tuple[Step, ...] = ()
    """Change amounts, as a share of the white, in the deliverable's primaries."""
    drives: tuple[Step, ...] = ()
    """Change drives of the native channels."""
    lights: tuple[Step, ...] = ()
    """Change light of the native channels as a share of what the white needs of each."""
    leak_share: float = 0.0
    """Share of the leak that has the backlight's own spectrum; the rest has the white's colour."""
    raised: float = 0.0
    """cd/m² of leak that came after the slot was set up."""
    points: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    flare: float = 0.0
    loading: Mapping[float, float] = field(default_factory=dict)
    sustained: float = 1.0

    def with_step(self, stage: str, step: Step) -> Slot:
        """Add a step at the end of a stage."""
        return replace(self, **{stage: (*getattr(self, stage), step)})  # type: ignore[arg-type]

    def rows(self) -> Rows:
        """Give what steps may know of the plan's rows."""
        rows = self.book.rows
        target = self.book.target
        codes = self.book.row_codes.astype(float)
        if target.container is None:
            level = codes[:, 1] / self.book.white_code[1]
        else:
            level = target.signal(codes).max(axis=1)
        return Rows(
            window=np.array([row.window for row in rows]),
            seconds=np.array([row.seconds for row in rows]),
            time=np.linspace(0, 1, len(rows)),
            level=np.clip(level, 0, 1),
        )

    def full(self) -> Array:
        """Give the native columns X, Y, Z (3, 3) at full drive, cd/m²."""
        needed = np.linalg.solve(self.panel.matrix, xyz_of((1.0, *self.book.target.white_xy)))
        return np.asarray(self.panel.matrix * (self.ceiling * needed.max()))

    def leak_colour(self) -> Array:
        """Give X, Y, Z at Y 1 of the leak."""
        own = xyz_of_spectra(self.panel.leak)
        white = xyz_of((1.0, *self.book.target.white_xy))
        return np.asarray((1 - self.leak_share) * white + self.leak_share * own / own[1])

    def emitted(self) -> Array:
        """Give light (row, 4): native channels as a share of full drive, and cd/m² of own leak."""
        rows = self.rows()
        light = self._native(self._amounts(rows))
        drive = self._stage(self.drives, self._driven(light), rows)
        light = self._lit(np.clip(drive, 0, 1))
        need = self.white_light()
        light = self._stage(self.lights, light / need, rows) * need
        light = self._loaded(np.maximum(light, 0), rows)
        checker = np.array([row.pattern == "checkerboard" for row in self.book.rows])
        light = light + checker[:, None] * self.flare * need
        leak = self.black + self.raised
        unit = np.linalg.solve(self.full(), xyz_of((1.0, *self.book.target.white_xy)))
        light = light + (1 - self.leak_share) * leak * unit
        found = np.column_stack([light, np.full(len(light), self.leak_share * leak)])
        for i, row in enumerate(self.book.rows):
            factors = self.points.get(row.position, (1.0, 1.0, 1.0))
            found[i] = found[i] * np.array((*factors, factors[1]))
        return found

    def shown(self) -> Array:
        """Give the true X, Y, Z (row, 3), cd/m²."""
        own = xyz_of_spectra(self.panel.leak)
        columns = np.column_stack([self.full(), own / own[1]])
        return np.asarray(self.emitted() @ columns.T)

    def white_light(self) -> Array:
        """Give the native light (3,), a share of full drive, that the rule's white needs."""
        wanted = self.white * xyz_of((1.0, *self.book.target.white_xy))
        wanted = wanted - self.black * self.leak_colour()
        return np.maximum(np.linalg.solve(self.full(), wanted), 1e-9)

    def _amounts(self, rows: Rows) -> Array:
        """Decode the codes as the table does: amounts as a share of the white."""
        codes = self._stage(self.codes, self.book.row_codes.astype(float), rows)
        table = self.table
        aim = self.table_white or self.white
        leak = self.black * self.leak_colour()
        xyz = table.xyz(codes, aim, self.black, gamma=self.gamma, black_xyz=self.leak_colour())
        if table.form == "add":
            xyz = xyz - leak
        own = np.linalg.inv(table.matrix(table.primaries))
        amounts = np.maximum(xyz @ own.T, 0)
        if table.curve == "pq":
            amounts = np.minimum(amounts, self.table_peak or self.white)
        return self._stage(self.amounts, amounts / self.white, rows)

    def _native(self, amounts: Array) -> Array:
        """Turn amounts into light of the native channels, as a share of full drive."""
        corners = self.corners or self.table.primaries
        xyz = self.white * amounts @ channels(corners, self.white_xy or self.table.white_xy).T
        if self.table.form != "add":
            xyz = xyz - self.black * self.leak_colour()
        return np.clip(np.linalg.solve(self.full(), xyz.T).T, 0, 1)

    def _driven(self, light: Array) -> Array:
        return np.stack([self.curves[i].drive(light[:, i]) for i in range(3)], axis=-1)

    def _lit(self, drive: Array) -> Array:
        return np.stack([self.curves[i].light(drive[:, i]) for i in range(3)], axis=-1)

    @staticmethod
    def _stage(steps: tuple[Step, ...], values: Array, rows: Rows) -> Array:
        for step in steps:
            values = step(values, rows)
        return values

    def _loaded(self, light: Array, rows: Rows) -> Array:
        """Dim what is bright in large windows and after a minute, as a good panel may."""
        factor = np.array([self.loading.get(float(window), 1.0) for window in rows.window])
        factor = np.where(rows.seconds >= 60, factor * self.sustained, factor)
        high = (light / self.white_light()).max(axis=1)
        share = np.clip((high - 0.3) / 0.4, 0, 1)
        return light * (1 - share * (1 - factor))[:, None]
