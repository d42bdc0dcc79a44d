"""From how little room on a disk on a trouble of SQLite's is told as a full disk."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path
from types import SimpleNamespace

import pytest

from journal.errors import RecordError
from journal.record.plain_errors import database_errors


@pytest.mark.parametrize(
    "said", ["attempt to write a readonly database", "unable to open database file", "disk I/O error"]
)
@pytest.mark.parametrize(("free", "full"), [(65_535, True), (65_536, False)])
def test_with_fewer_bytes_than_sqlite_begins_with_the_disk_is_full(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, said: str, free: int, full: bool
) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda folder: SimpleNamespace(free=free))
    with pytest.raises(RecordError) as told, database_errors(tmp_path / "journal.db"):
        raise sqlite3.OperationalError(said)
    assert ("the disk is full; nothing was saved: free some space" in str(told.value)) is full


def test_where_the_room_cannot_be_told_it_is_not_called_full(tmp_path: Path) -> None:
    with (
        pytest.raises(RecordError, match="the journal cannot be opened"),
        database_errors(tmp_path / "gone" / "journal.db"),
    ):
        raise sqlite3.OperationalError("unable to open database file")
