"""Hand-made machines with faults for tests, changed field by field where a test needs it."""

from __future__ import annotations

from typing import Any, cast

from shearbolt.app.documents import Fault, Lamps, MachineFaults, Repair, Spell

START = "2026-05-14T06:12:09.413022Z"
END = "2026-05-14T07:02:11.000000Z"
NAME = "A00C81045A20021B"
NO_LAMPS: Lamps = {"mil": None, "red_stop": None, "amber_warning": None, "protect": None}
AMBER: Lamps = {"mil": "off", "red_stop": "off", "amber_warning": "on", "protect": "fast"}


def spell(**changes: Any) -> Spell:
    made: Spell = {
        "visit": "v5t8",
        "start": "2026-05-14T06:20:00.000000Z",
        "start_at_s": 470.6,
        "start_known": True,
        "end": "2026-05-14T06:21:01.000000Z",
        "end_at_s": 531.6,
        "end_latest": "2026-05-14T06:21:02.000000Z",
        "end_latest_at_s": 532.6,
        "ended_by": "healed",
        "count_start": 2,
        "count_end": 3,
    }
    return cast(Spell, {**made, **changes})


def fault(**changes: Any) -> Fault:
    made: Fault = {
        "fault": "f1aa",
        "kind": "j1939",
        "event": None,
        "controller": "c7a2",
        "controller_text": "engine",
        "channel": "can0",
        "address": 0,
        "name": NAME,
        "spn": 105,
        "fmi": 16,
        "spn_candidates": [],
        "code": None,
        "text": "Intake manifold temperature: too high, moderately severe",
        "own_text": None,
        "from": ["dm1", "dm2"],
        "state": "active",
        "stale": False,
        "lamps": AMBER,
        "lamps_sure": NO_LAMPS,
        "first_seen": "2026-05-14T06:20:00.000000Z",
        "first_seen_at_s": 470.6,
        "last_seen": "2026-05-14T06:21:01.000000Z",
        "last_seen_at_s": 531.6,
        "visits": ["v5t8"],
        "freeze_frames": [
            {
                "visit": "v5t8",
                "at": START,
                "at_s": 3.0,
                "values": [
                    {"spn": 190, "text": "Engine speed", "value": 1850.0, "unit": "rpm"},
                    {
                        "spn": 105,
                        "text": "Intake manifold temperature",
                        "value": 92.0,
                        "unit": "degC",
                    },
                    {"spn": 84, "text": "Ground speed", "value": None, "unit": "km/h"},
                ],
            }
        ],
        "spells": [spell()],
        "counts": [{"visit": "v5t8", "first": 2, "last": 3, "at_least": False}],
        "setting": None,
        "root": None,
        "root_words": None,
        "unrecorded": [
            {
                "at_least": 3,
                "at_most": 4,
                "hours_from": 5910.0,
                "hours_to": 5915.9,
                "time_from": None,
                "time_to": None,
                "words": "Between 3 and 4 times while nobody was recording, between 5,910.0 and "
                "5,915.9 h.",
            }
        ],
        "suspects": [],
        "probability_other": None,
        "cannot_tell": False,
        "not_judged": [],
        "known_here": [],
        "advice": None,
        "checks": [],
        "followups": [],
        "trend": None,
        "events": [],
    }
    return cast(Fault, {**made, **changes})


def reasoned_fault(**changes: Any) -> Fault:
    """A fault with every field of the later reasoning filled."""
    term = {
        "quantity": "spn",
        "spn": 1638,
        "op": "<",
        "value": 31.0,
        "low": 29.0,
        "high": 33.0,
        "unit": "degC",
    }
    made = fault(
        event="e1",
        root="f2bb",
        setting={
            "found": True,
            "words": "all 14 starts came with cold hydraulic oil on the road",
            "terms": [term],
            "cannot_be_told_apart": [{"words": "the first 20 minutes", "terms": [term]}],
            "would_tell": "drive the road once with warm oil",
            "starts_inside": 14,
            "starts_total": 14,
            "days": 5,
            "exposure_inside_h": 0.4,
            "exposure_total_h": 13.1,
            "cycles": 5,
            "delay_s": 20.0,
            "p_adjusted": 0.002,
            "p_smallest": 0.001,
        },
        suspects=[
            {
                "cause": "real_condition",
                "probability": 0.8,
                "odds_before": 0.7,
                "words": "charge-air cooler dirty or its air blocked",
                "contributing": False,
                "evidence": [
                    {
                        "words": "19 K above the morning's air in May, 43 K now",
                        "group": "charge air",
                        "weight_db": 7.0,
                        "counts": True,
                        "reason": "Air that is cooled less comes out hotter.",
                        "source": "from memory",
                        "visits": ["v5t8", "v5t9"],
                        "at": [START, None],
                        "at_s": [1.0, 2.0],
                    }
                ],
            }
        ],
        probability_other=0.2,
        advice={
            "class": "finish_gently",
            "applies_now": False,
            "words": "Finish this load with less throttle.",
            "engine": "keep_running_until_safe",
            "watch": {"words": "intake manifold temperature", "stop_at": "above 105 °C"},
            "until": "the end of this field",
            "because": ["amber warning lamp"],
            "cautions": ["Turning fan and hot parts: engine off before the hood is opened."],
            "as_of": START,
        },
        checks=[
            {
                "check": "k1",
                "words": "Blow the cooler out from the clean side",
                "minutes": 20,
                "tools": ["compressed air"],
                "settles": ["real_condition"],
                "cautions": ["Eye protection."],
                "not_possible_because": "no ambient temperature comes",
            }
        ],
        followups=[
            {
                "repair": "r1",
                "result": "too_early",
                "scale": "engine_hours",
                "events_before": 5,
                "exposure_before": 100.0,
                "events_after": 0,
                "exposure_after": 20.0,
                "not_tested": 0.0,
                "p_clean_if_unchanged": 0.4,
                "p_unchanged": 0.3,
                "p_partly": 0.2,
                "still_needed": 62.0,
                "words": "too early: 62 more clean hours",
            }
        ],
        trend={"direction": "steady", "z": 0.1, "p_value": 0.9, "words": "It comes as ever."},
        events=[
            {
                "what": "swap",
                "visit": "v5t8",
                "at": START,
                "at_s": 0.0,
                "hours": 5910.0,
                "words": "the engine is another box than before",
            }
        ],
    )
    return cast(Fault, {**made, **changes})


def repair(**changes: Any) -> Repair:
    made: Repair = {
        "repair": "r1",
        "hours": 5912.0,
        "date": "2026-05-15T00:00:00.000000Z",
        "text": "charge-air cooler blown out",
        "faults": ["f1aa"],
    }
    return cast(Repair, {**made, **changes})


def machine_faults(**changes: Any) -> MachineFaults:
    made: MachineFaults = {
        "machine": "m3k2",
        "machine_name": "Forage harvester",
        "advice": None,
        "as_of": None,
        "faults": [fault()],
        "repairs": [],
        "words": None,
        "because": ["Engine coolant temperature: too high, worst level."],
        "odd_readings": [
            {
                "check": "oil_pressure",
                "result": "odd",
                "visit": "v1",
                "spns": [100],
                "addresses": [0],
                "at": [START],
                "at_s": [1.5],
                "words": "Engine oil pressure: does not follow engine speed.",
                "source": "common practice, no source",
            }
        ],
        "drifts": [
            {
                "spn": 168,
                "address": 0,
                "trait": "charging",
                "direction": "down",
                "since": "v1",
                "noticed": "v2",
                "before": 14.1,
                "after": 13.2,
                "unit": "V",
                "words": "Battery voltage has moved, while charging: it was 14.1 V, and has been "
                "13.2 V since.",
            }
        ],
        "power_limits": [
            {
                "visit": "v1",
                "start": START,
                "start_at_s": 1.5,
                "end": None,
                "end_at_s": None,
                "left_percent": 85.0,
                "cause": None,
                "words": "Power was limited to 85 %: no code says why.",
            }
        ],
        "lamp_without_code": [],
    }
    return cast(MachineFaults, {**made, **changes})


LAMP_WITHOUT_CODE = {
    "visit": "v5t8",
    "channel": "can0",
    "address": 3,
    "lamps": AMBER,
    "start": START,
    "start_at_s": 0.0,
    "end": END,
    "end_at_s": 3001.5,
}
