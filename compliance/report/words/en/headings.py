"""Headings and labels of the papers themselves."""

ERROR = "error"
LIKELY_CAUSES = "Likely causes (more: compliance explain)"
NOT_WRITTEN = "not written"
OTHER_DISPLAY = "not for this kind of display"
REMARKS = "Remarks"
SLOT = "slot"
