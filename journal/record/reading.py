"""A database opened where nothing can be written: on a full disk, a read-only one, or in somebody else's folder."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import tempfile
import weakref
from pathlib import Path

from sqlite_utils import Database


def connect_to_read(path: Path, in_turn: bool) -> Database:
    """Open a database for reading only, without the small files that SQLite puts beside one.

    Args:
        path: the database.
        in_turn: whether threads may use it one after the other.

    Raises:
        sqlite3.Error: it cannot be read either.
        OSError: there is no room for the copy that would have to be read.
    """
    log = path.with_name(f"{path.name}-wal")
    if log.exists() and log.stat().st_size:
        # The latest entries still lie in the log.
        db = _alone(path, in_turn) or _copied(path, log, in_turn)
    else:
        address = f"{path.absolute().as_uri()}?immutable=1"
        db = Database(sqlite3.connect(address, uri=True, check_same_thread=not in_turn))
    db.execute("PRAGMA query_only = ON")
    return db


def in_memory(db: Database, in_turn: bool) -> Database:
    """A copy of a database that nothing can be written to, to be brought up to date; the original is closed."""
    copy = Database(sqlite3.connect(":memory:", check_same_thread=not in_turn))
    with contextlib.closing(db):
        db.conn.backup(copy.conn)
    return copy


def _alone(path: Path, in_turn: bool) -> Database | None:
    """The database where it lies, with its log: whoever has it alone needs no file for sharing it (SQLite, WAL, 8)."""
    db = Database(sqlite3.connect(path, timeout=0.1, check_same_thread=not in_turn))
    try:
        db.execute("PRAGMA locking_mode = EXCLUSIVE")
        db.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    except sqlite3.OperationalError:
        db.close()
        return None
    return db


def _copied(path: Path, log: Path, in_turn: bool) -> Database:
    elsewhere = tempfile.TemporaryDirectory()
    for file in (path, log):
        shutil.copy(file, elsewhere.name)
    db = Database(sqlite3.connect(Path(elsewhere.name) / path.name, check_same_thread=not in_turn))
    weakref.finalize(db, elsewhere.cleanup)
    return db
