"""Hand-made documents of asking and of recording unattended."""

from __future__ import annotations

from tests.made_faults import END, START
from tests.made_visits import visit

from shearbolt.app.documents import AskDocument, AskedFrame, WatchDocument

CLAIM: AskedFrame = {
    "at": START,
    "id": "18EEFFF9",
    "data": "63 00 E0 FF 00 81 00 80",
    "words": "claims address 249 as a service tool that gives way to everybody",
}
REQUEST: AskedFrame = {
    "at": START,
    "id": "18EAFFF9",
    "data": "EC FE 00",
    "words": "asks all for group 65260: vehicle identification",
}
ASK: AskDocument = {
    "schema": "shearbolt/ask/1",
    "start": START,
    "end": END,
    "kind": "machine",
    "interface": "socketcan",
    "channel": "can0",
    "bitrate": 250_000,
    "confirmed": True,
    "ended": "done",
    "words": ["Everything on the list was asked."],
    "stand": {
        "standing": True,
        "standing_by": "readings",
        "speeds": [
            {
                "spn": 84,
                "words": "Wheel-based vehicle speed",
                "address": 23,
                "value": 0.0,
                "unit": "km/h",
                "age_s": 0.05,
            }
        ],
        "engine": "stopped",
        "engine_rpm": 0.0,
    },
    "tester": None,
    "address": 249,
    "name": "80008100FFE00063",
    "would_send": [{**CLAIM, "at": None}, {**REQUEST, "at": None}],
    "sent": [CLAIM, REQUEST],
    "requests": [
        {
            "what": "vehicle identification",
            "pgn": 65260,
            "service": None,
            "asked": None,
            "answers": [{"address": 0, "result": "answered"}],
        },
        {
            "what": "DM2 previously active faults",
            "pgn": 65227,
            "service": None,
            "asked": 3,
            "answers": [],
        },
        {
            "what": "vehicle identification",
            "pgn": None,
            "service": "09 02",
            "asked": None,
            "answers": [{"address": 0x7E8, "result": "refused"}],
        },
    ],
    "visits": [visit(kind="live", file=None)],
    "refused": [],
}
WATCH: WatchDocument = {
    "schema": "shearbolt/watch/1",
    "folder": "/srv/recordings",
    "visits": [
        {
            "file": "20260514T061209Z-7f3a1c.log.zst",
            "start": START,
            "end": END,
            "frames": 1_234_567,
            "bytes": 8_000_000,
            "ended_by": "silence",
        }
    ],
    "deleted": ["20260401T061209Z-000001.log.zst"],
    "waiting": 1,
    "full": False,
    "words": [],
}
