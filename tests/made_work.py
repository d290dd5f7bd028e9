"""Hand-made documents of what people do about faults."""

from __future__ import annotations

from tests.made_faults import reasoned_fault

from shearbolt.app.documents import (
    CauseDocument,
    CheckAddDocument,
    CheckDoneEntry,
    ChecksDocument,
    RepairsDocument,
    ServeDocument,
    WithdrawnDocument,
)

START = "2026-05-14T06:12:09.413022Z"
DONE: CheckDoneEntry = {
    "check_done": "k1aa",
    "fault": "f1aa",
    "fault_text": "Intake manifold temperature: too high",
    "check": "wiggle_live",
    "title": "Move the plug and watch the reading",
    "outcome": "no_change",
    "outcome_words": "no change",
    "value": 4.8,
    "unit": "V",
    "hours": 5912.0,
    "date": START,
    "who": "Ann",
    "note": "with the key on",
    "withdrawn": False,
}
_FAULT = reasoned_fault()
CHECK_ADD: CheckAddDocument = {
    "schema": "shearbolt/check-add/1",
    **DONE,
    "machine": "m3k2",
    "machine_name": "Forage harvester",
    "suspects_before": _FAULT["suspects"],
    "suspects": _FAULT["suspects"],
    "probability_other": 0.2,
    "checks": _FAULT["checks"],
}
CHECKS: ChecksDocument = {
    "schema": "shearbolt/checks/1",
    "machine": "m3k2",
    "machine_name": "Forage harvester",
    "done": [DONE, {**DONE, "withdrawn": True, "value": None, "unit": None, "date": None}],
}
CAUSE: CauseDocument = {
    "schema": "shearbolt/cause/1",
    "cause_found": "a1aa",
    "machine": "m3k2",
    "machine_name": "Forage harvester",
    "fault": "f1aa",
    "fault_text": "Intake manifold temperature: too high",
    "cause": "wiring",
    "words": "only when the door is slammed",
    "grade": "measured",
    "hours": 5912.0,
    "date": START,
    "who": "Ann",
}
REPAIRS: RepairsDocument = {
    "schema": "shearbolt/repairs/1",
    "machine": "m3k2",
    "machine_name": "Forage harvester",
    "repairs": [
        {
            "repair": "r1",
            "text": "charge-air cooler blown out",
            "hours": 5912.0,
            "date": "2026-05-15T00:00:00.000000Z",
            "parts": "none",
            "cost": 12.5,
            "minutes": 20.0,
            "faults": ["f1aa"],
            "fault_texts": ["Intake manifold temperature: too high"],
            "followups": _FAULT["followups"],
            "withdrawn": False,
        }
    ],
}
WITHDRAWN: WithdrawnDocument = {
    "schema": "shearbolt/withdrawn/1",
    "entry": "k1aa",
    "words": "Move the plug and watch the reading",
}
SERVE: ServeDocument = {
    "schema": "shearbolt/serve/1",
    "address": "the address of the yard",
    "book": "book",
}
