from __future__ import annotations

import os
import re
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

import shearbolt.book.migrations as migrations
from shearbolt.book import Book
from shearbolt.book.database import migrate, open_engine, version_of
from shearbolt.book.ids import ALPHABET, new_id
from shearbolt.book.schema import HEAD, metadata
from shearbolt.errors import BookDamaged, BookError, BookTooNew


def migrated(path: Path) -> Path:
    engine = open_engine(path)
    with engine.begin() as connection:
        migrate(connection)
    engine.dispose()
    return path


def shape_of(path: Path) -> dict[str, list[object]]:
    """Tell all that SQLite knows of a record: columns, keys, references, indices."""
    with closing(sqlite3.connect(path)) as raw:
        found: dict[str, list[object]] = {}
        for (table,) in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'"):
            told: list[object] = raw.execute(f"PRAGMA table_info('{table}')").fetchall()
            # The numbers of references and indices follow the order in which they were made.
            told += sorted(row[2:] for row in raw.execute(f"PRAGMA foreign_key_list('{table}')"))
            told += sorted(
                (*row[1:], *raw.execute(f"PRAGMA index_xinfo('{row[1]}')").fetchall())
                for row in raw.execute(f"PRAGMA index_list('{table}')").fetchall()
            )
            # Names of constraints, and what they say, stand in the text alone.
            (text,) = raw.execute(
                "SELECT sql FROM sqlite_master WHERE type = 'table' AND name = ?", (table,)
            ).fetchone()
            told += sorted(line.strip(" \t,") for line in text.splitlines())
            found[table] = told
        found[""] = sorted(raw.execute("SELECT type, name, tbl_name FROM sqlite_master").fetchall())
        return found


def test_migrations_make_the_schema_that_the_tables_describe(tmp_path: Path) -> None:
    engine = open_engine(migrated(tmp_path / "book.sqlite"))
    with engine.connect() as connection:
        differences = compare_metadata(MigrationContext.configure(connection), metadata)
    engine.dispose()
    assert differences == []
    assert version_of(tmp_path / "book.sqlite") == HEAD


def test_a_new_book_is_made_as_migrations_would(tmp_path: Path) -> None:
    Book.open(tmp_path).close()
    made = tmp_path / "book.sqlite"
    assert version_of(made) == HEAD
    fresh, stepwise = shape_of(made), shape_of(migrated(tmp_path / "stepwise.sqlite"))
    assert fresh.keys() == stepwise.keys()
    for table, told in fresh.items():
        assert told == stepwise[table], table


def test_a_new_book_loads_no_alembic(tmp_path: Path) -> None:
    code = (
        "import sys; from shearbolt.book import Book; Book.open(sys.argv[1]).close();"
        "sys.exit('alembic' in sys.modules)"
    )
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path)], env=env, check=False)
    assert done.returncode == 0


def test_newest_migration_is_head() -> None:
    assert migrations.__file__ is not None
    script = ScriptDirectory(str(Path(migrations.__file__).parent))
    assert script.get_current_head() == HEAD


def test_record_is_synced_journalled_ahead_and_keeps_its_references(tmp_path: Path) -> None:
    Book.open(tmp_path).close()
    engine = open_engine(tmp_path / "book.sqlite")
    with engine.connect() as connection:
        for pragma, value in (("journal_mode", "wal"), ("synchronous", 2), ("foreign_keys", 1)):
            assert connection.exec_driver_sql(f"PRAGMA {pragma}").scalar_one() == value
    engine.dispose()


def test_book_of_a_newer_shearbolt_is_left_alone(tmp_path: Path) -> None:
    Book.open(tmp_path).close()
    with closing(sqlite3.connect(tmp_path / "book.sqlite")) as raw, raw:
        raw.execute("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(BookTooNew, match=r"newer Shearbolt wrote this book \(form 9999"):
        Book.open(tmp_path)


def test_foreign_file_is_told_in_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "book.sqlite").write_bytes(b"no database at all, only words" * 50)
    with pytest.raises(BookDamaged, match="no record of a book"):
        Book.open(tmp_path)
    with pytest.raises(BookError, match="a book is a folder"):
        Book.open(tmp_path / "book.sqlite")
    with pytest.raises(BookError, match="no book in this folder"):
        Book.open(tmp_path / "elsewhere", create=False)
    assert not (tmp_path / "elsewhere").exists()


def test_folder_that_cannot_be_written_is_told_in_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(BookError, match=r"file"):
        Book.open(tmp_path / "file" / "book")


def test_opening_a_book_in_order_loads_no_alembic_and_no_polars(tmp_path: Path) -> None:
    Book.open(tmp_path).close()
    code = (
        "import sys; from shearbolt.book import Book; Book.open(sys.argv[1]).machines();"
        "sys.exit('alembic' in sys.modules or 'polars' in sys.modules)"
    )
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path)], env=env, check=False)
    assert done.returncode == 0


def test_identifiers_are_short_and_never_taken_twice() -> None:
    tried: list[str] = []

    def taken(id_: str) -> bool:
        tried.append(id_)
        return len(tried) < 4

    made = new_id("m", taken)
    assert made == tried[-1]
    assert len(tried) == 4
    assert re.fullmatch(f"m[{ALPHABET}]{{7}}", made)
    assert len(set(ALPHABET)) == 32
    assert not set(ALPHABET) & set("ilou")
