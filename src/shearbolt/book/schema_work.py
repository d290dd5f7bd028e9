"""Tables of what people do about faults: checks, causes found, service, signals learnt."""

from __future__ import annotations

from sqlalchemy import Table, UniqueConstraint

from shearbolt.book.schema import _flag, _id, _int, _real, _ref, _text, _us, metadata

__all__ = [
    "WORK",
    "causes_found",
    "checks_done",
    "learnt_signals",
    "metadata",
    "service_jobs",
    "services_done",
]

checks_done = Table(
    "checks_done",
    metadata,
    _id(),
    _ref("machine", "machines", index=True),
    _ref("fault", "faults", needed=False, index=True),
    # Name in the catalogue of checks, and of the outcome there.
    _text("check", needed=True),
    _text("outcome", needed=True),
    _real("value"),
    _real("hours"),
    _us("date_us"),
    _flag("date_only"),
    _text("who"),
    _text("note"),
    _flag("withdrawn"),
    _us("created_us", needed=True),
)

causes_found = Table(
    "causes_found",
    metadata,
    _id(),
    _ref("machine", "machines", index=True),
    _ref("fault", "faults", index=True),
    _text("cause", needed=True),
    _text("words", needed=True),
    # How it was confirmed: measured, swapped, part_held, opinion.
    _text("grade", needed=True),
    _ref("repair", "repairs", needed=False),
    _real("hours"),
    _us("date_us"),
    _flag("date_only"),
    _text("who"),
    _flag("withdrawn"),
    _us("created_us", needed=True),
)

service_jobs = Table(
    "service_jobs",
    metadata,
    _id(),
    _ref("machine", "machines", index=True),
    _text("text", needed=True),
    _real("every_hours"),
    _real("every_days"),
    _real("minutes"),
    _flag("withdrawn"),
    _us("created_us", needed=True),
)

services_done = Table(
    "services_done",
    metadata,
    _id(),
    _ref("job", "service_jobs", index=True),
    _real("hours"),
    _us("date_us"),
    _flag("date_only"),
    _text("note"),
    _flag("withdrawn"),
    _us("created_us", needed=True),
)

learnt_signals = Table(
    "learnt_signals",
    metadata,
    _id(),
    _ref("machine", "machines", index=True),
    _ref("controller", "controllers", needed=False),
    _text("what", needed=True),
    _int("pgn"),
    _int("address"),
    _int("start_bit"),
    _int("bits"),
    _int("sessions"),
    _real("p_value"),
    # candidate, learnt, dropped
    _text("state", needed=True),
    _us("created_us", needed=True),
    UniqueConstraint("machine", "what", "pgn", "address", "start_bit"),
)

WORK = (checks_done, causes_found, service_jobs, services_done, learnt_signals)
"""In the order in which they refer to each other."""
