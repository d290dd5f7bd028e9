"""Plain values that the documents share, and what their JSON Schema says of them.

Every document is what `json.dumps` takes: dictionaries, lists, text, numbers, true, false, null.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal, TypeAlias, TypedDict


@dataclass(frozen=True, slots=True)
class Shape:
    """What a JSON Schema says of a value beyond its Python type."""

    words: str = ""
    """Description."""
    pattern: str | None = None
    """Regular expression that a text matches."""
    minimum: float | None = None
    """Smallest number."""
    maximum: float | None = None
    """Largest number."""


Identifier: TypeAlias = Annotated[
    str, Shape("Short opaque identifier, stable for the life of the book.", pattern=r"^\S+$")
]
Time: TypeAlias = Annotated[
    str,
    Shape(
        "ISO 8601 UTC with microseconds.",
        pattern=r"^-?\d{4,}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}\.\d{6}Z$",
    ),
]
Seconds: TypeAlias = Annotated[
    float, Shape("Seconds from the first frame of its recording; may be negative.")
]
NameHex: TypeAlias = Annotated[
    str,
    Shape(
        "NAME (SAE J1939-81) as 16 hexadecimal digits, most significant byte first.",
        pattern=r"^[0-9A-F]{16}$",
    ),
]
Sha256: TypeAlias = Annotated[
    str, Shape("SHA-256 of the file, 64 hexadecimal digits.", pattern=r"^[0-9a-f]{64}$")
]
Address: TypeAlias = Annotated[
    int,
    Shape(
        "Source address (SAE J1939-81), 0 to 255; of a road vehicle's unit on identifiers of "
        "11 bits the identifier that it answers on (ISO 15765-4).",
        minimum=0,
        maximum=0x7FF,
    ),
]
Pgn: TypeAlias = Annotated[
    int, Shape("Parameter group number (SAE J1939-21).", minimum=0, maximum=0x3FFFF)
]
Spn: TypeAlias = Annotated[int, Shape("Suspect parameter number (SAE J1939).", minimum=0)]
Fmi: TypeAlias = Annotated[
    int, Shape("Failure mode identifier (SAE J1939-73).", minimum=0, maximum=31)
]
Count: TypeAlias = Annotated[int, Shape(minimum=0)]
Share: TypeAlias = Annotated[float, Shape("A share or probability.", minimum=0, maximum=1)]

VisitKind: TypeAlias = Literal["recording", "live", "by_hand"]
MachineKind: TypeAlias = Literal["machine", "implement"]
RecognisedBy: TypeAlias = Literal["vin", "names", "given", "new"]
Quality: TypeAlias = Literal["complete", "lossy", "filtered", "unknown"]
StartFrom: TypeAlias = Literal["recording", "bus_clock", "given", "file_date", "none"]
HoursFrom: TypeAlias = Literal["bus", "given", "estimated"]
Dm1Manner: TypeAlias = Literal["always", "while_active", "at_key_on", "never_heard", "unknown"]
FaultKind: TypeAlias = Literal["j1939", "obd", "uds", "hand", "symptom"]
FaultState: TypeAlias = Literal[
    "active", "previously_active", "pending", "permanent", "cleared", "unknown"
]
EndedBy: TypeAlias = Literal["healed", "key_off", "silence", "recording_end", "unknown"]
LampState: TypeAlias = Literal["off", "on", "slow", "fast"]
AdviceClass: TypeAlias = Literal["stop_now", "finish_gently", "keep_working", "note_only"]
EngineAdvice: TypeAlias = Literal["off_at_once", "idle_then_off", "keep_running_until_safe"]
Cause: TypeAlias = Literal[
    "real_condition",
    "sensor",
    "wiring",
    "shared_supply",
    "low_voltage",
    "network",
    "operator",
    "calibration",
    "inhibited_regeneration",
    "ash",
]
FollowupResult: TypeAlias = Literal["held", "not_held", "too_early"]
Direction: TypeAlias = Literal["rising", "falling", "steady", "unknown"]
SampleStatus: TypeAlias = Literal["not_available", "error"]


class Lamps(TypedDict):
    """The four lamps of a diagnostic message (SAE J1939-73); null: not told."""

    mil: LampState | None
    """Malfunction indicator lamp."""
    red_stop: LampState | None
    """Red stop lamp."""
    amber_warning: LampState | None
    """Amber warning lamp."""
    protect: LampState | None
    """Protect lamp."""


class NotRead(TypedDict):
    """Places of a recording that could not be read, gathered by reason."""

    line: Count | None
    """Line of the first such place, counted from 1; null where the file has no lines."""
    byte: Count | None
    """Byte position of the first such place in the decompressed file."""
    count: Count
    """How many such places."""
    reason: str
    """What was wrong, in plain words."""


class ReasonCount(TypedDict):
    """How often something happened for one reason."""

    reason: str
    """The reason in plain words."""
    count: Count
    """How often."""


class Refused(TypedDict):
    """A file that was not taken."""

    file: str
    """As it was given."""
    reason: str
    """Why, in one sentence."""


class Happening(TypedDict):
    """Something on the line of a machine, fault or visit that is no spell: a swap, a clear."""

    what: Literal["swap", "clear", "count_reset", "software", "repair", "note", "other"]
    """What kind of thing."""
    visit: Identifier | None
    """The visit that showed it."""
    at: Time | None
    """When it was heard or done."""
    at_s: Seconds | None
    """The same from the first frame of the visit."""
    hours: float | None
    """Engine hours at that moment."""
    words: str
    """What happened, in one sentence."""
