"""A rule's target put into arrays for one encoding of the readings."""

from __future__ import annotations

import numpy as np

from compliance.colorimetry import codes, spaces
from compliance.errors import Problem, RuleError
from compliance.model import Encoding, Rule
from compliance.targets import TargetModel

__all__ = ["target_model"]


def target_model(rule: Rule, encoding: Encoding) -> TargetModel:
    """The target of `rule` for codes in `encoding`; RuleError where they do not go together."""
    target = rule.target
    if encoding.kind == "xyz" and target.curve not in ("dcdm", "pq"):
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
