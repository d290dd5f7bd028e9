"""The true causes of the proving ground, what each does to a machine, and what cures it."""

from shearbolt.proving.causes.catalogue import CATALOGUE, REPAIRS, cause, causes_for, repair
from shearbolt.proving.causes.cause import Active, Cause, Course, Repair, plight_of
from shearbolt.proving.causes.memories import STALE, StaleMemory

__all__ = [
    "CATALOGUE", "REPAIRS", "STALE", "Active", "Cause", "Course", "Repair", "StaleMemory", "cause",
    "causes_for", "plight_of", "repair",
]  # fmt: skip
