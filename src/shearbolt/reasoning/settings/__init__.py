"""Settings: under which conditions a fault starts, and under which never."""

from shearbolt.reasoning.settings.finding import (
    PERMUTATIONS,
    find_setting,
    ground_for,
    lasting_name,
    settings_of,
    tables_of,
)
from shearbolt.reasoning.settings.ground import Ground, ground_of
from shearbolt.reasoning.settings.setting import (
    Alternative,
    Outing,
    Setting,
    Spoken,
    Term,
    Words,
    words_of,
)
from shearbolt.reasoning.settings.tables import VisitTable, table_of
from shearbolt.reasoning.settings.watch import Watched, watched

__all__ = [
    "PERMUTATIONS",
    "Alternative",
    "Ground",
    "Outing",
    "Setting",
    "Spoken",
    "Term",
    "VisitTable",
    "Watched",
    "Words",
    "find_setting",
    "ground_for",
    "ground_of",
    "lasting_name",
    "settings_of",
    "table_of",
    "tables_of",
    "watched",
    "words_of",
]
