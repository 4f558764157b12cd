"""The words for verdicts, limits, numbers and times, the same in every report.

Pure functions of the model: the sheet and the text report both speak with them,
so that the two never say the same thing in two ways. Nothing here decides.
"""
