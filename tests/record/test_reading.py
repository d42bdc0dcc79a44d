"""A database is read where nothing can be written: with a log beside it or none, and nothing is left there."""

from __future__ import annotations

import shutil
import sqlite3
import threading
from pathlib import Path

import pytest
from sqlite_utils import Database

from journal.record.reading import connect_to_read, in_memory


@pytest.fixture
def logged(tmp_path: Path) -> Path:
    """A database whose second row still lies in its log, as a program leaves it that was killed."""
    with sqlite3.connect(tmp_path / "live.db") as db:
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("CREATE TABLE said (word TEXT)")
        db.execute("INSERT INTO said VALUES ('one')")
        db.commit()
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        db.execute("INSERT INTO said VALUES ('two')")
        db.commit()
        (tmp_path / "killed").mkdir()
        for ending in ("", "-wal"):
            shutil.copy(tmp_path / f"live.db{ending}", tmp_path / "killed" / f"a.db{ending}")
    return tmp_path / "killed" / "a.db"


def words(db: Database) -> list[str]:
    return [word for (word,) in db.execute("SELECT word FROM said ORDER BY rowid")]


def in_another_thread(db: Database) -> list[object]:
    got: list[object] = []

    def look() -> None:
        try:
            got.append(words(db))
        except sqlite3.ProgrammingError:
            got.append("refused")

    thread = threading.Thread(target=look)
    thread.start()
    thread.join()
    return got


@pytest.mark.parametrize("held", [False, True], ids=["alone", "while another holds it"])
@pytest.mark.parametrize("in_turn", [False, True])
def test_what_lies_in_the_log_is_read_too(logged: Path, held: bool, in_turn: bool) -> None:
    other = sqlite3.connect(logged) if held else None
    if other is not None:
        other.execute("SELECT * FROM said").fetchone()
    before = sorted(logged.parent.iterdir())
    db = connect_to_read(logged, in_turn)
    assert words(db) == ["one", "two"]
    assert sorted(logged.parent.iterdir()) == before, "no file is put beside it for sharing it"
    assert in_another_thread(db) == ([["one", "two"]] if in_turn else ["refused"])
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        db.execute("INSERT INTO said VALUES ('three')")
    db.close()
    if other is not None:
        other.close()


@pytest.mark.parametrize("log", ["none", "an empty one"])
@pytest.mark.parametrize("in_turn", [False, True])
def test_without_a_log_it_is_read_as_it_lies_and_nothing_is_put_beside_it(
    logged: Path, log: str, in_turn: bool
) -> None:
    path = logged.with_name("a.db-wal")
    path.unlink()
    if log != "none":
        path.touch()
    before = sorted(logged.parent.iterdir())
    db = connect_to_read(logged, in_turn)
    assert words(db) == ["one"]
    assert sorted(logged.parent.iterdir()) == before
    assert in_another_thread(db) == ([["one"]] if in_turn else ["refused"])
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        db.execute("INSERT INTO said VALUES ('three')")
    db.close()


@pytest.mark.parametrize("in_turn", [False, True])
def test_a_copy_in_memory_may_be_changed_and_the_file_is_let_go(logged: Path, in_turn: bool) -> None:
    db = connect_to_read(logged, False)
    copy = in_memory(db, in_turn)
    copy.execute("INSERT INTO said VALUES ('three')")
    assert words(copy) == ["one", "two", "three"]
    assert in_another_thread(copy) == ([["one", "two", "three"]] if in_turn else ["refused"])
    with pytest.raises(sqlite3.ProgrammingError, match="closed"):
        words(db)
