"""How the database is set: a commit is on the disk, and no entry is of a job that is not there."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from journal.record.schema import FILE_NAME, connect
from journal.record.store import Store
from tests.record.arrange import opened


def test_a_commit_waits_for_the_disk_and_entries_need_their_job(tmp_path: Path) -> None:
    with Store.open(tmp_path) as store:
        store.append(*opened().entries)
    db = connect(tmp_path, create=False)
    try:
        assert db.execute("PRAGMA synchronous").fetchone()[0] == 2, "FULL, by SQLite's documentation of the pragma"
        assert db.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
        columns = "id, job, at_utc, offset_minutes, technician, source, heard, clip, certainty, kind, body"
        with pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
            db.execute(f"INSERT INTO entries ({columns}) SELECT 'x', 99, {columns.partition('job, ')[2]} FROM entries")
    finally:
        db.close()


def test_whoever_only_reads_writes_nothing_even_where_the_file_would_let_them(tmp_path: Path) -> None:
    from journal.record.reading import connect_to_read

    with Store.open(tmp_path) as store:
        store.append(*opened().entries)
    db = connect_to_read(tmp_path / FILE_NAME, False)
    try:
        assert db.execute("SELECT count(*) FROM entries").fetchone()[0] == 1
        with pytest.raises(sqlite3.OperationalError, match="readonly"):
            db.execute("UPDATE jobs SET teaches = 1")
    finally:
        db.close()
