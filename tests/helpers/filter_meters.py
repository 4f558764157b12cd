"""Colorimeters simulated by their filters, and the one matrix that each reads a panel through.

A panel is three spectra; a meter is three filters with a calibration: a factor for each filter on
illuminant A, or a matrix made on another panel. Both are integrated apart from the models of
`compliance.diagnosis`. Standard functions and measured panels are those of colour-science; filters
and other panels are invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from helpers.outside_tools import colour

Array = NDArray[np.float64]

NM = np.arange(380.0, 781.0)


def _sampled(functions: object) -> Array:
    """(n, 3) at `NM`."""
    there, values = functions.wavelengths, functions.values  # type: ignore[attr-defined]
    return np.stack([np.interp(NM, there, column, left=0, right=0) for column in values.T], axis=-1)


def _bands(*bands: tuple[float, float]) -> Array:
    """(n, 3) Gaussian bands of a centre and a standard deviation in nm."""
    return np.stack([np.exp(-0.5 * ((NM - at) / wide) ** 2) for at, wide in bands], axis=-1)


OBSERVER = _sampled(list(colour.MSDS_CMFS.values())[6])
"""CIE 1931, 2 degrees."""
PANELS: tuple[Array, ...] = (
    *(_sampled(panel) for panel in colour.MSDS_DISPLAY_PRIMARIES.values()),
    _bands((630, 8), (528, 14), (452, 9)),
    _bands((612, 25), (535, 22), (458, 11)),
    _bands((640, 9), (525, 17), (465, 12)),
)
ILLUMINANT_A = 1 / (NM**5 * np.expm1(1.435e7 / (NM * 2848)))
"""CIE 15:2018, 4.1.1; relative."""


@dataclass(frozen=True)
class FilterMeter:
    """Filters that lie beside the observer's functions and are wider than these."""

    shift: tuple[float, float, float]
    """nm"""
    wide: tuple[float, float, float]
    """nm, standard deviation of the further width"""
    made_for: int | None = None
    """The panel for which its matrix was made; None: factors for illuminant A"""

    @property
    def filters(self) -> Array:
        """(n, 3)"""
        made = []
        for function, by, wide in zip(OBSERVER.T, self.shift, self.wide, strict=True):
            kernel = np.exp(-0.5 * (np.arange(-25, 26) / max(wide, 0.1)) ** 2)
            moved = np.interp(NM - by, NM, function)
            made.append(np.convolve(moved, kernel / kernel.sum(), "same"))
        return np.stack(made, axis=-1)

    def matrix(self, panel: int) -> Array:
        """(3, 3) from a panel's true XYZ to those that it reads."""
        filters, spectra = self.filters, PANELS[panel].T
        if self.made_for is None:
            calibration = np.diag((ILLUMINANT_A @ OBSERVER) / (ILLUMINANT_A @ filters))
        else:
            known = PANELS[self.made_for].T
            calibration = np.linalg.solve(known @ filters, known @ OBSERVER)
        return np.asarray(np.linalg.solve(spectra @ OBSERVER, spectra @ filters @ calibration).T)


def drawn(random: np.random.RandomState, made_for: int | None = None) -> FilterMeter:
    """An invented meter."""
    shift, wide = random.normal(0, 2, 3), np.abs(random.normal(0, 5, 3))
    return FilterMeter(tuple(shift), tuple(wide), made_for)
