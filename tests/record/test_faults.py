"""Kills, a full disk, a read-only folder, a held database: what was acknowledged is there, and the line is clear."""

from __future__ import annotations

import multiprocessing
import os
import shutil
import sqlite3
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from journal.cli.main import group
from journal.errors import RecordError
from journal.facts import Cut, Note
from journal.record.backup import back_up
from journal.record.clips import keep_clip
from journal.record.keys import journal_key
from journal.record.pack import pack
from journal.record.photos import take_in
from journal.record.schema import FILE_NAME
from journal.record.store import Store
from journal.record.verify import verify
from tests.record.arrange import Scribe, opened
from tests.record.pictures import file_of, scene
from tests.record.writers import kill_writers, open_job, write_together
from webui.keys import signing_key

pytest.importorskip("soundfile", reason="soundfile is not installed: the writers keep clips")


def test_a_writer_killed_at_any_moment_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    done = kill_writers(tmp_path, 25, seed=1)
    assert done.troubles == []
    assert done.rounds == 25 and 0 < done.acknowledged <= done.on_disk


@pytest.mark.long
def test_three_hundred_kills_lose_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    done = kill_writers(tmp_path, 300, seed=2, longest_s=0.4)
    assert done.troubles == []
    assert done.rounds == 300 and 0 < done.acknowledged <= done.on_disk


def test_eight_writers_at_once_lose_and_double_nothing(tmp_path: Path) -> None:
    troubles, took = write_together(tmp_path, 8, 60)
    assert troubles == [] and len(took) == 480


@pytest.mark.long
def test_eight_writers_and_twenty_thousand_entries(tmp_path: Path) -> None:
    troubles, took = write_together(tmp_path, 8, 2500)
    assert troubles == [] and len(took) == 20_000


def _open_at_once(folder: Path, go: object) -> None:
    go.wait()  # type: ignore[attr-defined]
    with Store.open(folder) as store:
        store.jobs()


def test_a_new_journal_opened_by_several_programs_at_once_is_made_once(tmp_path: Path) -> None:
    context = multiprocessing.get_context("fork" if hasattr(os, "fork") else "spawn")
    go = context.Event()
    openers = [context.Process(target=_open_at_once, args=(tmp_path, go)) for _ in range(6)]
    for opener in openers:
        opener.start()
    time.sleep(0.2)
    go.set()
    for opener in openers:
        opener.join()
    assert [opener.exitcode for opener in openers] == [0] * 6


def hold(path: Path, seconds: float) -> threading.Thread:
    """Another program holds the database for a while."""
    held = threading.Event()

    def keep() -> None:
        other = sqlite3.connect(path)
        other.execute("BEGIN IMMEDIATE")
        held.set()
        time.sleep(seconds)
        other.rollback()
        other.close()

    thread = threading.Thread(target=keep)
    thread.start()
    held.wait()
    return thread


def test_a_database_held_for_a_while_is_waited_for(tmp_path: Path) -> None:
    job = opened()
    with Store.open(tmp_path) as store:
        store.append(*job.entries)
        thread = hold(store.path, 1.0)
        note = job.say(Note("waited"))
        store.append(note)
        thread.join()
        assert store.entry(note.id) == note


@pytest.mark.long
def test_a_database_held_for_ten_seconds_is_waited_for(tmp_path: Path) -> None:
    job = opened()
    with Store.open(tmp_path) as store:
        store.append(*job.entries)
        thread = hold(store.path, 10.0)
        note = job.say(Note("waited"))
        store.append(note)
        thread.join()
        assert store.entry(note.id) == note


def test_a_database_held_for_too_long_is_one_clear_line_and_nothing_is_acknowledged(tmp_path: Path) -> None:
    job = opened()
    with Store.open(tmp_path, wait_s=0.3) as store:
        store.append(*job.entries)
        thread = hold(store.path, 1.5)
        with pytest.raises(RecordError, match="another program holds the journal; nothing was saved"):
            store.append(job.say(Note("not waited for")))
        assert store.entries(job.job) == job.entries[:1], "reading goes on meanwhile"
        thread.join()
        store.append(job.entries[1])
        assert store.entries(job.job) == job.entries


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 3 MB."""
    folder = tmp_path / "small"
    folder.mkdir()
    mount = shutil.which("mount")
    command = [mount or "mount", "-t", "tmpfs", "-o", "size=3m", "journal-test", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True) if mount else None
    if done is None or done.returncode:
        pytest.skip("a small disk needs leave to mount a tmpfs: run the tests as root on Linux")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def fill(folder: Path, leave: int) -> Path:
    """Fill a disk up to a rest of so many bytes."""
    big = folder / "big"
    free = os.statvfs(folder)
    with big.open("wb") as file:
        file.write(b"\0" * max(0, free.f_bavail * free.f_frsize - leave))
    return big


def test_a_full_disk_is_one_clear_line_and_what_was_acknowledged_stays(small_disk: Path) -> None:
    job = opened()
    folder = small_disk / "journal"
    with Store.open(folder) as store:
        store.append(*job.entries)
        big = fill(small_disk, 60_000)
        acknowledged = list(job.entries)
        with pytest.raises(RecordError, match="disk is full; nothing was saved: free some space"):
            for number in range(1000):
                note = job.say(Note(f"{number} " + "long words " * 200))
                store.append(note)
                acknowledged.append(note)
        assert store.entries(job.job) == acknowledged, "reading goes on, and nothing is there by halves"
        with pytest.raises(RecordError, match="free some space"):
            keep_clip(folder, np.random.default_rng(1).normal(0, 0.3, 60_000).astype(np.float32))
        with pytest.raises(RecordError, match="free some space"):
            take_in(folder, file_of(scene()), "a.jpg")
        with pytest.raises(RecordError, match="free some space"):
            pack(store, job.job, small_disk / "job.zip", {"large.bin": bytes(200_000)})
        assert not [path for path in small_disk.rglob("*") if path.suffix in (".part", ".flac", ".zip")]
        big.unlink()
        store.append(note)
        assert store.entries(job.job) == [*acknowledged, note]
        assert store.check_database() == []
    with Store.open(folder) as store:
        assert store.entries(job.job) == [*acknowledged, note]


def test_a_new_journal_on_a_full_disk_is_one_clear_line_and_nothing_half_made(small_disk: Path) -> None:
    big = fill(small_disk, 20_000)
    with pytest.raises(RecordError, match="disk is full"):
        Store.open(small_disk / "journal")
    assert not list((small_disk / "journal").iterdir())
    big.unlink()
    Store.open(small_disk / "journal").close()


@pytest.mark.parametrize("crashed", [False, True])
def test_show_and_verify_on_a_full_disk_say_so_and_still_read(small_disk: Path, crashed: bool) -> None:
    job = opened()
    folder = small_disk / "journal"
    with Store.open(folder) as store:
        store.append(*job.entries, job.say(Note("last words")))
        kept = {name: (folder / name).read_bytes() for name in (FILE_NAME, f"{FILE_NAME}-wal")}
    if crashed:  # the last entries still lie in the log
        for name, data in kept.items():
            (folder / name).write_bytes(data)
    big = fill(small_disk, 0)
    for command, wanted in (("show", "last words"), ("verify", "the journal is sound"), ("jobs", "irrigation pump")):
        done = CliRunner().invoke(group, ["--journal", str(folder), command])
        assert done.exit_code == 0 and wanted in done.output, done.output
        if not crashed:  # what the log held is put into the database by the first command, which makes room
            assert "the disk is full: all can be read" in done.output
    big.unlink()
    big = fill(small_disk, 0)
    refused = CliRunner().invoke(group, ["--journal", str(folder), "enter", "baseline thirty"])
    assert refused.exit_code != 0
    assert "the disk is full; nothing was saved: free some space" in str(refused.exception)
    big.unlink()
    with Store.open(folder) as store:
        assert store.entries(job.job) == job.entries and verify(store) == []
        store.append(job.say(Note("goes on")))


def test_a_full_disk_leaves_no_half_of_a_key(small_disk: Path) -> None:
    big = fill(small_disk, 0)
    for make in (signing_key, journal_key):
        with pytest.raises(RecordError, match="the disk is full; free some space"):
            make(small_disk / "journal")
    assert not [path for path in small_disk.rglob("*") if path.is_file() and path != big]
    big.unlink()
    assert signing_key(small_disk / "journal") == signing_key(small_disk / "journal")
    assert journal_key(small_disk / "journal").public == journal_key(small_disk / "journal").public


def test_an_empty_key_that_an_earlier_version_left_blocks_nothing(tmp_path: Path) -> None:
    (tmp_path / "page.key").touch()
    assert len(signing_key(tmp_path)) == 32 and signing_key(tmp_path) == signing_key(tmp_path)


def _make_keys(folder: Path, go: object, made: object) -> None:
    go.wait()  # type: ignore[attr-defined]
    made.put((signing_key(folder), journal_key(folder).public))  # type: ignore[attr-defined]


def test_keys_made_by_several_programs_at_once_are_one(tmp_path: Path) -> None:
    context = multiprocessing.get_context("fork" if hasattr(os, "fork") else "spawn")
    go, made = context.Event(), context.Queue()
    makers = [context.Process(target=_make_keys, args=(tmp_path, go, made)) for _ in range(6)]
    for maker in makers:
        maker.start()
    go.set()
    assert len({made.get(timeout=60) for _ in makers}) == 1
    for maker in makers:
        maker.join()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["journal.key", "page.key"]


@pytest.mark.parametrize(
    ("name", "key_of"), [("journal.key", lambda folder: journal_key(folder).public), ("page.key", signing_key)]
)
def test_a_key_that_another_program_made_since_an_unsound_one_was_seen_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, key_of: Callable[[Path], bytes]
) -> None:
    (tmp_path / name).touch()
    read, elsewhere = Path.read_bytes, []

    def read_before_another_makes_it(path: Path) -> bytes:
        monkeypatch.setattr(Path, "read_bytes", read)
        try:
            return path.read_bytes()
        finally:
            elsewhere.append(key_of(tmp_path))

    monkeypatch.setattr(Path, "read_bytes", read_before_another_makes_it)
    assert [key_of(tmp_path)] == elsewhere == [key_of(tmp_path)]
    assert [path.name for path in tmp_path.iterdir()] == [name]


@pytest.fixture
def read_only(small_disk: Path) -> Iterator[tuple[Path, Scribe]]:
    """A journal on a disk that has become read-only; its last entry still lies in the log, as after a crash."""
    job = opened()
    with Store.open(small_disk) as store:
        store.append(*job.entries)
        store.append(job.say(Cut(3, 30.0)))
        for name in (FILE_NAME, f"{FILE_NAME}-wal"):
            shutil.copy(small_disk / name, small_disk / f"kept-{name}")
    for name in (FILE_NAME, f"{FILE_NAME}-wal"):
        (small_disk / f"kept-{name}").rename(small_disk / name)
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    yield small_disk, job
    subprocess.run(["mount", "-o", "remount,rw", str(small_disk)], check=True)


def test_a_read_only_journal_can_be_read_and_says_so_when_written(
    read_only: tuple[Path, Scribe], tmp_path: Path
) -> None:
    folder, job = read_only
    with Store.open(folder, create=False) as store:
        assert store.entries(job.job) == job.entries
        assert store.jobs()[0].entries == 2
        with pytest.raises(RecordError, match="read-only here; nothing was saved"):
            store.append(job.say(Note("x")))
        back_up(store, tmp_path / "backup.zip")
    assert (tmp_path / "backup.zip").is_file()
    with pytest.raises(RecordError, match="make the folder writable"):
        keep_clip(folder, np.ones(100, dtype=np.float32))


def test_a_journal_cannot_be_made_where_nothing_can_be_written(read_only: tuple[Path, Scribe]) -> None:
    with pytest.raises(RecordError, match=r"cannot be made|cannot be opened"):
        Store.open(read_only[0] / "new")


def test_one_thread_cannot_use_anothers_store_and_loses_nothing(tmp_path: Path) -> None:
    job = open_job(tmp_path)
    with Store.open(tmp_path) as store:
        refused: list[Exception] = []

        def elsewhere() -> None:
            try:
                store.entries(job)
            except RecordError as error:
                refused.append(error)

        thread = threading.Thread(target=elsewhere)
        thread.start()
        thread.join()
        assert len(refused) == 1
        assert len(store.entries(job)) == 1
