"""Tables of the record, as the newest migration leaves them (a test holds both together).

Instants are whole microseconds; `_json` columns hold small lists. Details of a visit are kept
under (visit, seq) in the order in which decoding gave them, so that they come back as they were.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    UniqueConstraint,
)

HEAD = "0002"
"""Newest schema version; versions are four digits and only ever rise."""

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _id() -> Column[str]:
    return Column("id", String(8), primary_key=True)


def _ref(name: str, target: str, *, needed: bool = True, index: bool = False) -> Column[str]:
    return Column(name, String(8), ForeignKey(f"{target}.id"), nullable=not needed, index=index)


def _us(name: str, *, needed: bool = False) -> Column[int]:
    return Column(name, BigInteger, nullable=not needed)


def _int(name: str, *, needed: bool = True) -> Column[int]:
    return Column(name, BigInteger, nullable=not needed)


def _real(name: str, *, needed: bool = False) -> Column[float]:
    return Column(name, Float(53), nullable=not needed)


def _text(name: str, *, needed: bool = False) -> Column[str]:
    return Column(name, Text, nullable=not needed)


def _flag(name: str) -> Column[bool]:
    return Column(name, Boolean, nullable=False)


machines = Table(
    "machines",
    metadata,
    _id(),
    _text("name", needed=True),
    _flag("name_given"),
    _text("kind"),
    _text("vin"),
    _text("note"),
    _us("created_us", needed=True),
)

controllers = Table(
    "controllers",
    metadata,
    _id(),
    _ref("machine", "machines"),
    # 'n:2:1:0:17:0:0' by NAME, 'a:23' by address where no NAME was ever heard.
    _text("place_key", needed=True),
    _int("address", needed=False),
    _text("label"),
    _us("created_us", needed=True),
    UniqueConstraint("machine", "place_key"),
)

visits = Table(
    "visits",
    metadata,
    _id(),
    _text("kind", needed=True),
    _ref("machine", "machines", index=True),
    _text("file"),
    Column("sha256", String(64), unique=True),
    Column("unpacked_sha256", String(64), index=True),
    _int("size", needed=False),
    _text("format"),
    _text("quality", needed=True),
    _text("start_from", needed=True),
    _text("time_base", needed=True),
    _us("zero_us"),
    _flag("date_only"),
    _us("first_us", needed=True),
    _us("earliest_us", needed=True),
    _us("latest_us", needed=True),
    _real("hours_start"),
    _real("hours_end"),
    _text("hours_from"),
    _int("frames"),
    _int("error_frames"),
    _int("remote_frames"),
    _text("channels_json", needed=True),
    _text("vin"),
    _text("component"),
    _text("software_json", needed=True),
    _text("recognised_by_json", needed=True),
    _text("doubts_json", needed=True),
    _text("content_doubts_json", needed=True),
    _us("filed_us", needed=True),
)

visit_machines = Table(
    "visit_machines",
    metadata,
    _ref("visit", "visits"),
    Column("seq", Integer, nullable=False),
    _ref("machine", "machines", index=True),
    PrimaryKeyConstraint("visit", "seq"),
)


def _part(name: str, *columns: Any) -> Table:
    """Make a table of a visit's details, clustered by visit."""
    return Table(
        name,
        metadata,
        _ref("visit", "visits"),
        Column("seq", Integer, nullable=False),
        *columns,
        PrimaryKeyConstraint("visit", "seq"),
        sqlite_with_rowid=False,
    )


visit_not_read = _part(
    "visit_not_read",
    _text("reason", needed=True),
    _int("count"),
    _int("line", needed=False),
    _int("byte", needed=False),
)

visit_groups = _part(
    "visit_groups",
    _text("channel", needed=True),
    _int("pgn"),
    _int("address"),
    _int("count"),
    _us("first_us", needed=True),
    _us("last_us", needed=True),
    _real("period_s"),
    _flag("decoded"),
)

visit_ids = _part(
    "visit_ids",
    _text("channel", needed=True),
    _int("ident"),
    _flag("extended"),
    _int("count"),
)

visit_signals = _part(
    "visit_signals",
    _text("channel", needed=True),
    _int("address"),
    _int("spn"),
    _int("pgn"),
    _int("samples"),
    _int("numbers"),
    _int("not_available"),
    _int("errors"),
    _us("first_us", needed=True),
    _us("last_us", needed=True),
    _real("period_s"),
    _real("low"),
    _real("high"),
    _real("first"),
    _real("last"),
    _real("resolution", needed=True),
    _text("unit", needed=True),
)

visit_controllers = _part(
    "visit_controllers",
    _ref("controller", "controllers", needed=False, index=True),
    _text("channel", needed=True),
    _int("address"),
    # 64 bits do not fit a signed integer: sixteen hexadecimal digits.
    Column("name", String(16), index=True),
    _us("first_us", needed=True),
    _us("last_us", needed=True),
    _int("frames"),
    _text("dm1_manner", needed=True),
    _int("dm1_messages"),
    _int("dm1_by_transport"),
    _int("dm1_all_clear"),
    _real("after_run_s"),
    _text("vin"),
    _text("component_json", needed=True),
    _text("software_json", needed=True),
    _real("hours_first"),
    _real("hours_last"),
)

visit_claims = _part(
    "visit_claims",
    _text("channel", needed=True),
    _int("address"),
    Column("name", String(16), nullable=False),
    _us("first_us", needed=True),
    _us("last_us", needed=True),
)

visit_requests = _part(
    "visit_requests",
    _text("channel", needed=True),
    _int("asker"),
    _int("asked"),
    _int("pgn"),
    _int("count"),
)

visit_transport = _part(
    "visit_transport",
    _flag("broken"),
    _text("word", needed=True),
    _int("count"),
)

visit_clocks = _part(
    "visit_clocks",
    _us("at_us", needed=True),
    _us("clock_us", needed=True),
)

visit_answers = _part(
    "visit_answers",
    _us("at_us", needed=True),
    _text("channel", needed=True),
    _int("address"),
    _text("what", needed=True),
    _text("values_json", needed=True),
)

visit_vins = _part(
    "visit_vins",
    _text("channel", needed=True),
    _int("address"),
    _text("vin", needed=True),
)

visit_hours = _part(
    "visit_hours",
    _text("channel", needed=True),
    _int("address"),
    _us("at_us", needed=True),
    _real("hours", needed=True),
)

visit_pauses = _part(
    "visit_pauses",
    _us("start_us", needed=True),
    _us("end_us", needed=True),
)

faults = Table(
    "faults",
    metadata,
    _id(),
    _ref("machine", "machines"),
    _ref("controller", "controllers", needed=False, index=True),
    _text("kind", needed=True),
    _int("spn", needed=False),
    _int("fmi", needed=False),
    _text("code"),
    _int("manufacturer_code", needed=False),
    _int("function", needed=False),
    # All of the above in one text, because NULLs are never equal in a unique index.
    _text("identity", needed=True),
    _us("created_us", needed=True),
    UniqueConstraint("machine", "identity"),
)

fault_sightings = _part(
    "fault_sightings",
    _ref("fault", "faults", needed=False, index=True),
    _text("kind", needed=True),
    _text("channel", needed=True),
    _int("address", needed=False),
    _int("spn", needed=False),
    _int("fmi", needed=False),
    _text("code"),
    _text("sources_json", needed=True),
    _us("first_us", needed=True),
    _us("last_us", needed=True),
    _text("state", needed=True),
    _text("lamps_json", needed=True),
    _text("lamps_sure_json", needed=True),
    _int("method"),
    _text("candidates_json", needed=True),
    _int("status_byte", needed=False),
    _int("failure_type", needed=False),
)


visit_parts = _part(
    "visit_parts",
    _text("name", needed=True),
    _int("rows"),
    _int("size"),
    Column("sha256", String(64), nullable=False),
)


def _of_sighting(name: str, *columns: Any) -> Table:
    """Make a table of a sighting's details, clustered by visit and sighting."""
    return Table(
        name,
        metadata,
        Column("visit", String(8), nullable=False),
        Column("sighting", Integer, nullable=False),
        Column("seq", Integer, nullable=False),
        *columns,
        PrimaryKeyConstraint("visit", "sighting", "seq"),
        ForeignKeyConstraint(
            ["visit", "sighting"], ["fault_sightings.visit", "fault_sightings.seq"]
        ),
        sqlite_with_rowid=False,
    )


spells = _of_sighting(
    "spells",
    _us("start_us", needed=True),
    _flag("start_known"),
    _us("end_us", needed=True),
    _us("end_latest_us"),
    _text("ended_by", needed=True),
    _int("count_start", needed=False),
    _int("count_end", needed=False),
)

counts = _of_sighting(
    "counts",
    _us("first_us", needed=True),
    _us("last_us", needed=True),
    _int("count", needed=False),
    _flag("cleared"),
)

freeze_frames = _of_sighting(
    "freeze_frames",
    _us("at_us", needed=True),
    _text("values_json", needed=True),
    _text("source", needed=True),
)

lamp_spells = _part(
    "lamp_spells",
    _text("channel", needed=True),
    _int("address"),
    _text("lamps_json", needed=True),
    _us("start_us", needed=True),
    _us("end_us", needed=True),
)

clears = _part(
    "clears",
    _us("at_us", needed=True),
    _text("channel", needed=True),
    _int("asker"),
    _int("controller", needed=False),
    _text("what", needed=True),
    _text("result", needed=True),
    _int("spn", needed=False),
    _int("fmi", needed=False),
    _text("detail", needed=True),
)

notes = Table(
    "notes",
    metadata,
    _id(),
    _ref("visit", "visits", index=True),
    _ref("machine", "machines", index=True),
    _ref("fault", "faults", needed=False, index=True),
    _text("kind", needed=True),
    _text("text", needed=True),
    _text("code"),
    _real("hours"),
    _us("date_us"),
    _flag("date_only"),
    _text("doing"),
    _text("hot_cold"),
    _real("after_start_s"),
    _text("driver"),
    _us("created_us", needed=True),
)

note_attachments = Table(
    "note_attachments",
    metadata,
    _ref("note", "notes"),
    Column("seq", Integer, nullable=False),
    Column("sha256", String(64), nullable=False, index=True),
    _text("name", needed=True),
    _text("media_type", needed=True),
    PrimaryKeyConstraint("note", "seq"),
)

repairs = Table(
    "repairs",
    metadata,
    _id(),
    _ref("machine", "machines", index=True),
    _text("text", needed=True),
    _real("hours"),
    _us("date_us"),
    _flag("date_only"),
    _text("parts"),
    _real("cost"),
    _real("minutes"),
    _flag("withdrawn"),
    _us("created_us", needed=True),
)

repair_faults = Table(
    "repair_faults",
    metadata,
    _ref("repair", "repairs"),
    Column("seq", Integer, nullable=False),
    _ref("fault", "faults", index=True),
    PrimaryKeyConstraint("repair", "seq"),
)

machine_events = Table(
    "machine_events",
    metadata,
    _id(),
    _ref("machine", "machines", index=True),
    _ref("visit", "visits", needed=False, index=True),
    _ref("controller", "controllers", needed=False),
    _text("kind", needed=True),
    _us("at_us"),
    _real("hours"),
    _text("detail_json", needed=True),
    _us("created_us", needed=True),
)

settings = Table(
    "settings",
    metadata,
    Column("key", Text, primary_key=True),
    _text("value_json", needed=True),
)

Index("ix_faults_code", faults.c.spn, faults.c.fmi)
