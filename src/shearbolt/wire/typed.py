"""What people type, in one place: codes, symptoms, events, hours and answers. No I/O.

Every function here raises NoteNotUnderstood and nothing else when it does not understand.
"""

from __future__ import annotations

from shearbolt.wire.typed_answers import (
    TypedAnswers,
    read_answers,
    read_heat,
    read_hours,
    read_minutes,
)
from shearbolt.wire.typed_codes import TypedCode, format_code, read_code
from shearbolt.wire.typed_notes import TypedNote, read_event, read_note, read_symptom

__all__ = [
    "TypedAnswers",
    "TypedCode",
    "TypedNote",
    "format_code",
    "read_answers",
    "read_code",
    "read_event",
    "read_heat",
    "read_hours",
    "read_minutes",
    "read_note",
    "read_symptom",
]
