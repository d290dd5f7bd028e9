"""Hand-made views and documents of listening, changed field by field where a test needs it."""

from __future__ import annotations

from typing import Any, cast

from tests.made_visits import visit

from shearbolt.app.documents import AdapterHeard, ListenDocument, LiveView

LAMPS = {"mil": None, "red_stop": "on", "amber_warning": "off", "protect": None}


def adapter(**changes: Any) -> AdapterHeard:
    made: AdapterHeard = {
        "channel": "can0",
        "interface": "socketcan",
        "bitrate": 250_000,
        "bitrate_from": "found",
        "listen_only": "on",
        "state": "open",
        "frames": 1000,
        "error_frames": 3,
        "load": 0.344,
        "load_peak": 0.41,
        "words": [],
    }
    return cast(AdapterHeard, {**made, **changes})


def fault(**changes: Any) -> dict[str, Any]:
    return {
        "channel": "can0",
        "address": 0,
        "controller_words": "engine",
        "spn": 100,
        "fmi": 1,
        "code": None,
        "words": "Engine oil pressure: too low, worst level",
        "state": "active",
        "lamps": LAMPS,
        **changes,
    }


def view(**changes: Any) -> LiveView:
    made = {
        "seconds": 75.4,
        "frames": 38_160,
        "machine": "m3k2",
        "machine_name": "Forage harvester",
        "recognised_by": ["vin"],
        "adapters": [adapter()],
        "controllers": [
            {"channel": "can0", "address": 0, "name": "A0" * 8, "words": "engine", "alive": True},
            {"channel": "can0", "address": 3, "name": None, "words": "address 3", "alive": False},
        ],
        "faults": [fault(), fault(spn=110, fmi=0, words="Coolant", state="previously_active")],
        "readings": [
            {"spn": 190, "words": "Engine speed", "value": 1500.0, "unit": "rpm", "fresh": True},
            {"spn": 110, "words": "Coolant", "value": 88.0, "unit": "degC", "fresh": False},
        ],
        "health": [
            {
                "what": "silent",
                "channel": "can0",
                "addresses": [42],
                "pgn": None,
                "figure": 4.0,
                "words": "Address 42 fell silent 4 s ago.",
            }
        ],
        "events": [
            {
                "what": "back",
                "at": "2026-05-14T06:12:09.000000Z",
                "channel": "can0",
                "words": "The adapter on can0 answers again.",
            }
        ],
    }
    return cast(LiveView, {**made, **changes})


def listen_document(**changes: Any) -> ListenDocument:
    made = {
        "schema": "shearbolt/listen/1",
        "start": "2026-05-14T06:12:09.000000Z",
        "end": "2026-05-14T06:13:09.000000Z",
        "stopped_by": "asked",
        "adapters": [adapter()],
        "first_frame_after_s": 0.1,
        "recognised_after_s": 0.5,
        "first_fault_after_s": 1.1,
        "health": view()["health"],
        "events": view()["events"],
        "visits": [visit(kind="live", file=None)],
        "left_over": [],
        "refused": [],
        "words": [],
    }
    return cast(ListenDocument, {**made, **changes})


LISTEN = listen_document()
