"""Pictures' figures made for tests: small ones of which every pixel can be reckoned."""

from __future__ import annotations

from shearbolt.app.picturing.documents import (
    ConditionsPicture,
    LifePicture,
    Limit,
    OddsPicture,
    SootPicture,
    SpellPicture,
    Strip,
)

ABOVE_100: Limit = {"op": ">", "value": 100.0, "low": 97.0, "high": 102.0, "words": "above 100 °C"}


def strip_made(
    at_s: list[float],
    value: list[float | None],
    *,
    name: str = "coolant temperature",
    unit: str = "°C",
    levels: list[str] | None = None,
    limits: list[Limit] | None = None,
    at_start: float | None = None,
) -> Strip:
    """Make one reading over time."""
    return {
        "name": name,
        "unit": unit,
        "own": True,
        "levels": levels or [],
        "at_s": at_s,
        "value": value,
        "at_start": at_start,
        "limits": limits or [],
    }


def spell_made(*strips: Strip, title: str = "Coolant temperature: too high") -> SpellPicture:
    """Make a spell of 20 s, shown from 40 s before its start to 40 s after; a gap in its strip."""
    usual = strip_made(
        [-40.0, -20.0, -10.0, 0.0, 5.0, 5.0, 15.0, 25.0, 40.0],
        [80.0, 92.0, 97.0, 101.0, 106.0, None, 104.0, 99.0, 95.0],
        limits=[ABOVE_100],
        at_start=101.0,
    )
    park = strip_made(
        [-40.0, -12.0, 20.0, 40.0],
        [1.0, 0.0, 1.0, 1.0],
        name="parking brake",
        unit="",
        levels=["off", "on"],
        at_start=0.0,
    )
    return {
        "what": "spell",
        "about": "f1aa",
        "machine_name": "the grey one",
        "title": title,
        "at": "2026-05-14T06:12:09.000000Z",
        "lines": ["It was on for 20 s; then it was gone."],
        "from_s": -40.0,
        "to_s": 40.0,
        "span": {"from_s": 0.0, "to_s": 20.0, "from_known": True},
        "others": [{"from_s": 30.0, "to_s": 33.0, "from_known": True}],
        "strips": list(strips) or [usual, park],
    }


def conditions_made() -> ConditionsPicture:
    """Make a map over two quantities: 3 steps across, 2 upward."""
    return {
        "what": "conditions",
        "about": "f1aa",
        "machine_name": "the grey one",
        "title": "Coolant temperature: too high",
        "lines": ["Looked at for 9 h; 3 starts seen."],
        "panels": [
            {
                "x": {
                    "name": "coolant temperature",
                    "unit": "°C",
                    "edges": [80.0, 90.0, 100.0, 110.0],
                    "levels": [],
                    "limit": ABOVE_100,
                    "inside": [],
                },
                "y": {
                    "name": "engine load",
                    "unit": "%",
                    "edges": [0.0, 50.0, 100.0],
                    "levels": [],
                    "limit": {"op": ">", "value": 70.0, "low": 60.0, "high": 75.0,
                              "words": "above 70 %"},
                    "inside": [],
                },
                "hours": [[4.0, 2.0, 0.5], [0.0, 2.4, 0.1]],
                "starts": [
                    {"x": 105.0, "y": 80.0},
                    {"x": 102.0, "y": 75.0},
                    {"x": 108.0, "y": 95.0},
                ],
                "unknown_starts": 0,
            }
        ],
    }  # fmt: skip


def state_made() -> ConditionsPicture:
    """Make a map over one state."""
    return {
        "what": "conditions",
        "about": "f1aa",
        "machine_name": "the grey one",
        "title": "Starter relay: current below normal or open circuit",
        "lines": ["Looked at for 9 h; 8 starts seen."],
        "panels": [
            {
                "x": {
                    "name": "starter",
                    "unit": "",
                    "edges": [-0.5, 0.5, 1.5],
                    "levels": ["off", "cranking"],
                    "limit": None,
                    "inside": [False, True],
                },
                "y": None,
                "hours": [[8.9, 0.1]],
                "starts": [{"x": float(i < 7), "y": None} for i in range(8)],
                "unknown_starts": 2,
            }
        ],
    }


def life_made() -> LifePicture:
    """Make a life over engine hours with all that can happen."""
    return {
        "what": "life",
        "about": "f1aa",
        "machine_name": "the grey one",
        "title": "Coolant temperature: too high",
        "lines": ["Seen 4 times by recordings."],
        "scale": "hours",
        "low": 5900.0,
        "high": 6000.0,
        "looks": [
            {"start": 5900.0, "end": 5904.0, "words": ""},
            {"start": 5950.0, "end": 5952.0, "words": ""},
            {"start": 5998.0, "end": 6000.0, "words": ""},
        ],
        "happened": [
            {"at": 5901.0, "kind": "spell", "times": 3, "words": "seen 3 times"},
            {"at": 5951.0, "kind": "spell", "times": 1, "words": "seen once"},
            {"at": 5952.0, "kind": "cleared", "times": 1, "words": "cleared"},
            {"at": 5970.0, "kind": "hand", "times": 1, "words": "written down"},
            {"at": 5999.0, "kind": "memory", "times": 1, "words": "only listed in memory"},
        ],
        "unseen": [
            {"start": 5904.0, "end": 5950.0, "times": "4×", "words": "Four more times."},
            {"start": 5952.0, "end": 5998.0, "times": "set back", "words": "Set back unheard."},
        ],
        "repairs": [
            {"start": 5960.0, "end": 5960.0, "words": "Radiator blown out"},
            {"start": 5960.5, "end": 5960.5, "words": "New fan belt"},
        ],
    }


def odds_made() -> OddsPicture:
    """Make the odds of two causes, one of them without odds before."""
    return {
        "what": "odds",
        "about": "f1aa",
        "machine_name": "the grey one",
        "title": "Coolant temperature: too high",
        "lines": ["The likeliest, about 6 in 10: the engine truly runs hot."],
        "odds": [
            {"words": "the engine truly runs hot", "before": 0.25, "now": 0.62, "note": ""},
            {"words": "the sensor", "before": None, "now": 0.3, "note": "beside the first"},
            {"words": "none of these", "before": None, "now": 0.08, "note": ""},
        ],
    }


def soot_made() -> SootPicture:
    """Make soot over hours, with a gap and a regeneration."""
    return {
        "what": "soot",
        "about": "m1aa",
        "machine_name": "the grey one",
        "title": "Soot in the particulate filter, and when it was burned off",
        "lines": ["2 visits tell of it: between 20 and 120 %."],
        "scale": "hours",
        "low": 100.0,
        "high": 110.0,
        "unit": "%",
        "at": [100.0, 102.0, 104.0, 104.0, 108.0, 110.0, 110.0],
        "value": [100.0, 120.0, 20.0, None, 40.0, 60.0, None],
        "looks": [
            {"start": 100.0, "end": 104.0, "words": ""},
            {"start": 108.0, "end": 110.0, "words": ""},
        ],
        "regenerations": [{"start": 102.0, "end": 104.0, "words": ""}],
    }
