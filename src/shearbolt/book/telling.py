"""One sentence for whatever the disk, the record or a file of columns complains about."""

from __future__ import annotations

import errno
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from shearbolt.errors import BookBusy, BookDamaged, BookError

BUSY = "somebody else is writing to it; try again when they are done"


def _of_database(place: Path, trouble: BaseException) -> BookError:
    words = str(trouble)
    code = getattr(trouble, "sqlite_errorcode", None)
    primary = code & 0xFF if isinstance(code, int) else None
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return BookBusy(f"{place}: {BUSY}.")
    if primary == sqlite3.SQLITE_FULL:
        return BookError(f"{place}: the disk is full; nothing was changed.")
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return BookDamaged(
            f"{place}: the record is damaged ({words}); take it back from a backup, "
            "or run the check to see what is left."
        )
    if primary in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return BookError(f"{place}: it cannot be written here ({words}).")
    return BookError(f"{place}: the record could not be used ({words}).")


def _of_disk(place: Path, trouble: OSError) -> BookError:
    where = trouble.filename if trouble.filename is not None else place
    if trouble.errno == errno.ENOSPC:
        return BookError(f"{where}: the disk is full; nothing was changed.")
    reason = trouble.strerror or str(trouble)
    return BookError(f"{where}: {reason}.")


@contextmanager
def told(place: Path) -> Iterator[None]:
    """Turn errors of the database and the disk into the book's own, about `place`.

    Raises BookBusy, BookDamaged or BookError.
    """
    try:
        yield
    except OSError as trouble:
        raise _of_disk(place, trouble) from trouble
    except sqlite3.Error as trouble:
        raise _of_database(place, trouble) from trouble
    except Exception as trouble:
        # Looked up only now: files are staged without the database library, which takes long to
        # load, and who has not loaded it has none of its errors.
        known = sys.modules.get("sqlalchemy.exc")
        if known is None or not isinstance(trouble, known.SQLAlchemyError):
            raise
        cause = getattr(trouble, "orig", None)
        raise _of_database(place, trouble if cause is None else cause) from trouble
