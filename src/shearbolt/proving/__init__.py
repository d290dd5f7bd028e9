"""The proving ground: machines of known faults, whose frames the rest of the house must read.

It packs every frame by its own code and its own table of layouts, and uses nothing of what reads
frames; so a mistake on one side cannot hide on the other. `demo_season` gives the recordings of an
invented contractor's season with the truth of each, `demo_notes` what was written down by hand.
"""

from shearbolt.proving.season import demo_notes, demo_season
from shearbolt.proving.truth import DemoRecording, Truth, WrittenNote

__all__ = ["DemoRecording", "Truth", "WrittenNote", "demo_notes", "demo_season"]
