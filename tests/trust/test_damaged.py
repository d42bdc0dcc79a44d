"""A database damaged in any way: every command says so in one line or does its work, and none ends in a traceback."""

from __future__ import annotations

import io
import json
import random
import shutil
import sqlite3
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from journal.cli import main
from journal.errors import JournalError
from journal.facts import Cut, Engine, JobClosed, JobOpened, Note, PartWanted, Photo, Question, RunKind, RunStarted
from journal.record.clips import keep_clip
from journal.record.pack import pack
from journal.record.photos import take_in
from journal.record.schema import FILE_NAME
from journal.record.store import Store
from journal.record.verify import verify
from journal.session import Session, open_job
from tests.record.pictures import file_of, scene
from tests.trust.effort import tries

pytest.importorskip("soundfile", reason="the speech extra is not installed")

COMMANDS: dict[str, tuple[str, ...]] = {
    "where you are": (),
    "open": ("open", "--unit", "Pump", "--cylinders", "6"),
    "close": ("close", "--cause", "unknown", "--anyway"),
    "reopen": ("reopen", "--job", "REF"),
    "enter": ("enter", "baseline thirty"),
    "try": ("try", "cylinder four cut, thirty eight"),
    "photo": ("photo", "PHOTO"),
    "clip": ("clip", "ENTRY", "--to", "OUT.flac"),
    "show": ("show",),
    "show as JSON": ("show", "--json"),
    "findings": ("findings",),
    "jobs": ("jobs",),
    "jobs by word": ("jobs", "chafed"),
    "write-up": ("write-up",),
    "write-up to a file": ("write-up", "--to", "OUT.html"),
    "part": ("part", "valve bridge"),
    "order": ("order", "injector", "--reason", "asked for"),
    "repaired": ("repaired", "new bridge"),
    "pack": ("pack", "OUT.pack"),
    "unpack": ("unpack", "PACK"),
    "backup": ("backup", "OUT.zip"),
    "verify": ("verify",),
    "mend": ("verify", "--mend"),
    "let go": ("let-go", "--older-than", "0"),
    "erase": ("erase", "REF"),
}
"""Every command that opens the journal, with words put in below."""


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a sound journal of two jobs, a photo to take in, and a pack."""
    folder = tmp_path_factory.mktemp("sound")
    with Store.open(folder / "journal") as store:
        for unit in ("first", "second"):
            session = Session(store, open_job(store, JobOpened(unit, Engine(6), "misses"), "Ash"))
            clip = keep_clip(store.folder, np.sin(np.arange(4000) / 10).astype(np.float32) * 0.1)
            session.enter(RunStarted(RunKind.IDLE))
            for cylinder in range(1, 7):
                session.enter(Cut(cylinder, 37.0), heard="words", clip=clip)
            session.enter(Note("chafed – Öl"))
            session.enter(Question("three, or thirty?", (Cut(3, 3.0), Cut(3, 30.0))))
            taken = take_in(store.folder, file_of(scene(64, 48)), "photo.jpg")
            session.enter(Photo(taken.sha256, "photo.jpg", "overhead", 4))
            session.enter(PartWanted("valve bridge"))
            store.note_summary(session.job_id, "Cylinder 3 is dead", {3: "dead"}, causes="valve train")
            if unit == "first":
                pack(store, session.job_id, folder / "job.pack")
                session.enter(JobClosed("injector", 3, "worn"))
        (folder / "words.json").write_text(
            json.dumps({"REF": store.line(session.job_id).reference, "ENTRY": store.entries(session.job_id)[2].id})
        )
    (folder / "photo.jpg").write_bytes(file_of(scene(64, 48, 3)))
    return folder


def bytes_changed(path: Path, chance: random.Random) -> None:
    """Single bytes, runs of zeros or noise, anywhere; half of the time where SQLite keeps a page's directory."""
    data = bytearray(path.read_bytes())
    for _ in range(chance.randint(1, 6)):
        page = chance.randrange(len(data) // 4096) * 4096
        at = page + chance.randrange(120) if chance.random() < 0.5 else chance.randrange(len(data))
        piece = chance.choice([bytes([chance.randrange(256)]), bytes(chance.randint(1, 600)), chance.randbytes(8)])
        data[at : at + len(piece)] = piece[: len(data) - at]
    path.write_bytes(data)


def cut_short(path: Path, chance: random.Random) -> None:
    """A file that ends too soon."""
    data = path.read_bytes()
    path.write_bytes(data[: chance.choice([1, 99, 4096, chance.randrange(len(data))])])


def values_changed(path: Path, chance: random.Random) -> None:
    """Values of rows that the database takes and the program never wrote."""
    odd: list[object] = [None, "", "x" * 300, -1, 1e308, 2**62, b"\xff\xfe", "{}", "[]", "nowhen", "\x00", "{"]
    with sqlite3.connect(path) as db:
        db.text_factory = lambda text: text.decode(errors="replace")  # what was put there before need not be UTF-8
        for (trigger,) in db.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall():
            db.execute(f"DROP TRIGGER {trigger}")
        db.execute("PRAGMA ignore_check_constraints = ON")
        tables = [name for (name,) in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        for _ in range(chance.randint(1, 4)):
            table = chance.choice([t for t in tables if "fts" not in t and not t.startswith("sqlite_")])
            columns = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
            rows = [row[0] for row in db.execute(f"SELECT {columns[0]} FROM {table}")]
            if not rows:
                continue
            value = "CAST(? AS TEXT)" if chance.random() < 0.3 else "?"  # bytes as text need not be UTF-8
            change = f"UPDATE OR IGNORE {table} SET {chance.choice(columns)} = {value} WHERE {columns[0]} = ?"
            try:
                db.execute(change, [chance.choice(odd), chance.choice(rows)])
            except sqlite3.IntegrityError:
                continue


def rows_gone(path: Path, chance: random.Random) -> None:
    """Rows, or whole tables, that are no longer there."""
    with sqlite3.connect(path) as db:
        for (trigger,) in db.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall():
            db.execute(f"DROP TRIGGER {trigger}")
        tables = [name for (name,) in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        table = chance.choice([t for t in tables if "fts" not in t and not t.startswith("sqlite_")])
        if chance.random() < 0.3:
            db.execute(f"DROP TABLE {table}")
        else:
            db.execute(f"DELETE FROM {table} WHERE abs(random()) % 100 < ?", [chance.choice([10, 50, 100])])


ACCIDENTS = (bytes_changed, cut_short, values_changed, rows_gone)


@given(seed=st.integers(0, 2**32), name=st.sampled_from(sorted(COMMANDS)))
@tries(250, 5_000)
def test_every_command_on_any_damaged_database_does_its_work_or_says_so_in_one_line(
    seed: int,
    name: str,
    sound: Path,
    tmp_path_factory: pytest.TempPathFactory,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    chance = random.Random(seed)
    here = tmp_path_factory.mktemp("damaged")
    shutil.copytree(sound / "journal", here / "journal")
    chance.choice(ACCIDENTS)(here / "journal" / FILE_NAME, chance)
    words = json.loads((sound / "words.json").read_text())
    words |= {"PHOTO": str(sound / "photo.jpg"), "PACK": str(sound / "job.pack")}
    arguments = [words.get(word, word).replace("OUT", str(here / "out")) for word in COMMANDS[name]]
    capsys.readouterr()
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(f"y\n{words['REF']}\n".encode())))
    with pytest.raises(SystemExit) as ended:
        main(["--journal", str(here / "journal"), *arguments])
    told = capsys.readouterr().err
    assert "Traceback" not in told
    if ended.value.code:
        assert told.strip().count("\n") == 0, told
    shutil.rmtree(here)


def content(folder: Path) -> object:
    """Every job's entries with their signatures."""
    with Store.open(folder, create=False) as store:
        return {job: (store.entries(job), store.signatures(job)) for job, _ in store.references()}


@given(seed=st.integers(0, 2**32))
@tries(100, 5_000)
def test_whatever_was_lost_or_altered_is_found(
    seed: int, sound: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    chance = random.Random(seed)
    here = tmp_path_factory.mktemp("damaged")
    shutil.copytree(sound / "journal", here / "journal")
    chance.choice(ACCIDENTS)(here / "journal" / FILE_NAME, chance)
    try:
        with Store.open(here / "journal", create=False) as store:
            found = verify(store)
    except JournalError:
        found = ["it cannot be opened"]
    if not found:
        assert content(here / "journal") == content(sound / "journal")
    shutil.rmtree(here)
