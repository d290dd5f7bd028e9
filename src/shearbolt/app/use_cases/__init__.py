"""One function a command: opens the book, does one thing, gives one document.

What decodes, draws on the proving ground or writes tables is imported by the functions that need
it, and each function when it is first asked for: looking at the yard shall start at once, and `add`
begins to pack a recording before the rest is loaded.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
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
    )
    from shearbolt.app.use_cases.learning import baseline, learn, learnt
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
    from shearbolt.app.use_cases.planning import (
        costs,
        courses_of_fault,
        forecast_machine,
        secondhand,
        service_add,
        service_done,
        service_list,
        sunday,
        work,
    )
    from shearbolt.app.use_cases.working import (
        cause_add,
        check_add,
        check_list,
        repair_add,
        repair_change,
        repair_list,
        withdraw,
    )

__all__ = [
    "add_recordings",
    "ask",
    "backup",
    "baseline",
    "cause_add",
    "check",
    "check_add",
    "check_list",
    "costs",
    "courses_of_fault",
    "demo",
    "export_machine",
    "fault",
    "faults",
    "forecast_machine",
    "import_book",
    "learn",
    "learnt",
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
    "repair_change",
    "repair_list",
    "secondhand",
    "service_add",
    "service_done",
    "service_list",
    "signals",
    "sunday",
    "tells",
    "visit",
    "watch",
    "withdraw",
    "work",
    "yard",
]

_HOMES = {
    "costs": "planning",
    "courses_of_fault": "planning",
    "forecast_machine": "planning",
    "secondhand": "planning",
    "service_add": "planning",
    "service_done": "planning",
    "service_list": "planning",
    "sunday": "planning",
    "work": "planning",
    "ask": "asking",
    "watch": "asking",
    "add_recordings": "bringing",
    "demo": "bringing",
    "note": "bringing",
    "listen": "hearing",
    "baseline": "learning",
    "learn": "learning",
    "learnt": "learning",
    "backup": "keeping",
    "check": "keeping",
    "export_machine": "keeping",
    "import_book": "keeping",
    "rename_machine": "keeping",
    "fault": "looking",
    "faults": "looking",
    "machine": "looking",
    "signals": "looking",
    "tells": "looking",
    "visit": "looking",
    "yard": "looking",
    "own_code_add": "owning",
    "cause_add": "working",
    "check_add": "working",
    "check_list": "working",
    "repair_add": "working",
    "repair_change": "working",
    "repair_list": "working",
    "withdraw": "working",
    "own_code_list": "owning",
    "own_signal_add": "owning",
    "own_signal_list": "owning",
    "own_signal_try": "owning",
}
"""The module of each function."""


def __getattr__(name: str) -> Any:
    """Load a use case from its module, once."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
    globals()[name] = found
    return found
