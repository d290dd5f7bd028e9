"""The record as the first Shearbolt made it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make all tables."""
    op.create_table(
        "machines",
        sa.Column("id", sa.String(length=8), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("name_given", sa.Boolean(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=True),
        sa.Column("vin", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_machines"),
    )
    op.create_table(
        "settings",
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("value_json", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_settings"),
    )
    op.create_table(
        "controllers",
        sa.Column("id", sa.String(length=8), nullable=False),
        sa.Column("machine", sa.String(length=8), nullable=False),
        sa.Column("place_key", sa.Text(), nullable=False),
        sa.Column("address", sa.BigInteger(), nullable=True),
        sa.Column("label", sa.Text(), nullable=True),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["machine"], ["machines.id"], name="fk_controllers_machine"),
        sa.PrimaryKeyConstraint("id", name="pk_controllers"),
        sa.UniqueConstraint("machine", "place_key", name="uq_controllers_machine_place_key"),
    )
    op.create_table(
        "repairs",
        sa.Column("id", sa.String(length=8), nullable=False),
        sa.Column("machine", sa.String(length=8), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("hours", sa.Float(precision=53), nullable=True),
        sa.Column("date_us", sa.BigInteger(), nullable=True),
        sa.Column("date_only", sa.Boolean(), nullable=False),
        sa.Column("parts", sa.Text(), nullable=True),
        sa.Column("cost", sa.Float(precision=53), nullable=True),
        sa.Column("minutes", sa.Float(precision=53), nullable=True),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["machine"], ["machines.id"], name="fk_repairs_machine"),
        sa.PrimaryKeyConstraint("id", name="pk_repairs"),
    )
    op.create_index("ix_repairs_machine", "repairs", ["machine"], unique=False)
    op.create_table(
        "visits",
        sa.Column("id", sa.String(length=8), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("machine", sa.String(length=8), nullable=False),
        sa.Column("file", sa.Text(), nullable=True),
        sa.Column("sha256", sa.String(length=64), nullable=True),
        sa.Column("unpacked_sha256", sa.String(length=64), nullable=True),
        sa.Column("size", sa.BigInteger(), nullable=True),
        sa.Column("format", sa.Text(), nullable=True),
        sa.Column("quality", sa.Text(), nullable=False),
        sa.Column("start_from", sa.Text(), nullable=False),
        sa.Column("time_base", sa.Text(), nullable=False),
        sa.Column("zero_us", sa.BigInteger(), nullable=True),
        sa.Column("date_only", sa.Boolean(), nullable=False),
        sa.Column("first_us", sa.BigInteger(), nullable=False),
        sa.Column("earliest_us", sa.BigInteger(), nullable=False),
        sa.Column("latest_us", sa.BigInteger(), nullable=False),
        sa.Column("hours_start", sa.Float(precision=53), nullable=True),
        sa.Column("hours_end", sa.Float(precision=53), nullable=True),
        sa.Column("hours_from", sa.Text(), nullable=True),
        sa.Column("frames", sa.BigInteger(), nullable=False),
        sa.Column("error_frames", sa.BigInteger(), nullable=False),
        sa.Column("remote_frames", sa.BigInteger(), nullable=False),
        sa.Column("channels_json", sa.Text(), nullable=False),
        sa.Column("vin", sa.Text(), nullable=True),
        sa.Column("component", sa.Text(), nullable=True),
        sa.Column("software_json", sa.Text(), nullable=False),
        sa.Column("recognised_by_json", sa.Text(), nullable=False),
        sa.Column("doubts_json", sa.Text(), nullable=False),
        sa.Column("content_doubts_json", sa.Text(), nullable=False),
        sa.Column("filed_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["machine"], ["machines.id"], name="fk_visits_machine"),
        sa.PrimaryKeyConstraint("id", name="pk_visits"),
        sa.UniqueConstraint("sha256", name="uq_visits_sha256"),
    )
    op.create_index("ix_visits_machine", "visits", ["machine"], unique=False)
    op.create_index("ix_visits_unpacked_sha256", "visits", ["unpacked_sha256"], unique=False)
    op.create_table(
        "clears",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("asker", sa.BigInteger(), nullable=False),
        sa.Column("controller", sa.BigInteger(), nullable=True),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("result", sa.Text(), nullable=False),
        sa.Column("spn", sa.BigInteger(), nullable=True),
        sa.Column("fmi", sa.BigInteger(), nullable=True),
        sa.Column("detail", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_clears_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_clears"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "faults",
        sa.Column("id", sa.String(length=8), nullable=False),
        sa.Column("machine", sa.String(length=8), nullable=False),
        sa.Column("controller", sa.String(length=8), nullable=True),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("spn", sa.BigInteger(), nullable=True),
        sa.Column("fmi", sa.BigInteger(), nullable=True),
        sa.Column("code", sa.Text(), nullable=True),
        sa.Column("manufacturer_code", sa.BigInteger(), nullable=True),
        sa.Column("function", sa.BigInteger(), nullable=True),
        sa.Column("identity", sa.Text(), nullable=False),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["controller"], ["controllers.id"], name="fk_faults_controller"),
        sa.ForeignKeyConstraint(["machine"], ["machines.id"], name="fk_faults_machine"),
        sa.PrimaryKeyConstraint("id", name="pk_faults"),
        sa.UniqueConstraint("machine", "identity", name="uq_faults_machine_identity"),
    )
    op.create_index("ix_faults_code", "faults", ["spn", "fmi"], unique=False)
    op.create_index("ix_faults_controller", "faults", ["controller"], unique=False)
    op.create_table(
        "lamp_spells",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("address", sa.BigInteger(), nullable=False),
        sa.Column("lamps_json", sa.Text(), nullable=False),
        sa.Column("start_us", sa.BigInteger(), nullable=False),
        sa.Column("end_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_lamp_spells_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_lamp_spells"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "machine_events",
        sa.Column("id", sa.String(length=8), nullable=False),
        sa.Column("machine", sa.String(length=8), nullable=False),
        sa.Column("visit", sa.String(length=8), nullable=True),
        sa.Column("controller", sa.String(length=8), nullable=True),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=True),
        sa.Column("hours", sa.Float(precision=53), nullable=True),
        sa.Column("detail_json", sa.Text(), nullable=False),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["controller"], ["controllers.id"], name="fk_machine_events_controller"
        ),
        sa.ForeignKeyConstraint(["machine"], ["machines.id"], name="fk_machine_events_machine"),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_machine_events_visit"),
        sa.PrimaryKeyConstraint("id", name="pk_machine_events"),
    )
    op.create_index("ix_machine_events_machine", "machine_events", ["machine"], unique=False)
    op.create_index("ix_machine_events_visit", "machine_events", ["visit"], unique=False)
    op.create_table(
        "visit_answers",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("address", sa.BigInteger(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("values_json", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_visit_answers_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_visit_answers"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "visit_claims",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("address", sa.BigInteger(), nullable=False),
        sa.Column("name", sa.String(length=16), nullable=False),
        sa.Column("first_us", sa.BigInteger(), nullable=False),
        sa.Column("last_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_visit_claims_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_visit_claims"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "visit_clocks",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("clock_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_visit_clocks_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_visit_clocks"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "visit_controllers",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("controller", sa.String(length=8), nullable=True),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("address", sa.BigInteger(), nullable=False),
        sa.Column("name", sa.String(length=16), nullable=True),
        sa.Column("first_us", sa.BigInteger(), nullable=False),
        sa.Column("last_us", sa.BigInteger(), nullable=False),
        sa.Column("frames", sa.BigInteger(), nullable=False),
        sa.Column("dm1_manner", sa.Text(), nullable=False),
        sa.Column("dm1_messages", sa.BigInteger(), nullable=False),
        sa.Column("dm1_by_transport", sa.BigInteger(), nullable=False),
        sa.Column("dm1_all_clear", sa.BigInteger(), nullable=False),
        sa.Column("after_run_s", sa.Float(precision=53), nullable=True),
        sa.Column("vin", sa.Text(), nullable=True),
        sa.Column("component_json", sa.Text(), nullable=False),
        sa.Column("software_json", sa.Text(), nullable=False),
        sa.Column("hours_first", sa.Float(precision=53), nullable=True),
        sa.Column("hours_last", sa.Float(precision=53), nullable=True),
        sa.ForeignKeyConstraint(
            ["controller"], ["controllers.id"], name="fk_visit_controllers_controller"
        ),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_visit_controllers_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_visit_controllers"),
        sqlite_with_rowid=False,
    )
    op.create_index(
        "ix_visit_controllers_controller", "visit_controllers", ["controller"], unique=False
    )
    op.create_index("ix_visit_controllers_name", "visit_controllers", ["name"], unique=False)
    op.create_table(
        "visit_groups",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("pgn", sa.BigInteger(), nullable=False),
        sa.Column("address", sa.BigInteger(), nullable=False),
        sa.Column("count", sa.BigInteger(), nullable=False),
        sa.Column("first_us", sa.BigInteger(), nullable=False),
        sa.Column("last_us", sa.BigInteger(), nullable=False),
        sa.Column("period_s", sa.Float(precision=53), nullable=True),
        sa.Column("decoded", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_visit_groups_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_visit_groups"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "visit_hours",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("address", sa.BigInteger(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("hours", sa.Float(precision=53), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_visit_hours_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_visit_hours"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "visit_ids",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("ident", sa.BigInteger(), nullable=False),
        sa.Column("extended", sa.Boolean(), nullable=False),
        sa.Column("count", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_visit_ids_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_visit_ids"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "visit_machines",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("machine", sa.String(length=8), nullable=False),
        sa.ForeignKeyConstraint(["machine"], ["machines.id"], name="fk_visit_machines_machine"),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_visit_machines_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_visit_machines"),
    )
    op.create_index("ix_visit_machines_machine", "visit_machines", ["machine"], unique=False)
    op.create_table(
        "visit_not_read",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("count", sa.BigInteger(), nullable=False),
        sa.Column("line", sa.BigInteger(), nullable=True),
        sa.Column("byte", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_visit_not_read_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_visit_not_read"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "visit_parts",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("rows", sa.BigInteger(), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_visit_parts_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_visit_parts"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "visit_pauses",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("start_us", sa.BigInteger(), nullable=False),
        sa.Column("end_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_visit_pauses_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_visit_pauses"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "visit_requests",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("asker", sa.BigInteger(), nullable=False),
        sa.Column("asked", sa.BigInteger(), nullable=False),
        sa.Column("pgn", sa.BigInteger(), nullable=False),
        sa.Column("count", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_visit_requests_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_visit_requests"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "visit_signals",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("address", sa.BigInteger(), nullable=False),
        sa.Column("spn", sa.BigInteger(), nullable=False),
        sa.Column("pgn", sa.BigInteger(), nullable=False),
        sa.Column("samples", sa.BigInteger(), nullable=False),
        sa.Column("numbers", sa.BigInteger(), nullable=False),
        sa.Column("not_available", sa.BigInteger(), nullable=False),
        sa.Column("errors", sa.BigInteger(), nullable=False),
        sa.Column("first_us", sa.BigInteger(), nullable=False),
        sa.Column("last_us", sa.BigInteger(), nullable=False),
        sa.Column("period_s", sa.Float(precision=53), nullable=True),
        sa.Column("low", sa.Float(precision=53), nullable=True),
        sa.Column("high", sa.Float(precision=53), nullable=True),
        sa.Column("first", sa.Float(precision=53), nullable=True),
        sa.Column("last", sa.Float(precision=53), nullable=True),
        sa.Column("resolution", sa.Float(precision=53), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_visit_signals_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_visit_signals"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "visit_transport",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("broken", sa.Boolean(), nullable=False),
        sa.Column("word", sa.Text(), nullable=False),
        sa.Column("count", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_visit_transport_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_visit_transport"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "visit_vins",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("address", sa.BigInteger(), nullable=False),
        sa.Column("vin", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_visit_vins_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_visit_vins"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "fault_sightings",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("fault", sa.String(length=8), nullable=True),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("address", sa.BigInteger(), nullable=True),
        sa.Column("spn", sa.BigInteger(), nullable=True),
        sa.Column("fmi", sa.BigInteger(), nullable=True),
        sa.Column("code", sa.Text(), nullable=True),
        sa.Column("sources_json", sa.Text(), nullable=False),
        sa.Column("first_us", sa.BigInteger(), nullable=False),
        sa.Column("last_us", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("lamps_json", sa.Text(), nullable=False),
        sa.Column("lamps_sure_json", sa.Text(), nullable=False),
        sa.Column("method", sa.BigInteger(), nullable=False),
        sa.Column("candidates_json", sa.Text(), nullable=False),
        sa.Column("status_byte", sa.BigInteger(), nullable=True),
        sa.Column("failure_type", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["fault"], ["faults.id"], name="fk_fault_sightings_fault"),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_fault_sightings_visit"),
        sa.PrimaryKeyConstraint("visit", "seq", name="pk_fault_sightings"),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_fault_sightings_fault", "fault_sightings", ["fault"], unique=False)
    op.create_table(
        "notes",
        sa.Column("id", sa.String(length=8), nullable=False),
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("machine", sa.String(length=8), nullable=False),
        sa.Column("fault", sa.String(length=8), nullable=True),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=True),
        sa.Column("hours", sa.Float(precision=53), nullable=True),
        sa.Column("date_us", sa.BigInteger(), nullable=True),
        sa.Column("date_only", sa.Boolean(), nullable=False),
        sa.Column("doing", sa.Text(), nullable=True),
        sa.Column("hot_cold", sa.Text(), nullable=True),
        sa.Column("after_start_s", sa.Float(precision=53), nullable=True),
        sa.Column("driver", sa.Text(), nullable=True),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["fault"], ["faults.id"], name="fk_notes_fault"),
        sa.ForeignKeyConstraint(["machine"], ["machines.id"], name="fk_notes_machine"),
        sa.ForeignKeyConstraint(["visit"], ["visits.id"], name="fk_notes_visit"),
        sa.PrimaryKeyConstraint("id", name="pk_notes"),
    )
    op.create_index("ix_notes_fault", "notes", ["fault"], unique=False)
    op.create_index("ix_notes_machine", "notes", ["machine"], unique=False)
    op.create_index("ix_notes_visit", "notes", ["visit"], unique=False)
    op.create_table(
        "repair_faults",
        sa.Column("repair", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("fault", sa.String(length=8), nullable=False),
        sa.ForeignKeyConstraint(["fault"], ["faults.id"], name="fk_repair_faults_fault"),
        sa.ForeignKeyConstraint(["repair"], ["repairs.id"], name="fk_repair_faults_repair"),
        sa.PrimaryKeyConstraint("repair", "seq", name="pk_repair_faults"),
    )
    op.create_index("ix_repair_faults_fault", "repair_faults", ["fault"], unique=False)
    op.create_table(
        "counts",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("sighting", sa.Integer(), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("first_us", sa.BigInteger(), nullable=False),
        sa.Column("last_us", sa.BigInteger(), nullable=False),
        sa.Column("count", sa.BigInteger(), nullable=True),
        sa.Column("cleared", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["visit", "sighting"],
            ["fault_sightings.visit", "fault_sightings.seq"],
            name="fk_counts_visit_sighting",
        ),
        sa.PrimaryKeyConstraint("visit", "sighting", "seq", name="pk_counts"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "freeze_frames",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("sighting", sa.Integer(), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("values_json", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["visit", "sighting"],
            ["fault_sightings.visit", "fault_sightings.seq"],
            name="fk_freeze_frames_visit_sighting",
        ),
        sa.PrimaryKeyConstraint("visit", "sighting", "seq", name="pk_freeze_frames"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "note_attachments",
        sa.Column("note", sa.String(length=8), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("media_type", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["note"], ["notes.id"], name="fk_note_attachments_note"),
        sa.PrimaryKeyConstraint("note", "seq", name="pk_note_attachments"),
    )
    op.create_index("ix_note_attachments_sha256", "note_attachments", ["sha256"], unique=False)
    op.create_table(
        "spells",
        sa.Column("visit", sa.String(length=8), nullable=False),
        sa.Column("sighting", sa.Integer(), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("start_us", sa.BigInteger(), nullable=False),
        sa.Column("start_known", sa.Boolean(), nullable=False),
        sa.Column("end_us", sa.BigInteger(), nullable=False),
        sa.Column("end_latest_us", sa.BigInteger(), nullable=True),
        sa.Column("ended_by", sa.Text(), nullable=False),
        sa.Column("count_start", sa.BigInteger(), nullable=True),
        sa.Column("count_end", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["visit", "sighting"],
            ["fault_sightings.visit", "fault_sightings.seq"],
            name="fk_spells_visit_sighting",
        ),
        sa.PrimaryKeyConstraint("visit", "sighting", "seq", name="pk_spells"),
        sqlite_with_rowid=False,
    )
