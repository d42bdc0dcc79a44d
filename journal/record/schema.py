"""The journal's database: where it lies, its tables, how it is opened, and its troubles as plain lines."""

from __future__ import annotations

import contextlib
import os
import secrets
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path

from sqlite_utils import Database, Migrations

from journal.errors import NotFound, RecordError
from journal.record.files import (
    COPIES,
    PHOTOS,
    PRIVATE_FILE,
    WRITE_NEW,
    file_errors,
    files_of,
    is_sha256,
    make_folder,
    not_a_file,
    put_in_place,
    sync_folder,
)
from journal.record.keys import KEY_NAME
from journal.record.plain_errors import database_errors
from journal.record.privacy import make_private
from journal.record.reading import connect_to_read, in_memory
from journal.record.seals import seal_all

FILE_NAME = "journal.db"
"""The database's name in the journal folder."""

WAIT_S = 15.0
"""How long to wait for another program that holds the database, seconds."""

migrations = Migrations("journal")

_SHOP = """
CREATE TABLE jobs (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL UNIQUE,
    code TEXT NOT NULL,
    reference TEXT NOT NULL UNIQUE
);
CREATE INDEX jobs_code ON jobs (code);

CREATE TABLE entries (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL UNIQUE,
    job INTEGER NOT NULL REFERENCES jobs (number),
    at_utc TEXT NOT NULL,
    offset_minutes INTEGER NOT NULL,
    technician TEXT NOT NULL,
    source TEXT NOT NULL,
    kind TEXT NOT NULL,
    heard TEXT NOT NULL,
    clip TEXT NOT NULL,
    certainty REAL NOT NULL CHECK (certainty BETWEEN 0 AND 1),
    body TEXT NOT NULL CHECK (json_valid(body))
);
CREATE INDEX entries_job ON entries (job, at_utc);
CREATE INDEX entries_clip ON entries (clip) WHERE clip != '';
CREATE INDEX entries_photo ON entries (json_extract(body, '$.sha256')) WHERE kind = 'photo';

CREATE TABLE erasing (job INTEGER PRIMARY KEY REFERENCES jobs (number));
CREATE TABLE files_to_remove (room TEXT NOT NULL, sha256 TEXT NOT NULL, PRIMARY KEY (room, sha256)) WITHOUT ROWID;
CREATE TABLE clips_let_go (sha256 TEXT PRIMARY KEY, at_utc TEXT NOT NULL);

CREATE TRIGGER entries_are_not_changed BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'an entry is never changed: write a correction'); END;
CREATE TRIGGER entries_are_not_replaced BEFORE INSERT ON entries
WHEN EXISTS (SELECT 1 FROM entries WHERE id = NEW.id OR seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, 'an entry is never replaced: write a correction'); END;
CREATE TRIGGER entries_are_not_deleted BEFORE DELETE ON entries
WHEN OLD.job NOT IN (SELECT job FROM erasing)
BEGIN SELECT RAISE(ABORT, 'an entry is never deleted: write a withdrawal, or erase the whole job'); END;
"""

_DERIVED = """
CREATE TABLE job_lines (
    job INTEGER PRIMARY KEY REFERENCES jobs (number) ON DELETE CASCADE,
    unit TEXT NOT NULL,
    complaint TEXT NOT NULL,
    state TEXT NOT NULL,
    opened_at TEXT NOT NULL,
    taken_up_at TEXT NOT NULL,
    last_at TEXT NOT NULL,
    technician TEXT NOT NULL,
    entries INTEGER NOT NULL,
    waiting INTEGER NOT NULL
);
CREATE INDEX job_lines_last ON job_lines (last_at);
CREATE INDEX job_lines_opened ON job_lines (opened_at);
CREATE INDEX job_lines_state ON job_lines (state, last_at);
CREATE INDEX job_lines_taken_up ON job_lines (taken_up_at) WHERE state != 'closed';

CREATE TABLE job_technicians (
    job INTEGER NOT NULL REFERENCES jobs (number) ON DELETE CASCADE,
    technician TEXT NOT NULL,
    PRIMARY KEY (job, technician)
) WITHOUT ROWID;
CREATE INDEX job_technicians_name ON job_technicians (technician, job);

CREATE TABLE job_findings (
    job INTEGER PRIMARY KEY REFERENCES jobs (number) ON DELETE CASCADE,
    headline TEXT NOT NULL,
    causes TEXT NOT NULL
);
CREATE TABLE job_standings (
    job INTEGER NOT NULL REFERENCES jobs (number) ON DELETE CASCADE,
    cylinder INTEGER NOT NULL,
    standing TEXT NOT NULL,
    PRIMARY KEY (job, cylinder)
) WITHOUT ROWID;
CREATE INDEX job_standings_standing ON job_standings (standing, job);

CREATE TABLE job_texts (
    job INTEGER PRIMARY KEY REFERENCES jobs (number) ON DELETE CASCADE,
    unit TEXT NOT NULL,
    complaint TEXT NOT NULL,
    notes TEXT NOT NULL,
    causes TEXT NOT NULL
);
"""


@migrations()
def facts_and_what_is_derived_from_them(db: Database) -> None:
    """The first schema: entries and their jobs; lines, texts and standings that can be made again from them."""
    db.executescript(_SHOP)
    db.executescript(_DERIVED)
    db.table("job_texts").enable_fts(["unit", "complaint", "notes", "causes"], create_triggers=True)


_SEALS = """
CREATE TABLE signers (number INTEGER PRIMARY KEY, key BLOB NOT NULL UNIQUE);
CREATE TABLE seals (
    seq INTEGER PRIMARY KEY,
    sha256 BLOB NOT NULL,
    signer INTEGER REFERENCES signers (number),
    signature BLOB,
    carried INTEGER NOT NULL
);
CREATE INDEX seals_carried ON seals (seq) WHERE carried;
CREATE TABLE sealed (
    one INTEGER PRIMARY KEY CHECK (one = 1),
    entries INTEGER NOT NULL,
    total BLOB NOT NULL,
    signer INTEGER REFERENCES signers (number),
    signature BLOB
);
CREATE TABLE copies_only (sha256 TEXT PRIMARY KEY) WITHOUT ROWID;
ALTER TABLE jobs ADD COLUMN teaches INTEGER NOT NULL DEFAULT 1;
CREATE INDEX entries_set_back ON entries (job) WHERE kind = 'clock set back';
CREATE INDEX entries_taken_up ON entries (seq) WHERE kind IN ('job opened', 'job reopened');
"""


@migrations()
def seals_beside_the_entries(db: Database) -> None:
    """The second schema: a checksum and a signature for each entry; what came by a pack is known as such."""
    db.executescript(_SEALS)
    seal_all(db)


_SUMS = "CREATE TABLE sums (subject TEXT PRIMARY KEY, total BLOB NOT NULL) WITHOUT ROWID;"


@migrations()
def sums_over_what_no_entry_says(db: Database) -> None:
    """The third schema: what stands beside the entries is summed up and signed too, from the next write on."""
    db.executescript(_SUMS)


def make_facts(db: Database) -> None:
    """Make the tables that hold facts, with what keeps them as they are, in an empty database."""
    db.executescript(_SHOP)
    db.executescript(_SEALS)
    db.executescript(_SUMS)


_ALL = {
    facts_and_what_is_derived_from_them.__name__,
    seals_beside_the_entries.__name__,
    sums_over_what_no_entry_says.__name__,
}


def connect(folder: Path, *, create: bool, wait_s: float = WAIT_S, in_turn: bool = False) -> Database:
    """Open the journal's database, making or bringing it up to date as needed; for reading only where all is read-only.

    With `in_turn`, threads may use the connection one after the other; otherwise only the one that opened it.

    Raises:
        NotFound: when there is none and `create` is false.
        RecordError: when it cannot be opened or was written by a newer version of the program.
    """
    path = folder / FILE_NAME
    with database_errors(path):
        if what := not_a_file(path):
            raise RecordError(f"{path} is {what}, not the journal's database: put that back there, or {_BACK}")
        if not path.exists():
            _make(folder, path, create=create)
        elif path.stat().st_size < _SMALLEST:
            # SQLite would take it for a new database and begin anew.
            raise RecordError(f"{path} is empty, what was kept in it is gone: {_BACK}")
        db = Database(sqlite3.connect(path, timeout=wait_s, check_same_thread=not in_turn))
        try:
            _prepare(db, path, wait_s)
        except sqlite3.OperationalError as error:
            db.close()
            if any(words in str(error).lower() for words in _CANNOT_WRITE):
                return _read_only(path, in_turn)
            raise
        except BaseException:
            db.close()
            raise
        return db


_SMALLEST = 512
"""Bytes of the smallest database there is: one page (SQLite file format, 1.3.2)."""
_BACK = "go back to the last backup; to begin anew, move the folder away first"
_CANNOT_WRITE = ("readonly", "unable to open", "full", "disk i/o")
"""What SQLite says where it can write nothing beside the database: all of it may still be read."""


def _make(folder: Path, path: Path, *, create: bool) -> None:
    """Make a new database: whole before it has its name, so that a full disk or a kill leaves no half of one."""
    if (folder / KEY_NAME).exists():
        raise RecordError(f"{path} is gone, while the journal's key is there: {_BACK}")
    if not create:
        raise NotFound(f"there is no journal in {folder}: open a job first, or choose a folder with --journal")
    try:
        make_folder(folder)
    except OSError as error:
        raise RecordError(f"the folder {folder} cannot be made: {error.strerror}; choose another") from error
    beside = folder / f".{FILE_NAME}.{secrets.token_hex(4)}.part"
    try:
        with file_errors(path):
            os.close(os.open(beside, WRITE_NEW, PRIVATE_FILE))
            db = Database(sqlite3.connect(beside))
            try:
                with writing(db):
                    migrations.apply(db)
            finally:
                db.close()
            with contextlib.suppress(FileExistsError):  # another program was quicker
                put_in_place(beside, path)
            sync_folder(folder)
    finally:
        for left in folder.glob(f"{beside.name}*"):
            left.unlink(missing_ok=True)
    make_private(folder)


def can_write(db: Database) -> bool:
    """Whether this connection may write at all."""
    return not db.execute("PRAGMA query_only").fetchone()[0]


def _read_only(path: Path, in_turn: bool) -> Database:
    """The database for reading only; one of an earlier version as a copy in memory that is of this one."""
    with file_errors(path):
        db = connect_to_read(path, in_turn)
    if _is_current(db, path):
        return db
    db = in_memory(db, in_turn)
    migrations.apply(db)
    db.execute("PRAGMA query_only = ON")
    return db


def _is_current(db: Database, path: Path) -> bool:
    """Whether nothing is left to be brought up to date; `RecordError` when another version has done more than that."""
    applied = {migration.name for migration in migrations.applied(db)}
    if not applied:
        raise RecordError(f"{path} holds no journal, what was kept in it is gone: {_BACK}")
    if applied - _ALL:
        raise RecordError(f"{path} was written by a newer version of the program: bring this one up to date first")
    return applied == _ALL


def _prepare(db: Database, path: Path, wait_s: float) -> None:
    # SQLite does not wait by itself when two programs switch the same new file to WAL at once.
    until = time.monotonic() + wait_s
    while True:
        try:
            db.enable_wal()
            break
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > until:
                raise
            time.sleep(0.02)
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA foreign_keys = ON")
    if not _is_current(db, path):
        with writing(db):
            unsealed = seals_beside_the_entries.__name__ in {each.name for each in migrations.pending(db)}
            migrations.apply(db)
            if unsealed:
                _note_copies_only(db, path.parent)
        make_private(path.parent)


def _note_copies_only(db: Database, folder: Path) -> None:
    """Note photos of an older journal that are there as page copies only: whether they ever were more, nobody knows."""
    for (sha256,) in db.execute("SELECT json_extract(body, '$.sha256') FROM entries WHERE kind = 'photo'").fetchall():
        if is_sha256(str(sha256)) and files_of(folder, COPIES, sha256) and not files_of(folder, PHOTOS, sha256):
            db.execute("INSERT OR IGNORE INTO copies_only VALUES (?)", [sha256])


@contextlib.contextmanager
def writing(db: Database) -> Iterator[None]:
    """One transaction that holds the only pen from its start, so that what it reads stays true until it commits."""
    db.conn.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.conn.execute("COMMIT")
    except BaseException:
        with contextlib.suppress(sqlite3.Error):
            db.rollback()
        raise
