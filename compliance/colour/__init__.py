"""Colour arithmetic: pure functions on numpy arrays of any leading shape.

Luminance is cd/m² throughout, chromaticity is CIE 1931 x, y or CIE 1976 u′, v′,
the signal is normalised. Nothing here reads a file or uses a rule.
"""
