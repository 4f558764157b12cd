"""Another library to compare with, imported without its word on plotting it does not have."""

from __future__ import annotations

import warnings

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

__all__ = ["colour"]
