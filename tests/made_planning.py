"""Hand-made documents of what lies ahead, and of a handover."""

from __future__ import annotations

from typing import Any

from shearbolt.app.documents import (
    CostsDocument,
    CoursesDocument,
    ForecastDocument,
    HandoverDocument,
    HandoverSheet,
    SecondhandDocument,
    ServiceDocument,
    ServiceEntry,
    ServiceJobDocument,
    SundayDocument,
    WorkDocument,
)

DAY = "2026-05-14T00:00:00.000000Z"
SERVICE_ENTRY: ServiceEntry = {
    "job": "j7pq",
    "machine": "m3k2",
    "machine_name": "The grey one",
    "text": "engine oil and filter",
    "every_hours": 500.0,
    "every_days": 365.0,
    "minutes": 45.0,
    "last_hours": 5500.0,
    "last_date": DAY,
    "due": "before_window_ends",
    "left_hours": 12.0,
    "left_days": 180.0,
    "expected": "2026-06-01T06:00:00.000000Z",
    "why": "hours",
    "words": "Due in 12 h, before the window ends.",
}
NEVER_DONE: ServiceEntry = {
    **SERVICE_ENTRY,
    "every_days": None,
    "minutes": None,
    "last_hours": None,
    "last_date": None,
    "due": "not_known",
    "left_hours": None,
    "left_days": None,
    "expected": None,
    "why": None,
    "words": "Nobody wrote down when it was last done, so when it is due is not known.",
}
SERVICE: ServiceDocument = {
    "schema": "shearbolt/service/1",
    "window_hours": 40.0,
    "window_days": 7.0,
    "services": [SERVICE_ENTRY, NEVER_DONE],
}
SERVICE_JOB: ServiceJobDocument = {
    "schema": "shearbolt/service-job/1",
    "service_done": "s4ab",
    **SERVICE_ENTRY,
}
WORK: WorkDocument = {
    "schema": "shearbolt/work/1",
    "window_hours": 40.0,
    "window_days": 7.0,
    "shop_hours": 8.0,
    "currency": "EUR",
    "jobs": [
        {
            "machine": "m3k2",
            "machine_name": "The grey one",
            "fault": "f1aa",
            "text": "Intake manifold temperature: too high, worst level",
            "words": "Blow out the coolers; then put right what is truly so (81 % likely).",
            "cause": "real_condition",
            "probability": 0.81,
            "minutes": 200.0,
            "parts": 0.0,
            "stands_now": False,
            "safety": False,
            "by_yourself": True,
            "chance_before": 0.3,
            "chance_after": 0.057,
            "risk_taken": 0.243,
            "risk_per_hour": 0.0729,
            "hours_saved": 1.7,
            "value": 104.0,
            "per_cost": 2.04,
            "fits": False,
            "service": ["engine oil and filter"],
            "cautions": ["Blow the coolers out from the clean side."],
        }
    ],
    "service": [SERVICE_ENTRY],
    "not_looked_at": ["The big one"],
    "words": ["Safety comes first, whatever it costs."],
}
FORECAST: ForecastDocument = {
    "schema": "shearbolt/forecast/1",
    "machine": "m3k2",
    "machine_name": "The grey one",
    "hours": 40.0,
    "chance": 0.82,
    "low": 0.62,
    "high": 0.96,
    "base_rate": 0.75,
    "own_stops": 2.0,
    "own_hours": 418.0,
    "siblings": 9,
    "standing": [{"fault": "f1aa", "text": "Intake manifold temperature: too high"}],
    "service": [SERVICE_ENTRY],
    "words": ["The chance of getting through 40 h of work is 82 %."],
}
COSTS: CostsDocument = {
    "schema": "shearbolt/costs/1",
    "currency": None,
    "call_out": 80.0,
    "hourly_rate": 95.0,
    "distance_km": 30.0,
    "per_km": 1.0,
    "own_hour": None,
    "standstill_hour": 120.0,
    "wait_hours": 5.0,
    "called_hours": 2.0,
    "parts": None,
    "fetch_hours": None,
    "missing": ["--own-hour"],
}
COURSES: CoursesDocument = {
    "schema": "shearbolt/courses/1",
    "machine": "m3k2",
    "machine_name": "The grey one",
    "fault": "f1aa",
    "text": "Intake manifold temperature: too high, worst level",
    "offered": True,
    "not_offered_because": None,
    "currency": "EUR",
    "costs": [
        {
            "course": "yourself",
            "words": "Do it yourself, and call if nothing helps: put right what is truly so.",
            "expected": 783.0,
            "worst": 2903.0,
            "standstill_hours": 4.2,
            "order": ["real_condition"],
            "chance_without_call": 0.81,
        },
        {
            "course": "call",
            "words": "Call at once.",
            "expected": 1280.0,
            "worst": 1280.0,
            "standstill_hours": 7.0,
            "order": [],
            "chance_without_call": 0.0,
        },
    ],
    "odds": [
        {
            "cause": "real_condition",
            "words": "It is truly so",
            "probability": 0.81,
            "own_hours": 3.3,
            "parts": 0.0,
        }
    ],
    "probability_other": 0.19,
    "break_even_probability": 0.48,
    "break_even_standstill": None,
    "advice": "finish_gently",
    "cautions": ["Blow the coolers out from the clean side."],
    "words": ["Trying the first job before a call pays when its cause is likelier than 48 %."],
}
SUNDAY: SundayDocument = {
    "schema": "shearbolt/sunday/1",
    "as_of": "2026-05-17T17:00:00.000000Z",
    "window_hours": 40.0,
    "window_days": 7.0,
    "machines": [
        {
            "machine": "m3k2",
            "machine_name": "The grey one",
            "advice": "keep_working",
            "looked_at": False,
            "hours_since": 31.0,
            "days_since": None,
            "says": "not looked at since, 31 h ago",
            "do": "Plug in, let the engine run for some minutes, and listen",
            "minutes": 10.0,
            "service": [SERVICE_ENTRY, NEVER_DONE],
        }
    ],
    "minutes": 10.0,
}
SECONDHAND: SecondhandDocument = {
    "schema": "shearbolt/secondhand/1",
    "machine": "m3k2",
    "machine_name": "Machine 4",
    "visit": "v5t8",
    "visits": 1,
    "shows": [
        {
            "about": "hours",
            "shows": "Memory shows engine hours that differ: 5,910.0 h in the engine, 3,200.0 h "
            "in the instrument cluster.",
            "innocent": ["a control unit was replaced and began at nothing"],
            "ask": "Which control unit was replaced, and when?",
        }
    ],
    "questions": ["Which control unit was replaced, and when?"],
    "words": ["It replaces no look at oil, belts, tyres, pins and papers."],
}
SHEET: HandoverSheet = {
    "title": "Intake manifold temperature: too high, worst level",
    "machine": "The grey one",
    "facts": ["SPN 105 FMI 0", "engine (address 0)"],
    "advice": "Finish gently, with less load.",
    "when": ["Recorded 4 times on 2 days."],
    "conditions": ["All 4 starts came with driver's demand above 73 %."],
    "stored": ["Boost pressure 174 kPa"],
    "suspects": [
        {
            "words": "It is truly so",
            "chance": "81 %",
            "evidence": [{"words": "It stayed inside its scale.", "weight": "for it"}],
        }
    ],
    "other": "None of these: 4 %",
    "done": ["5,912.0 h: coolers blown out."],
    "tells": ["8 recordings of it."],
    "questions": ["Not checked yet: Fan and belt."],
    "cautions": ["Stay clear of the fan and belts: it starts by itself."],
    "made": "Made from the record.",
}
HANDOVER: HandoverDocument = {
    "schema": "shearbolt/handover/1",
    "machine": "m3k2",
    "machine_name": "The grey one",
    "fault": "f1aa",
    "folder": "for_the_workshop",
    "pages": 1,
    "sheet": SHEET,
    "files": [
        {
            "file": "sheet.pdf",
            "bytes": 104300,
            "sha256": "ab" * 32,
            "words": "the page for the technician",
        }
    ],
}
PLANNING: dict[str, Any] = {
    "costs": COSTS,
    "courses": COURSES,
    "forecast": FORECAST,
    "handover": HANDOVER,
    "secondhand": SECONDHAND,
    "service": SERVICE,
    "service-job": SERVICE_JOB,
    "sunday": SUNDAY,
    "work": WORK,
}
"""One document of every kind, by the middle of its schema's name."""
