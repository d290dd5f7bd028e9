"""One function a command: opens the book, does one thing, gives one document.

What decodes, draws on the proving ground or writes tables is imported by the functions that need
it: looking at the yard shall start at once.
"""

from shearbolt.app.use_cases.asking import ask, watch
from shearbolt.app.use_cases.bringing import (
    add_recordings,
    demo,
    note,
)
from shearbolt.app.use_cases.hearing import listen
from shearbolt.app.use_cases.keeping import (
    backup,
    check,
    export_machine,
    import_book,
    rename_machine,
    repair_add,
)
from shearbolt.app.use_cases.looking import (
    fault,
    faults,
    machine,
    signals,
    tells,
    visit,
    yard,
)
from shearbolt.app.use_cases.owning import (
    own_code_add,
    own_code_list,
    own_signal_add,
    own_signal_list,
    own_signal_try,
)

__all__ = [
    "add_recordings",
    "ask",
    "backup",
    "check",
    "demo",
    "export_machine",
    "fault",
    "faults",
    "import_book",
    "listen",
    "machine",
    "note",
    "own_code_add",
    "own_code_list",
    "own_signal_add",
    "own_signal_list",
    "own_signal_try",
    "rename_machine",
    "repair_add",
    "signals",
    "tells",
    "visit",
    "watch",
    "yard",
]
