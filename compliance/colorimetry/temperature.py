"""Correlated colour temperature and the distance from the Planckian locus.

Sources: CIE 15:2018; Y. Ohno, Practical Use and Calculation of CCT and Duv, 2013.
"""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import ArrayLike

from compliance.colorimetry.arrays import Array, as_array
from compliance.colorimetry.spaces import xyz_to_uv

__all__ = ["cct_duv"]


def cct_duv(xyz: ArrayLike) -> Array:
    """Temperature in K and Duv (..., 2) of X, Y, Z (..., 3); NaN where X + 15Y + 3Z is 0.

    Duv is signed, positive above the locus, in the CIE 1960 u, v diagram. colour-science
    does it and is imported only here.
    """
    with warnings.catch_warnings():  # it warns that its optional plotting is not there
        warnings.simplefilter("ignore")
        from colour.temperature import uv_to_CCT_Ohno2013

    uv = xyz_to_uv(xyz) * np.array([1.0, 2 / 3])
    result = np.full(uv.shape, np.nan)
    known = np.all(np.isfinite(uv), axis=-1)
    if np.any(known):
        result[known] = as_array(uv_to_CCT_Ohno2013(uv[known]))
    return result
