"""What the catalogue says of one quantity."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Quantity"]

EACH = ("each",)
STATISTICS = ("each", "mean", "percentile", "spread", "pairwise")


@dataclass(frozen=True, slots=True)
class Quantity:
    """One row of the catalogue."""

    name: str
    unit: str
    """As printed; `1` for a plain number."""
    title: str
    definition: str
    source: str
    values: str = "point"
    """`point`: one value per patch; `whole`: one of all patches together;
    `stated`: taken from the job, no patch at all."""
    signed: bool = False
    distance: bool = False
    """Never negative, 0 where all is well: its interval runs from 0."""
    pair: bool = False
    """The value is an (x, y) offset, its limits a box."""
    roles: tuple[str, ...] = ()
    """Built-in sets it takes by itself; `over` may then be left out."""
    target: bool = False
    """It compares with the target, so codes out of reach are not judged."""
    references: tuple[str, ...] = ("target",)
    """What `reference` may say; one entry: the key is not allowed."""
    dark: str | None = None
    """Which floor keeps it from dark patches: `luminance` or `chromaticity`."""
    options: tuple[str, ...] = ()
    """Further keys that a requirement on it may carry."""
    example: str = "max: 1"
    """A limit as it might be written, for messages."""

    @property
    def statistics(self) -> tuple[str, ...]:
        """What `statistic` may say."""
        return STATISTICS if self.values == "point" and not self.pair else EACH
