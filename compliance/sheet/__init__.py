"""The sheet: an assessment as a PDF that a client can read and anyone can check."""

from compliance.sheet.layout import Drawing, draw_sheet

__all__ = ["Drawing", "draw_sheet"]
