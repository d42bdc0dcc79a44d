"""The way out of a journal whose key is lost, or of which a table is gone: its jobs are packed, and unpacked anew."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from journal.cli.main import group
from journal.facts import Cut, JobClosed, Note, Photo
from journal.record.clips import keep_clip
from journal.record.keys import KEY_NAME, journal_key, name_of
from journal.record.photos import take_in
from journal.record.store import Store
from journal.record.verify import verify
from tests.record.arrange import Scribe, opened
from tests.record.pictures import file_of, scene

pytest.importorskip("soundfile", reason="soundfile is not installed: clips are FLAC files written by it")


def run(folder: Path, *words: str) -> Result:
    return CliRunner().invoke(group, ["--journal", str(folder), *words])


@pytest.fixture
def jobs(tmp_path: Path) -> list[Scribe]:
    """A journal with a closed job, which has a photo and a sound, and an open one."""
    closed, still_open = opened(), opened()
    with Store.open(tmp_path / "old") as store:
        closed.say(Cut(3, 30.0), clip=keep_clip(store.folder, np.full(800, 0.1, dtype=np.float32)))
        closed.say(Photo(take_in(store.folder, file_of(scene(160, 120)), "a.jpg").sha256, "a.jpg", "overhead"))
        closed.say(JobClosed("injector", 3, "worn"))
        store.append(*closed.entries, *still_open.entries)
    return [closed, still_open]


def moved(old: Path, new: Path) -> None:
    """Pack every job of a journal and unpack them all into a new one, by the commands that README names."""
    with Store.open(old) as store:
        references = [reference for _, reference in store.references()]
    packs = [old.parent / f"{reference}.zip" for reference in references]
    for reference, path in zip(references, packs, strict=True):
        assert run(old, "pack", "--job", reference, str(path)).exit_code == 0
    came = run(new, "unpack", "--teach", *map(str, packs))
    assert came.exit_code == 0, came.output


def test_a_journal_whose_key_is_lost_goes_on_whole_and_sound_in_a_new_folder(
    tmp_path: Path, jobs: list[Scribe]
) -> None:
    old, new = tmp_path / "old", tmp_path / "new"
    before = journal_key(old).public
    (old / KEY_NAME).unlink()
    with Store.open(old) as store:
        store.append(jobs[1].say(Note("after")))
        assert verify(store) != []
    moved(old, new)
    with Store.open(new) as store:
        assert verify(store) == []
        for job in jobs:
            assert store.entries(job.job) == job.entries
        assert [line.id for line in store.jobs(teaching=True, state="closed")] == [jobs[0].job]
        assert {name_of(by.key) for by in store.signatures(jobs[0].job).values()} == {name_of(before)}
        store.append(jobs[1].say(Note("anew")))
        assert verify(store) == []


@pytest.mark.parametrize("table", ["sums", "seals", "sealed"])
def test_where_a_table_is_gone_writing_stops_with_the_way_out_in_the_line(
    tmp_path: Path, jobs: list[Scribe], table: str
) -> None:
    old, new = tmp_path / "old", tmp_path / "new"
    with sqlite3.connect(old / "journal.db") as db:
        db.execute(f"DROP TABLE {table}")
    came = run(old, "enter", "cylinder", "three", "cut", "thirty", "eight")
    assert came.exit_code == 1
    assert str(came.exception).endswith(
        f"journal.db: the journal is damaged, part of it is gone (no such table: {table}); nothing was saved: go back "
        "to the last backup; without one, `journal pack FILE --job REF` each job that `journal jobs` lists, and "
        "`journal unpack` the packs into a new folder"
    )
    unnamed = run(old, "pack", str(tmp_path / "which.zip"))
    if table == "seals":  # which jobs were carried in, and so which one is open, cannot be told
        assert unnamed.exit_code == 1 and str(unnamed.exception) == str(came.exception), "it says to name the job"
        assert not (tmp_path / "which.zip").exists()
    else:
        assert unnamed.exit_code == 0
    listed = run(old, "jobs").output
    with Store.open(old) as store:
        assert all(reference in listed for _, reference in store.references())
    assert run(old, "verify").exit_code == 1
    moved(old, new)
    with Store.open(new) as store:
        assert verify(store) == []
        for job in jobs:
            assert store.entries(job.job) == job.entries
