"""The names that readings have in keyword text (CGATS.17, ISO 28178)."""

from __future__ import annotations

import re
from collections.abc import Mapping

__all__ = ["FIELDS", "HEADS", "KEYWORDS", "OURS", "PASSED_FIELDS", "SCALED", "UNITS"]

FIELDS: Mapping[str, str] = {
    "RGB_R": "r", "RGB_G": "g", "RGB_B": "b",
    "C1": "c1", "C2": "c2", "C3": "c3",
    "XYZ_X": "X", "XYZ_Y": "Y", "XYZ_Z": "Z",
    "XYY_CAPY": "Y", "XYY_X": "x", "XYY_Y": "y",
    "POSITION": "position", "WINDOW": "window", "PATTERN": "pattern",
    "BACKGROUND": "background", "SECONDS": "seconds", "SD": "sd",
}  # fmt: skip
"""Fields that are read, and our names of them."""
PASSED_FIELDS = re.compile(
    r"SAMPLE_ID|SAMPLEID|SAMPLE_NAME|SAMPLE_LOC|STRING|LAB_[LABCH]|D_[A-Z]+|STDEV_[A-Z]+|"
    r"MEAN_DE|CHI_SQD_PAR"
)
"""Standard fields that say nothing of what is judged."""
OURS = ("C1", "C2", "C3", "POSITION", "WINDOW", "PATTERN", "BACKGROUND", "SECONDS", "SD")
HEADS = ("ENCODING", "OBSERVER", "UNIT", "SPECTRAL_UNIT")
"""Keywords of our own before the data."""
UNITS = ("cd/m2", "cd/m²")
KEYWORDS = (
    "ORIGINATOR", "DESCRIPTOR", "FILE_DESCRIPTOR", "CREATED", "MANUFACTURER", "MANUFACTURE",
    "MODEL", "SERIAL", "PROD_DATE", "MATERIAL", "INSTRUMENTATION", "MEASUREMENT_SOURCE",
    "MEASUREMENT_GEOMETRY", "PRINT_CONDITIONS", "SAMPLE_BACKING", "FILTER", "POLARIZATION",
    "WEIGHTING_FUNCTION", "COMPUTATIONAL_PARAMETER", "TARGET_TYPE", "COLORANT",
    "TABLE_DESCRIPTOR", "TABLE_NAME",
)  # fmt: skip
"""The standards' keywords that say nothing of what is judged, but for the observer."""
SCALED = "NORMALIZED_TO_Y_100"
"""A private keyword in use; YES says that the values are relative."""
