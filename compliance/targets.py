"""From code values and a rule's target to the light that the display should show.

Everything is computed from a reading's own integer codes: decode, clip, curve,
matrix. `TargetModel` is the rule's target as arrays. It is fitted to luminances of white
and black with leading axes of their own, so that a target
can be computed again for each draw of a measurement.

Luminance in cd/m², chromaticity in CIE 1931 x, y. Signals are normalised: 0 is
nominal black and 1 nominal white of RGB, code/4095 of X'Y'Z'.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from compliance.colour import codes, hlg, pq, spaces, transfer
from compliance.colour.arrays import quotient
from compliance.errors import Problem, RuleError
from compliance.model import Encoding, Rule

Array = NDArray[np.float64]

REACHABLE = -0.005
"""Smallest linear component, as a share of the largest, of a colour within reach."""


class TargetModel(NamedTuple):
    """A rule's target for one kind of signal."""

    kind: str
    """`rgb` or `xyz`."""
    curve: str
    exponent: float
    lift: bool
    """The black is part of the signal (BT.1886, HLG); else it is added to the light."""
    blackless: bool
    """The target has no black of its own (PQ)."""
    relative: bool
    """The white is the measured one; else the rule's."""
    white_luminance: float
    peak_luminance: float
    black_luminance: float
    """As stated in the rule; NaN: as measured."""
    system_gamma: float
    white_xyz: Array
    """(3,) of the rule's white at Y = 1"""
    from_signal: Array
    """(3, 3) linear RGB of the container to XYZ, white at Y = 1; identity for xyz"""
    from_target: Array
    """(3, 3) linear RGB of the target's primaries to XYZ"""
    step: float
    """One code of the readings' encoding, in normalised signal."""
    narrow: bool
    bits: int


def quantised(signal: Array, model: TargetModel) -> Array:
    """Normalised signal of the code nearest to `signal`, any shape."""
    return np.asarray(
        codes.decode(codes.encode(signal, model.bits, model.narrow), model.bits, model.narrow),
        dtype=np.float64,
    )


def _linear(signal: Array, model: TargetModel) -> Array:
    """Light per channel, (..., 3): of white for the relative curves, cd/m² of white for PQ.

    A share of `white_luminance` for every curve.
    """
    if model.curve == "pq":
        return np.asarray(pq.pq(signal)) / model.white_luminance
    if model.curve == "srgb":
        return np.asarray(transfer.srgb(signal))
    if model.curve == "dcdm" and model.kind == "xyz":
        return np.asarray(transfer.dcdm(signal)) / model.white_luminance
    if model.curve == "hlg":
        scene = np.asarray(hlg.hlg_inverse_oetf(signal))
        return np.asarray(hlg.hlg_ootf(scene, 1.0, model.system_gamma))
    return np.asarray(transfer.power(signal, model.exponent))


def white_signal(model: TargetModel) -> Array:
    """(3,) signal of the code nearest to the rule's white luminance."""
    return neutral_signal(model.white_luminance, model)


def peak_signal(model: TargetModel) -> Array:
    """(3,) signal of the code nearest to the rule's peak luminance."""
    return neutral_signal(model.peak_luminance, model)


def neutral_signal(luminance: float, model: TargetModel) -> Array:
    """(3,) signal of the neutral code nearest to a nominal luminance in cd/m²."""
    share = luminance / model.white_luminance
    return quantised(signal_of(share * model.white_xyz, model), model)


def signal_of(xyz: Array, model: TargetModel) -> Array:
    """Signal (..., 3) for XYZ (..., 3), given as a share of the white's luminance.

    Black is 0; components that the signal cannot represent are clipped at 0 and 1.
    """
    linear = np.maximum(np.asarray(xyz) @ np.linalg.inv(model.from_signal).T, 0.0)
    if model.curve == "pq":
        signal = pq.pq_inverse(linear * model.white_luminance)
    elif model.curve == "srgb":
        signal = transfer.srgb_inverse(linear)
    elif model.curve == "dcdm" and model.kind == "xyz":
        signal = transfer.dcdm_inverse(linear * model.white_luminance)
    elif model.curve == "hlg":
        signal = hlg.hlg_oetf(hlg.hlg_ootf_inverse(linear, 1.0, model.system_gamma))
    else:
        signal = transfer.power(linear, 1 / model.exponent)
    return np.clip(signal, 0.0, 1.0)


def target_xyz(signal: Array, model: TargetModel, white: Array, black: Array) -> Array:
    """XYZ (..., P, 3) in cd/m² of the target for `signal` (P, 3).

    The target is fitted to the luminances `white` and `black` (..., P) in cd/m²: an absolute
    target keeps the rule's white, and one without a black of its own does not use `black`.
    Signals are clipped to 0..1.
    Sources: ITU-R BT.1886 Annex 1, ITU-R BT.2100-3, SMPTE ST 428-1.
    """
    clipped = np.clip(signal, 0.0, 1.0)
    if not model.relative:
        white = np.full_like(white, model.white_luminance, dtype=np.float64)
    white = np.asarray(white, dtype=np.float64)[..., None]
    black = np.asarray(black, dtype=np.float64)[..., None]
    if model.lift and model.curve == "bt1886":
        light = transfer.bt1886(own_signal(clipped, model), white, black, model.exponent)
        return np.asarray(light) @ model.from_target.T
    if model.lift and model.curve == "hlg":
        beta = hlg.hlg_black_lift(white, black, model.system_gamma)
        scene = hlg.hlg_inverse_oetf(np.maximum(0.0, (1 - beta) * clipped + beta))
        shape = np.broadcast_shapes(np.shape(scene), (*np.shape(white)[:-1], 3))
        scene = np.broadcast_to(scene, shape)
        light = white * hlg.hlg_ootf(scene, 1.0, model.system_gamma)
        return np.asarray(light) @ model.from_signal.T
    share = _share(clipped, model)
    if model.blackless:
        return white * share
    return black * model.white_xyz + (white - black) * share


def own_signal(signal: Array, model: TargetModel) -> Array:
    """(..., 3) drive of the target's own primaries for a power curve's signal, from 0.

    The black of a display is in its own primaries, not in those of a wider signal.
    """
    if np.array_equal(model.from_signal, model.from_target):
        return signal
    linear = transfer.power(signal, model.exponent) @ model.from_signal.T
    own = np.maximum(linear @ np.linalg.inv(model.from_target).T, 0.0)
    return np.asarray(transfer.power(own, 1 / model.exponent))


def with_white(target: Array, model: TargetModel, white: Array) -> Array:
    """XYZ (..., n, 3) of a target rebuilt from its own primaries and the chromaticity of another
    white (..., n, 3); the luminance of its white stays."""
    into = np.linalg.inv(model.from_target).T
    drive = quotient(white, white[..., 1:2]) @ into
    return np.asarray(((target @ into) * drive) @ model.from_target.T)


def scaled(model: TargetModel, scale: str | None) -> TargetModel:
    """The target with the scale of a requirement, `relative` or `absolute`; None: its own."""
    return model if scale is None else model._replace(relative=scale == "relative")


def _share(signal: Array, model: TargetModel) -> Array:
    """XYZ (P, 3) as a share of the luminance of white, with black 0."""
    share = _linear(signal, model) @ model.from_signal.T
    if not model.relative:
        return share
    white = _linear(white_signal(model), model) @ model.from_signal.T
    return np.asarray(share / white[1])


def nominal_xyz(signal: Array, model: TargetModel) -> Array:
    """XYZ (P, 3) in cd/m² with the rule's own white, and black 0 unless the rule states it.

    It decides membership of sets, bands and floors, which never depends on measured values.
    """
    black = 0.0 if np.isnan(model.black_luminance) else model.black_luminance
    shape = np.shape(signal)[:-1]
    unscaled = model._replace(relative=False)
    return target_xyz(
        signal, unscaled, np.full(shape, model.white_luminance), np.full(shape, black)
    )


def target_linear(signal: Array, model: TargetModel) -> Array:
    """Linear RGB (P, 3) of the target's primaries, share of white luminance, black 0."""
    share = _linear(np.clip(signal, 0.0, 1.0), model) @ model.from_signal.T
    return np.asarray(share @ np.linalg.inv(model.from_target).T)


def unreachable(signal: Array, model: TargetModel) -> NDArray[np.bool_]:
    """(P,): the code means a colour outside the target's primaries."""
    linear = target_linear(signal, model)
    outside = linear.min(axis=-1) < REACHABLE * np.maximum(linear.max(axis=-1), 0.0)
    return np.asarray(outside)


def above_peak(signal: Array, model: TargetModel) -> NDArray[np.bool_]:
    """(P,): the code means more than the peak, by more than one code in each channel."""
    peaked = model.curve == "pq" or (model.curve == "dcdm" and model.kind == "xyz")
    if not peaked:
        return np.zeros(np.shape(signal)[:-1], dtype=np.bool_)
    lower = np.maximum(np.asarray(signal) - model.step, 0.0)
    drive = target_linear(lower, model).max(axis=-1) * model.white_luminance
    ceiling = model.peak_luminance
    if model.kind == "xyz":
        # Rounded to codes, the triple of the peak itself is slightly off neutral.
        coded = float(target_linear(peak_signal(model), model).max()) * model.white_luminance
        ceiling = max(ceiling, coded)
    return np.asarray(drive > ceiling * (1 + 1e-9))


def beyond_nominal(signal: Array, model: TargetModel) -> NDArray[np.bool_]:
    """(P,): a narrow-range code beyond nominal black or white by more than one code."""
    slack = model.step * (1 + 1e-9)
    return np.asarray(np.any((signal < -slack) | (signal > 1 + slack), axis=-1))


def neutral(signal: Array, model: TargetModel) -> NDArray[np.bool_]:
    """(P,): equal R, G and B; for X'Y'Z' the rule's white within Δu'v' .003 or one code."""
    if model.kind == "rgb":
        spread = signal.max(axis=-1) - signal.min(axis=-1)
        return np.asarray(spread < 0.25 * model.step)
    near = np.abs(signal - neutral_triple(signal[..., 1], model)) <= model.step * (1 + 1e-9)
    with np.errstate(invalid="ignore", divide="ignore"):
        uv = spaces.xyz_to_uv(nominal_xyz(signal, model))
        away = np.linalg.norm(uv - spaces.xyz_to_uv(model.white_xyz), axis=-1)
    return np.asarray(np.all(near, axis=-1) | (away <= 0.003))


def neutral_triple(signal_y: Array, model: TargetModel) -> Array:
    """(..., 3) X'Y'Z' codes, as signal, of the rule's white at signals Y' (...)."""
    flat = np.repeat(np.asarray(signal_y, dtype=np.float64)[..., None], 3, axis=-1)
    luminance = _linear(np.clip(flat, 0.0, 1.0), model)[..., 1:2]
    return quantised(signal_of(luminance * model.white_xyz, model), model)


def level(signal: Array, model: TargetModel) -> Array:
    """(P,) signal level: the largest of R, G, B; for X'Y'Z' Y' over the white's Y'."""
    if model.kind == "rgb":
        return np.asarray(signal.max(axis=-1))
    return np.asarray(signal[..., 1] / white_signal(model)[1])


def target_model(rule: Rule, encoding: Encoding) -> TargetModel:
    """The target of `rule` for codes in `encoding`; raises RuleError if they do not go together."""
    target = rule.target
    if not encoding.carries(target.curve):
        raise RuleError(
            Problem(
                rule.id,
                f"takes RGB signals ({target.curve}); readings in {encoding.name} cannot be "
                "judged by it; state the encoding of the readings or take another rule",
                field="target.transfer.curve",
            )
        )
    from_target = spaces.rgb_to_xyz_matrix(target.primaries, target.white)
    if encoding.kind == "xyz":
        from_signal = np.eye(3)
    else:
        container = target.container or target.primaries
        from_signal = spaces.rgb_to_xyz_matrix(container, target.white)
    exponent = target.exponent
    if exponent is None:
        exponent = 2.6 if target.curve == "dcdm" else 2.4
    return TargetModel(
        kind=encoding.kind,
        curve=target.curve,
        exponent=exponent,
        lift=target.black == "lift",
        blackless=target.black == "none",
        relative=target.scale == "relative",
        white_luminance=target.luminance_white,
        peak_luminance=target.luminance_peak,
        black_luminance=np.nan if target.black_level is None else target.black_level,
        system_gamma=np.nan if target.system_gamma is None else target.system_gamma,
        white_xyz=np.asarray(spaces.xy_to_xyz(np.asarray(target.white), 1.0)),
        from_signal=np.asarray(from_signal),
        from_target=np.asarray(from_target),
        step=float(codes.step(encoding.bits, encoding.narrow)),
        narrow=encoding.narrow,
        bits=encoding.bits,
    )
