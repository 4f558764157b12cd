"""What the sheet's pictures show, computed from a case and its findings."""

from compliance.charts.pictures import charts

__all__ = ["charts"]
