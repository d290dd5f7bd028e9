"""The technician's sheet: one page as PDF, and beside it the evidence in open formats."""

from shearbolt.handover.folder import hand_over
from shearbolt.handover.sheet import sheet_pdf, sheet_png

__all__ = ["hand_over", "sheet_pdf", "sheet_png"]
