"""The SQLite file of the record: how it is opened, and its schema brought up to date."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event

from shearbolt.book.schema import HEAD
from shearbolt.book.schema_work import metadata
from shearbolt.errors import BookDamaged, BookTooNew

_WAIT_MS = 5000
"""How long SQLite itself waits for a lock (checkpoints; writers wait on the writer's lock)."""


def version_of(path: Path) -> str | None:
    """Return the schema version of a record; None: there is none yet.

    Cheap: neither SQLAlchemy's tables nor Alembic are touched. Raises BookDamaged.
    """
    if not path.exists():
        return None
    try:
        with closing(sqlite3.connect(path)) as raw:
            found = raw.execute(
                "SELECT count(*) FROM sqlite_master WHERE name = 'alembic_version'"
            ).fetchone()
            if not found[0]:
                return None
            row = raw.execute("SELECT version_num FROM alembic_version").fetchone()
    except sqlite3.DatabaseError as trouble:
        raise BookDamaged(
            f"{path}: this is no record of a book, or it is damaged ({trouble})."
        ) from trouble
    return None if row is None else str(row[0])


def refuse_newer(path: Path, version: str | None) -> None:
    """Raise BookTooNew where a newer Shearbolt wrote the record."""
    if version is not None and version > HEAD:
        raise BookTooNew(
            f"{path}: a newer Shearbolt wrote this book (form {version}, this one knows {HEAD}); "
            "bring this Shearbolt up to date."
        )


def open_engine(path: Path) -> Engine:
    """Make the engine: WAL, every commit synced, foreign keys enforced, transactions explicit."""
    engine = create_engine(f"sqlite+pysqlite:///{path}", connect_args={"timeout": _WAIT_MS / 1000})

    @event.listens_for(engine, "connect")
    def _prepare(raw: Any, _record: Any) -> None:
        # Python's sqlite3 would begin transactions by itself, and later than we want.
        raw.isolation_level = None
        raw.execute("PRAGMA journal_mode = WAL")
        raw.execute("PRAGMA synchronous = FULL")
        raw.execute("PRAGMA foreign_keys = ON")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        immediate = connection.get_execution_options().get("book_writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")

    return engine


def upgrade(engine: Engine) -> None:
    """Bring the schema to HEAD in one transaction; a kill leaves the old one whole."""
    with engine.connect().execution_options(book_writes=True) as connection, connection.begin():
        if connection.exec_driver_sql("SELECT count(*) FROM sqlite_master").scalar_one():
            migrate(connection)
        else:
            _make(connection)


def migrate(connection: Connection) -> None:
    """Run the migrations that a record lacks, from none at all to HEAD."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "shearbolt.book:migrations")
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def _make(connection: Connection) -> None:
    """Make the tables of a new record at once, as the migrations would one after the other.

    Alembic takes a quarter of a second to load, and a new record has nothing to migrate.
    """
    metadata.create_all(connection, checkfirst=False)
    connection.exec_driver_sql(
        "CREATE TABLE alembic_version (\n"
        "version_num VARCHAR(32) NOT NULL,\n"
        "CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)\n)"
    )
    connection.exec_driver_sql("INSERT INTO alembic_version VALUES (?)", (HEAD,))
