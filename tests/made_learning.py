"""Hand-made documents of learning from a machine."""

from __future__ import annotations

from tests.made_faults import END, START

from shearbolt.app.documents import (
    BaselineDocument,
    BaselineStep,
    LearnDocument,
    LearnMatch,
    LearntDocument,
    LearntSignal,
)

_DONE: BaselineStep = {
    "step": "hot_idle",
    "words": "When the coolant has reached 75 °C: let it idle, machine standing, PTO off.",
    "state": "done",
    "seconds": 61.0,
    "needed_s": 30.0,
    "missing": [],
    "start": START,
    "start_at_s": 480.0,
    "end": END,
    "end_at_s": 541.0,
    "cautions": ["Park brake on, and the machine seen to stand."],
}
BASELINE: BaselineDocument = {
    "schema": "shearbolt/baseline/1",
    "machine": "m3k2",
    "machine_name": "The grey one",
    "visit": "v5t8",
    "made": START,
    "kept_now": False,
    "earlier": 1,
    "steps": [
        _DONE,
        {
            **_DONE,
            "step": "hydraulics",
            "words": "Standing, lift and lower the empty hitch fully, several times.",
            "state": "not_told",
            "seconds": 0.0,
            "missing": ["rear hitch position"],
            "start": None,
            "start_at_s": None,
            "end": None,
            "end_at_s": None,
        },
    ],
    "readings": [
        {
            "step": "hot_idle",
            "quantity": "oil_kpa",
            "text": "engine oil pressure",
            "spn": 100,
            "address": 0,
            "value": 200.0,
            "unit": "kPa",
            "spread": 1.15,
            "seconds": 56,
        }
    ],
    "differences": [
        {
            "visit": "v9a1",
            "step": "hot_idle",
            "quantity": "oil_kpa",
            "spn": 100,
            "address": 0,
            "value": 160.0,
            "baseline": 200.0,
            "difference": -40.0,
            "unit": "kPa",
            "verdict": "doubtful",
            "words": "Engine oil pressure at hot idle: 40 kPa below this machine's own baseline of "
            "200 kPa.",
        }
    ],
    "refused": [],
    "words": [],
}
_SIGNAL: LearntSignal = {
    "learnt": "g4k2",
    "machine": "m3k2",
    "machine_name": "The grey one",
    "what": "sitting on the seat",
    "state": "learnt",
    "sessions": 2,
    "p_value": 0.00058,
    "pgn": 65531,
    "destination": None,
    "address": 71,
    "controller": "c7a2",
    "start_byte": 4,
    "start_bit": 3,
    "length_bits": 1,
    "inverted": False,
    "delay_s": 0.8,
    "words": "Byte 4, bit 3 of group 65531 from address 71 goes with 'sitting on the seat'.",
}
_MATCH: LearnMatch = {
    "pgn": 65531,
    "destination": None,
    "address": 71,
    "start_byte": 4,
    "start_bit": 3,
    "length_bits": 1,
    "score": 1.0,
    "p_value": 0.00058,
    "inverted": True,
    "agreeing": 13,
    "stretches": 13,
    "delay_s": 0.8,
    "delay_low_s": 0.6,
    "delay_high_s": 1.2,
    "scale": None,
    "offset": None,
}
LEARN: LearnDocument = {
    "schema": "shearbolt/learn/1",
    "machine": "m3k2",
    "machine_name": "The grey one",
    "what": "sitting on the seat",
    "method": "experiment",
    "visit": "v5t8",
    "counted": True,
    "prompts": [{"at": START, "at_s": 14.0, "state": 1}, {"at": None, "at_s": 20.5, "state": 0}],
    "looked_at": 1234,
    "left_out": 9,
    "p_smallest": 0.00058,
    "amiss": None,
    "found": [_MATCH, {**_MATCH, "agreeing": None, "stretches": None, "length_bits": 8}],
    "signals": [_SIGNAL],
    "refused": [],
    "words": ["A second session, on another visit, has to confirm what is a candidate."],
}
LEARNT: LearntDocument = {
    "schema": "shearbolt/learnt/1",
    "signals": [_SIGNAL],
    "experiments": [
        {
            "experiment": "seat",
            "what": "sitting on the seat",
            "first": "Stay off the seat",
            "on": "Sit down",
            "off": "Stand up",
            "times": 6,
            "hold_s": 6.0,
            "cautions": ["Park brake on, and the machine seen to stand."],
        }
    ],
}
