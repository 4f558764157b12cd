"""Meters by their spectral response: what they read of a spectral panel, and what they state.

Each is linear in the light: a response (3, wavelength) and a matrix on its readings. A
spectroradiometer's response is that of CIE 1931, blurred by its bandwidth and shifted by its
wavelength error. A filter colorimeter's differs from it by a few per cent (f1' of ISO/CIE 19476)
and is right for illuminant A, as it leaves the factory.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from helpers.outside_tools import colour

from outside.acceptance import MATCHED, REFERENCE
from outside.displays import Array
from outside.meters import Certificate, Nature, process, rounded, step
from outside.spectra import LUMINOUS, WAVELENGTHS, Spectral, observer, xyz_of_spectra
from outside.spectral_slot import Slot

NATURE = Nature()
STATED = 0.6
"""Share of the stated uncertainties that a common error is drawn from; spectra take the rest."""
Correction = Literal["this", "other", "other, not said", "none"]


def illuminant_a() -> Array:
    """Give illuminant A (wavelength,): Planck at 2848 K with c2 .01435 m·K, 100 at 560 nm."""
    c2 = 1.435e7
    at = (np.exp(c2 / (2848 * 560)) - 1) * (560 / WAVELENGTHS) ** 5
    return np.asarray(100 * at / (np.exp(c2 / (2848 * WAVELENGTHS)) - 1))


def f1_prime(response: Array) -> float:
    """Give f1' of a luminance response (wavelength,), a share (ISO/CIE 19476:2014, 4.2)."""
    target = observer()[1]
    lamp = illuminant_a()
    scaled = response * (lamp @ target) / (lamp @ response)
    return float(np.abs(scaled - target).sum() / target.sum())


def spectroradiometer(shift: float, bandwidth: float) -> Array:
    """Give the response (3, wavelength) with a wavelength error and a triangular slit, in nm."""
    reach = np.arange(-20.0, 21.0)
    slit = np.maximum(0, 1 - np.abs(reach - shift) / bandwidth)
    slit /= slit.sum()
    return np.stack([np.convolve(row, slit, mode="same") for row in observer()])


def filters(size: float, generator: np.random.Generator) -> Array:
    """Draw three filters that differ from CIE 1931; size 1 gives f1' of some 4 %."""
    found = []
    for row in observer():
        moved = np.interp(WAVELENGTHS - generator.normal(0, 1.2 * size), WAVELENGTHS, row)
        ripple = sum(
            generator.normal(0, 0.02 * size)
            * np.sin(2 * np.pi * WAVELENGTHS / period + generator.uniform(0, 2 * np.pi))
            for period in (60, 110, 250)
        )
        found.append(np.maximum(moved * (1 + ripple), 0))
    lamp = illuminant_a()
    return np.stack(
        [
            mine * (lamp @ right) / (lamp @ mine)
            for mine, right in zip(found, observer(), strict=True)
        ]
    )


def matched_to(panel: Spectral, response: Array, reference: Array) -> Array:
    """Give the matrix that makes full red, green, blue of a panel read as the reference reads."""
    spectra = panel.scaled[0]
    return np.asarray((reference @ spectra.T) @ np.linalg.inv(response @ spectra.T))


@dataclass(frozen=True, eq=False)
class SpectralMeter:
    """A meter: its response, the matrix on what it reads, what its file states."""

    certificate: Certificate
    response: Array
    matrix: Array
    correction: str | None = None
    """Of its file; None: the file has none."""

    def text(self) -> str:
        """Give the meter file."""
        lines = [line for line in self.certificate.text().splitlines() if "correction" not in line]
        if self.correction:
            lines.insert(2, f"correction: {self.correction}")
        return "\n".join(lines) + "\n"

    def exact(self, slot: Slot) -> Array:
        """Give what it reads (row, 3) but for noise, zero and scale, cd/m²."""
        primaries, leak = slot.panel.scaled
        scale = slot.full()[1].sum()
        sources = np.vstack([primaries * scale, leak])
        raw = slot.emitted() @ (LUMINOUS * sources @ self.response.T)
        return np.asarray(raw @ self.matrix.T)

    def read(self, slot: Slot, generator: np.random.Generator, errors: int) -> Array:
        """Read each row (row, 3) once; `errors` is the seed of what does not change by reading."""
        lasting = np.random.default_rng(errors)
        sizes = self.certificate
        xyz = self.exact(slot)
        luminance = np.maximum(xyz[:, 1], 1e-9)
        levels = np.log10(np.clip(luminance, 1e-5, 1e5))
        whole = step(sizes.luminance, luminance) / 100 / sizes.k
        varying = np.minimum(whole, (sizes.linearity or 0) / 100 / sizes.k)
        relative = varying * process(levels, NATURE, lasting)[0]
        common = STATED * lasting.normal() * np.sqrt(whole**2 - varying**2)
        of_colour = STATED * lasting.normal(0, 0.002, 3) * (1, 0, 1)
        xyz = xyz * (1 + relative + common)[:, None] * (1 + of_colour)
        noise = step(sizes.repeatability, luminance) / 100 / sizes.k
        noise_xy = step(sizes.repeatability, luminance, 2) / sizes.k / 0.3
        spread = generator.normal(size=(len(xyz), 3))
        both = noise[:, None] * spread[:, 1:2]
        apart = noise_xy[:, None] * spread * (1, 0, 1)
        xyz = xyz * (1 + both + apart)
        xyz = xyz + lasting.normal(size=3) * (sizes.dark or 0) / sizes.k * STATED
        return rounded(xyz, sizes.resolution)


def good_spectroradiometer(generator: np.random.Generator) -> SpectralMeter:
    """Draw a spectroradiometer: .1 nm off as a standard deviation, 4 to 8 nm wide."""
    response = spectroradiometer(
        float(np.clip(generator.normal(0, 0.1), -0.2, 0.2)), generator.uniform(4, 8)
    )
    lamp = illuminant_a()
    response = response * (observer() @ lamp / (response @ lamp))[:, None]
    return SpectralMeter(REFERENCE, response, np.eye(3))


def colorimeter(
    panel: Spectral,
    correction: Correction,
    generator: np.random.Generator,
    *,
    size: float = 1.0,
    other: Spectral | None = None,
) -> SpectralMeter:
    """Draw a filter colorimeter with a correction made on this panel, on another, or none."""
    response = filters(size, generator)
    reference = good_spectroradiometer(generator).response
    if correction == "none":
        return SpectralMeter(MATCHED, response, np.eye(3))
    made_on = panel if correction == "this" else other
    if made_on is None:
        raise ValueError("a correction for another panel needs that panel")
    matrix = matched_to(made_on, response, reference)
    said = {
        "this": "{name: simulated, made_for: S-1, date: 2026-11-19}",
        "other": "{name: simulated, made_for: T-7, date: 2026-11-19}",
        "other, not said": "{name: simulated, date: 2026-11-19}",
    }
    return SpectralMeter(MATCHED, response, matrix, said[correction])


def perfect() -> SpectralMeter:
    """Give a meter that reads CIE 1931 without error."""
    sure = replace(REFERENCE, luminance=((1e-7, 1e-4),), linearity=1e-4, dark=1e-9)
    sure = replace(sure, resolution=None, repeatability=((1e-7, 1e-4, 1e-7),))
    return SpectralMeter(sure, observer(), np.eye(3))


def planck_is_illuminant_a() -> float:
    """Give the largest difference from colour-science's table of illuminant A, a share."""
    table = colour.SDS_ILLUMINANTS["A"]
    values = np.interp(WAVELENGTHS, table.wavelengths, table.values)
    at_five = (WAVELENGTHS % 5) == 0
    return float(np.abs(illuminant_a() / values - 1)[at_five].max())


def error_of(meter: SpectralMeter, panel: Spectral) -> Array:
    """Give errors (4, 3) of relative Y, x, y on full red, green, blue and their white."""
    spectra = panel.scaled[0]
    spectra = np.vstack([spectra, spectra.sum(axis=0)])
    true = xyz_of_spectra(spectra)
    shown = LUMINOUS * spectra @ meter.response.T @ meter.matrix.T
    parts = [shown[:, 1] / true[:, 1] - 1]
    parts += [shown[:, i] / shown.sum(axis=1) - true[:, i] / true.sum(axis=1) for i in (0, 1)]
    return np.stack(parts, axis=-1)
