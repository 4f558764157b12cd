"""The light that an ideal display of a rule's target shows: integer codes in, XYZ in cd/m² out.

The target is read from the rule's YAML as data. Formulas are those of the documents named in
`displays.py`. Arrays of codes are (patch, 3); white and black luminances may have free axes before,
which the result has too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from outside.displays import (
    PRIMARIES,
    Array,
    Pair,
    channels,
    hlg_scene,
    pq,
    pq_signal,
    signal_of,
    srgb,
    xyz_of,
)

WHITES: Mapping[str, Pair] = {
    "d65": (0.3127, 0.3290),  # ITU-R BT.709-6
    "dci": (0.314, 0.351),  # SMPTE RP 431-2
    "d50": (0.3457, 0.3585),  # ISO 12646 (memory)
}
ADOBE_RGB = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))  # Adobe RGB (1998) encoding (memory)
HLG_SHARES = np.array([0.2627, 0.6780, 0.0593])
"""Of red, green, blue in the luminance of HLG's OOTF (ITU-R BT.2100-3 note 5e)."""
CINEMA_PEAK = 52.37
"""cd/m² of code 4095 (SMPTE ST 428-1)."""
Corners = tuple[Pair, Pair, Pair]


def corners_of(value: Any) -> Corners:
    """Give the primaries that a rule names or states."""
    if isinstance(value, str):
        return {**PRIMARIES, "adobe-rgb": ADOBE_RGB, "srgb": PRIMARIES["bt709"]}[value]
    red, green, blue = (tuple(float(part) for part in value[name]) for name in value)
    return (red, green, blue)  # type: ignore[return-value]


def system_gamma(peak: float, surround: float | None = None) -> float:
    """Give HLG's γ by ITU-R BT.2100-3 note 5f, corrected for the surround by BT.814-4 Annex 5."""
    if 400 <= peak <= 2000:
        gamma = 1.2 + 0.42 * np.log10(peak / 1000)
    else:
        gamma = 1.2 * 1.111 ** np.log2(peak / 1000)
    return float(gamma - (0.076 * np.log10(surround / 5) if surround else 0))


def root(value: ArrayLike, exponent: ArrayLike) -> Array:
    """Give value^(1/exponent) as an odd function."""
    array = np.asarray(value, dtype=float)
    return np.sign(array) * np.abs(array) ** (1 / np.asarray(exponent))


def annex_1(signal: ArrayLike, white: ArrayLike, black: ArrayLike, exponent: ArrayLike) -> Array:
    """Give cd/m² by ITU-R BT.1886, Annex 1; white, black, exponent broadcast with the signal."""
    top, bottom = root(white, exponent), root(black, exponent)
    lifted = np.asarray(signal) * (top - bottom) + bottom  # (a^(1/γ))·(V + b)
    return np.maximum(lifted, 0) ** np.asarray(exponent)


@dataclass(frozen=True)
class Target:
    """A rule's target, from its YAML."""

    curve: str
    exponent: float
    primaries: Corners
    container: Corners | None
    """Primaries of the RGB signal; None: the signal is X'Y'Z'."""
    white_xy: Pair
    white: float
    peak: float
    form: str
    """lift, add or none."""
    black_level: float | None
    """Stated cd/m²; None: as measured."""
    fixed_gamma: float | None
    absolute: bool
    encoding: str

    @staticmethod
    def of(rule: Mapping[str, Any]) -> Target:
        """Read the target of a rule's YAML document."""
        target, transfer = rule["target"], rule["target"]["transfer"]
        curve = transfer["curve"]
        usual = {"bt1886": "lift", "hlg": "lift", "pq": "none"}
        primaries = corners_of(target["primaries"])
        container = target.get("container", target["primaries"])
        encoding = rule["signal"]["encoding"]
        is_xyz = encoding.startswith("xyz")
        white = float(target["luminance"]["white"])
        gamma = transfer.get("system_gamma", "auto")
        level = transfer.get("black_level", target.get("black_level", "measured"))
        named = target["white"]
        usual_exponent = {"bt1886": 2.4, "dcdm": 2.6}.get(curve, 1.0)
        return Target(
            curve=curve,
            exponent=float(transfer.get("exponent", usual_exponent)),
            primaries=primaries,
            container=None if is_xyz else corners_of(container if container != "none" else "p3"),
            white_xy=WHITES[named]
            if isinstance(named, str)
            else (float(named[0]), float(named[1])),
            white=white,
            peak=float(target["luminance"].get("peak", white)),
            form=transfer.get("black", usual.get(curve, "add")),
            black_level=None if level == "measured" else float(level),
            fixed_gamma=None if gamma == "auto" else float(gamma),
            absolute=curve == "pq" or target.get("scale", "relative") == "absolute",
            encoding=encoding,
        )

    @property
    def white_xyz(self) -> Array:
        """X, Y, Z of the white at Y 1."""
        return xyz_of((1.0, *self.white_xy))

    def signal(self, codes: ArrayLike) -> Array:
        """Decode and clip to 0..1."""
        if self.container is None:
            return np.clip(np.asarray(codes, dtype=float) / 4095, 0, 1)
        return np.clip(signal_of(codes, self.encoding), 0, 1)

    def matrix(self, corners: Corners | None, white_xy: Pair | None = None) -> Array:
        """Give RGB to XYZ, white at Y 1; of X'Y'Z' the unit matrix."""
        return np.eye(3) if corners is None else channels(corners, white_xy or self.white_xy)

    def gamma(self, peak: float | None = None, surround: float | None = None) -> float:
        """Give HLG's γ for a nominal peak, the rule's unless given."""
        return self.fixed_gamma or system_gamma(peak or self.white, surround)

    def xyz(
        self,
        codes: ArrayLike,
        white: ArrayLike,
        black: ArrayLike = 0.0,
        *,
        gamma: float | None = None,
        form: str | None = None,
        black_xyz: Array | None = None,
    ) -> Array:
        """Give the target (..., patch, 3) between this white and black (...), in cd/m².

        For PQ both are ignored. `gamma` is HLG's, the rule's nominal unless given; `form` the
        rule's unless given; `black_xyz` the colour of an added black at Y 1, the white's unless
        given.
        """
        signal = self.signal(codes)
        top = np.asarray(white, dtype=float)[..., None, None]
        bottom = np.asarray(black, dtype=float)[..., None, None]
        to_xyz = self.matrix(self.container).T
        form = form or self.form
        if self.curve == "pq":
            return pq(signal) @ to_xyz + 0 * (top + bottom)
        exponent = self.exponent
        if self.curve == "bt1886" and form == "lift":
            if self.container == self.primaries:
                return annex_1(signal, top, bottom, exponent) @ to_xyz
            own = self.matrix(self.primaries)
            pure = np.maximum(signal**exponent @ (np.linalg.inv(own) @ to_xyz.T).T, 0)
            return annex_1(pure ** (1 / exponent), top, bottom, exponent) @ own.T
        colour = self.white_xyz if black_xyz is None else black_xyz
        added = bottom * colour
        if self.curve == "hlg":
            power = gamma or self.gamma()
            shares = HLG_SHARES
            if form == "lift":
                scene = self.lifted_scene(signal, top, bottom, power)
                return top * _ootf(scene, shares, power) @ to_xyz
            return (top - bottom) * (_ootf(hlg_scene(signal), shares, power) @ to_xyz) + added
        if self.container is None:
            light = (signal**exponent) * CINEMA_PEAK / self.decoded_white
            return (top - bottom) * light + added
        light = srgb(signal) if self.curve == "srgb" else signal**exponent
        return (top - bottom) * (light @ to_xyz) + added

    @staticmethod
    def lifted_scene(signal: Array, top: Array, bottom: Array, power: ArrayLike) -> Array:
        """Give HLG's scene light with β of the black; β is an odd function of it."""
        lift = np.sign(bottom) * np.sqrt(3 * root(np.abs(bottom) / top, power))
        return hlg_scene(np.maximum(0, (1 - lift) * signal + lift))

    @property
    def decoded_white(self) -> float:
        """The cd/m² of the white's own X'Y'Z' code through ST 428-1; of R'G'B' the rule's."""
        if self.container is not None:
            return self.white
        return float(CINEMA_PEAK * (self.white_code()[1] / 4095) ** self.exponent)

    def white_code(self) -> tuple[int, int, int]:
        """Give the neutral code nearest the white's luminance."""
        return self.neutral_code(self.white)

    def neutral_code(self, luminance: float) -> tuple[int, int, int]:
        """Give the neutral code nearest these cd/m² of the unscaled target; black's is 0."""
        if self.container is None:
            xyz = xyz_of((luminance, *self.white_xy))
            if self.curve == "pq":
                return tuple(int(v) for v in np.floor(4095 * pq_signal(xyz) + 0.5))  # type: ignore[return-value]
            scaled = np.floor(4095 * (xyz / CINEMA_PEAK) ** (1 / self.exponent) + 0.5)
            return tuple(int(v) for v in scaled)  # type: ignore[return-value]
        signals = np.asarray(self.encode(np.ones(3), luminance))
        return tuple(int(v) for v in self.codes(signals))  # type: ignore[return-value]

    def codes(self, signal: ArrayLike) -> Array:
        """Give the nearest codes of a signal in the rule's encoding."""
        _, bits, span = self.encoding.split("-")
        values = np.asarray(signal, dtype=float)
        if span == "narrow":
            return np.floor((219 * values + 16) * 2 ** (int(bits) - 8) + 0.5)
        return np.floor((2 ** int(bits) - 1) * values + 0.5)

    def encode(self, shares: ArrayLike, level: float) -> Array:
        """Give the signal of linear components of the container times a drive.

        The drive is the one that gives `level` cd/m² on the neutral axis. No black.
        """
        parts = np.maximum(np.asarray(shares, dtype=float), 0)
        if self.curve == "pq":
            return np.where(parts > 0, pq_signal(parts * level), 0.0)
        relative_level = level / self.white
        relative = parts * relative_level
        if self.curve == "hlg":
            power = self.gamma()
            luminance = parts @ HLG_SHARES * relative_level
            return _oetf(parts * relative_level * luminance ** ((1 - power) / power))
        if self.curve == "srgb":
            return np.where(
                relative <= 0.0031308, 12.92 * relative, 1.055 * relative ** (1 / 2.4) - 0.055
            )
        return relative ** (1 / self.exponent)

    def nominal(self, codes: ArrayLike) -> Array:
        """Give Y (patch,) of the unscaled target: the rule's white, black 0 or as stated."""
        return self.xyz(codes, self.white, self.black_level or 0.0)[..., 1]

    def reachable(self, codes: ArrayLike) -> Array:
        """Say which codes (patch,) lie within the target's primaries and not above its peak."""
        xyz = self.xyz(codes, self.white, 0.0)
        own = xyz @ np.linalg.inv(self.matrix(self.primaries)).T
        inside = own.min(axis=-1) >= -0.005 * np.maximum(own.max(axis=-1), 1e-12)
        top = np.array(self.neutral_code(self.peak))
        below, limit = self.xyz(np.stack([top - 1, top]), self.white)[:, 1]
        return inside & (own.max(axis=-1) <= limit + 1.5 * (limit - below))


def _ootf(scene: Array, shares: Array, power: ArrayLike) -> Array:
    """Apply HLG's OOTF on luminance (note 5e); relative light."""
    luminance = np.maximum(scene @ shares, 0)
    safe = np.where(luminance > 0, luminance, 1.0)
    return (
        np.where(
            luminance > 0,
            safe ** (np.asarray(power)[..., 0] if np.ndim(power) else power) / safe,
            0.0,
        )[..., None]
        * scene
    )


def _oetf(scene: Array) -> Array:
    """Give HLG's signal of scene light 0..1 (BT.2100)."""
    a, b, c = 0.17883277, 0.28466892, 0.55991073
    return np.where(
        scene <= 1 / 12, np.sqrt(3 * scene), a * np.log(np.maximum(12 * scene - b, 1e-9)) + c
    )
