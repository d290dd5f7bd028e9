"""The proving ground: machines of known faults, whose frames the rest of the house must read.

It packs every frame by its own code and its own table of layouts, and uses nothing of what reads
frames; so a mistake on one side cannot hide on the other. `demo_yard` is an invented contractor's
season with its recordings, what was written down by hand, and all that is true of it; `season`
makes others by chance, and `case` one machine's signals and faults without frames.
"""

from shearbolt.proving.cases import CaseData, CaseLook, SignalHeard, case
from shearbolt.proving.looks import Look
from shearbolt.proving.season import (
    GROUPS,
    Season,
    demo_group,
    demo_season,
    demo_yard,
    season,
    together,
)
from shearbolt.proving.season_truth import SeasonTruth, as_json, dumped
from shearbolt.proving.truth import DemoRecording, Truth, WrittenNote, WrittenRepair
from shearbolt.proving.yard import play_look

__all__ = [
    "GROUPS", "CaseData", "CaseLook", "DemoRecording", "Look", "Season", "SeasonTruth",
    "SignalHeard", "Truth", "WrittenNote", "WrittenRepair", "as_json", "case", "demo_group",
    "demo_season", "demo_yard", "dumped", "play_look", "season", "together",
]  # fmt: skip
