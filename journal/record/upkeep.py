"""What keeps a journal's database in order: its own checks, a copy of it, and erasing a job for good."""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

from sqlite_utils import Database

from journal.facts import Entry, Photo
from journal.record import seals, sums
from journal.record.files import CLIPS, COPIES, PHOTOS, begun_files_of, files_of
from journal.record.keys import JournalKey
from journal.record.schema import make_facts, writing


def check_database(db: Database) -> list[str]:
    """What SQLite itself finds wrong with the database; nothing is changed."""
    try:
        found = [str(row[0]) for row in db.execute("PRAGMA integrity_check")]
        loose = [f"{table} row {rowid} names a row of {parent} that is not there"
                 for table, rowid, parent, _ in db.execute("PRAGMA foreign_key_check")]  # fmt: skip
    except sqlite3.DatabaseError as error:
        return [f"the database cannot be read through: {error}; go back to the last backup"]
    return [f"the database is damaged: {line}" for line in found if line != "ok"] + loose


def check_schema(db: Database) -> list[str]:
    """What is missing of the tables and safeguards that hold the facts, or is not as this program makes them."""
    sql = "SELECT type, name, sql FROM sqlite_schema WHERE sql IS NOT NULL"
    there = {(kind, name): text for kind, name, text in db.execute(sql)}
    with contextlib.closing(Database(memory=True)) as fresh:
        make_facts(fresh)
        wanted = {(kind, name): text for kind, name, text in fresh.execute(sql) if not name.startswith("sqlite_")}
    found = [
        f"the {kind} {name} of the database {'was changed' if (kind, name) in there else 'is gone'}: "
        "restore it from a backup"
        for (kind, name), text in wanted.items()
        if there.get((kind, name)) != text
    ]
    # What another program has the database do whenever this one writes would be taken for this one's doing.
    theirs = "SELECT name FROM sqlite_schema WHERE type = 'trigger' AND tbl_name != 'job_texts'"
    found += [
        f"the trigger {name} of the database is not this program's: restore it from a backup"
        for (name,) in db.execute(theirs)
        if ("trigger", name) not in wanted
    ]
    if db.execute("SELECT 1 FROM erasing").fetchone() is not None:
        found.append("a job is marked as being erased, which nobody does now: restore it from a backup")
    return found


def copy_database(db: Database, target: sqlite3.Connection) -> None:
    """Copy the database as it stands at this moment, in one go, through SQLite's own backup."""
    db.conn.backup(target)


def job_references(db: Database) -> list[tuple[str, str]]:
    """Identifier and reference of every job, in the order they came."""
    return [
        (str(id_), str(reference)) for id_, reference in db.execute("SELECT id, reference FROM jobs ORDER BY number")
    ]


def erase(db: Database, folder: Path, number: int, entries: list[Entry], key: JournalKey) -> None:
    """Remove a job: its entries, then its photos and clips that no other job names.

    What is to be removed from the folder is noted in the same transaction, so that a crash in between is made good at
    the next start.
    """
    files = {(CLIPS, entry.clip) for entry in entries if entry.clip}
    shas = {entry.body.sha256 for entry in entries if isinstance(entry.body, Photo)}
    files |= {(room, sha256) for sha256 in shas for room in (PHOTOS, COPIES)}
    db.execute("PRAGMA secure_delete = ON")
    with writing(db):
        db.execute("INSERT INTO erasing VALUES (?)", [number])
        seals.remove(db, number, key)
        db.execute("DELETE FROM entries WHERE job = ?", [number])
        db.execute("DELETE FROM erasing WHERE job = ?", [number])
        with sums.kept(db, key, "jobs", "number = ?", [number]):
            db.execute("DELETE FROM jobs WHERE number = ?", [number])
        for sha256 in shas:
            if not is_named(db, PHOTOS, sha256):
                with sums.kept(db, key, "copies_only", "sha256 = ?", [sha256]):
                    db.execute("DELETE FROM copies_only WHERE sha256 = ?", [sha256])
        db.conn.executemany("INSERT OR IGNORE INTO files_to_remove VALUES (?, ?)", sorted(files))
        # The words of a removed row stay in the search index until it is merged.
        db.execute("INSERT INTO job_texts_fts (job_texts_fts) VALUES ('optimize')")
    finish_erasing(db, folder)
    # The log still holds the pages as they were: fold it into the database, whose old pages are overwritten.
    with contextlib.suppress(sqlite3.OperationalError):  # another session reads just now: its close will do it
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()


def finish_erasing(db: Database, folder: Path) -> None:
    """Remove the files of erased jobs that are still there and that no other job names."""
    for room, sha256 in db.execute("SELECT room, sha256 FROM files_to_remove").fetchall():
        if not is_named(db, room, sha256):
            for path in (*files_of(folder, room, sha256), *begun_files_of(folder, room, sha256)):
                path.unlink(missing_ok=True)
        db.execute("DELETE FROM files_to_remove WHERE room = ? AND sha256 = ?", [room, sha256])


def is_named(db: Database, room: str, sha256: str) -> bool:
    """Whether any entry names the file of that checksum in that room."""
    if room == CLIPS:
        sql = "SELECT 1 FROM entries WHERE clip = ? AND clip != '' LIMIT 1"
    else:
        sql = "SELECT 1 FROM entries WHERE kind = 'photo' AND json_extract(body, '$.sha256') = ? LIMIT 1"
    return db.execute(sql, [sha256]).fetchone() is not None
