"""Hand-made visits for tests, changed field by field where a test needs it."""

from __future__ import annotations

from typing import Any, cast

from tests.made_faults import END, NAME, START

from shearbolt.app.documents import Controller, Visit


def controller(**changes: Any) -> Controller:
    made: Controller = {
        "controller": "c7a2",
        "machine": "m3k2",
        "channel": "can0",
        "address": 0,
        "name": NAME,
        "identity_number": 131611,
        "manufacturer_code": 722,
        "function": 0,
        "function_text": "engine",
        "label": None,
        "box": "b9d1",
        "boxes": [
            {
                "box": "b9d1",
                "name": NAME,
                "first_seen": START,
                "first_seen_at_s": 0.0,
                "last_seen": END,
                "last_seen_at_s": 3001.5,
            }
        ],
        "first_seen": START,
        "first_seen_at_s": 0.0,
        "last_seen": END,
        "last_seen_at_s": 3001.5,
        "dm1_manner": "while_active",
    }
    return cast(Controller, {**made, **changes})


def visit(**changes: Any) -> Visit:
    made: Visit = {
        "visit": "v5t8",
        "kind": "recording",
        "machine": "m3k2",
        "machine_name": "Forage harvester",
        "recognised_by": ["vin"],
        "doubts": [],
        "machines": ["m3k2"],
        "file": "clamp_evening.log",
        "sha256": "ab" * 32,
        "format": "candump",
        "already_in_book": False,
        "quality": "complete",
        "start_from": "recording",
        "frames": 19957,
        "error_frames": 0,
        "channels": ["can0"],
        "start": START,
        "start_at_s": 0.0,
        "end": END,
        "end_at_s": 3001.5,
        "not_read": [],
        "engine_hours_start": 5910.0,
        "engine_hours_end": 5910.85,
        "engine_hours_from": "bus",
        "vin": "XCORBIE0000000017",
        "component": "A*B*17",
        "software": ["7.1"],
        "controllers": [controller()],
        "transport": {"complete": 44, "broken": [{"reason": "timeout", "count": 2}]},
        "groups": [
            {
                "pgn": 61444,
                "channel": "can0",
                "address": 0,
                "count": 1499,
                "period_s": 0.02,
                "decoded": True,
            }
        ],
        "ids_11bit": [{"channel": "can0", "id": 2024, "extended": False, "count": 3}],
        "answers": [
            {
                "at": START,
                "at_s": 1.0,
                "channel": "can0",
                "address": 0,
                "what": "dm5",
                "values": [{"name": "active faults", "value": 3.0}],
            }
        ],
        "clears": [
            {
                "at": START,
                "at_s": 2.5,
                "channel": "can0",
                "asker": 249,
                "address": 0,
                "what": "dm11",
                "result": "refused",
                "words": "address 249 asked to clear active faults; it was refused",
            }
        ],
        "events": [],
        "note": None,
        "faults": ["f1aa"],
    }
    return cast(Visit, {**made, **changes})
