"""What people do about faults: checks done, causes found, service, signals learnt."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the tables."""
    op.create_table(
        "service_jobs",
        sa.Column("id", sa.String(length=8), nullable=False),
        sa.Column("machine", sa.String(length=8), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("every_hours", sa.Float(precision=53), nullable=True),
        sa.Column("every_days", sa.Float(precision=53), nullable=True),
        sa.Column("minutes", sa.Float(precision=53), nullable=True),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["machine"], ["machines.id"], name=op.f("fk_service_jobs_machine")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_service_jobs")),
    )
    op.create_index(op.f("ix_service_jobs_machine"), "service_jobs", ["machine"], unique=False)
    op.create_table(
        "learnt_signals",
        sa.Column("id", sa.String(length=8), nullable=False),
        sa.Column("machine", sa.String(length=8), nullable=False),
        sa.Column("controller", sa.String(length=8), nullable=True),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("pgn", sa.BigInteger(), nullable=False),
        sa.Column("address", sa.BigInteger(), nullable=False),
        sa.Column("start_bit", sa.BigInteger(), nullable=False),
        sa.Column("bits", sa.BigInteger(), nullable=False),
        sa.Column("sessions", sa.BigInteger(), nullable=False),
        sa.Column("p_value", sa.Float(precision=53), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["controller"], ["controllers.id"], name=op.f("fk_learnt_signals_controller")
        ),
        sa.ForeignKeyConstraint(
            ["machine"], ["machines.id"], name=op.f("fk_learnt_signals_machine")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_learnt_signals")),
        sa.UniqueConstraint(
            "machine",
            "what",
            "pgn",
            "address",
            "start_bit",
            name=op.f("uq_learnt_signals_machine_what_pgn_address_start_bit"),
        ),
    )
    op.create_index(op.f("ix_learnt_signals_machine"), "learnt_signals", ["machine"], unique=False)
    op.create_table(
        "services_done",
        sa.Column("id", sa.String(length=8), nullable=False),
        sa.Column("job", sa.String(length=8), nullable=False),
        sa.Column("hours", sa.Float(precision=53), nullable=True),
        sa.Column("date_us", sa.BigInteger(), nullable=True),
        sa.Column("date_only", sa.Boolean(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["job"], ["service_jobs.id"], name=op.f("fk_services_done_job")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_services_done")),
    )
    op.create_index(op.f("ix_services_done_job"), "services_done", ["job"], unique=False)
    op.create_table(
        "causes_found",
        sa.Column("id", sa.String(length=8), nullable=False),
        sa.Column("machine", sa.String(length=8), nullable=False),
        sa.Column("fault", sa.String(length=8), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("grade", sa.Text(), nullable=False),
        sa.Column("repair", sa.String(length=8), nullable=True),
        sa.Column("hours", sa.Float(precision=53), nullable=True),
        sa.Column("date_us", sa.BigInteger(), nullable=True),
        sa.Column("date_only", sa.Boolean(), nullable=False),
        sa.Column("who", sa.Text(), nullable=True),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["fault"], ["faults.id"], name=op.f("fk_causes_found_fault")),
        sa.ForeignKeyConstraint(["machine"], ["machines.id"], name=op.f("fk_causes_found_machine")),
        sa.ForeignKeyConstraint(["repair"], ["repairs.id"], name=op.f("fk_causes_found_repair")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_causes_found")),
    )
    op.create_index(op.f("ix_causes_found_fault"), "causes_found", ["fault"], unique=False)
    op.create_index(op.f("ix_causes_found_machine"), "causes_found", ["machine"], unique=False)
    op.create_table(
        "checks_done",
        sa.Column("id", sa.String(length=8), nullable=False),
        sa.Column("machine", sa.String(length=8), nullable=False),
        sa.Column("fault", sa.String(length=8), nullable=True),
        sa.Column("check", sa.Text(), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("value", sa.Float(precision=53), nullable=True),
        sa.Column("hours", sa.Float(precision=53), nullable=True),
        sa.Column("date_us", sa.BigInteger(), nullable=True),
        sa.Column("date_only", sa.Boolean(), nullable=False),
        sa.Column("who", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["fault"], ["faults.id"], name=op.f("fk_checks_done_fault")),
        sa.ForeignKeyConstraint(["machine"], ["machines.id"], name=op.f("fk_checks_done_machine")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_checks_done")),
    )
    op.create_index(op.f("ix_checks_done_fault"), "checks_done", ["fault"], unique=False)
    op.create_index(op.f("ix_checks_done_machine"), "checks_done", ["machine"], unique=False)
