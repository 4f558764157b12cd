"""The ITP space of colour differences in high dynamic range.

Sources: ITU-R BT.2100 Table 7 (L, M, S, I, Ct, Cp); ITU-R BT.2124-0 (T = Ct/2, P = Cp).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from compliance.colorimetry.arrays import Array, as_array
from compliance.colorimetry.pq import pq_inverse
from compliance.colorimetry.primaries import PRIMARIES, WHITES, rgb_to_xyz_matrix

__all__ = ["xyz_to_itp"]

RGB_TO_LMS = np.array([[1688, 2146, 262], [683, 2951, 462], [99, 309, 3688]]) / 4096
LMS_TO_ICTCP = np.array([[2048, 2048, 0], [6610, -13613, 7003], [17933, -17390, -543]]) / 4096
XYZ_TO_LMS = RGB_TO_LMS @ np.linalg.inv(rgb_to_xyz_matrix(PRIMARIES["bt2020"], WHITES["d65"]))
LMS_TO_ITP = np.diag([1.0, 0.5, 1.0]) @ LMS_TO_ICTCP


def xyz_to_itp(xyz: ArrayLike) -> Array:
    """I, T, P (..., 3) of X, Y, Z (..., 3) in cd/m².

    Negative L, M, S, as noise at black gives, pass through PQ as an odd function.
    """
    lms = as_array(xyz) @ XYZ_TO_LMS.T
    return as_array(pq_inverse(lms) @ LMS_TO_ITP.T)
