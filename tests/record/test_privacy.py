"""On a laptop that several people use, a journal is its owner's alone."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import numpy as np
import pytest

from journal.facts import Photo
from journal.live import LivePage
from journal.record.clips import keep_clip
from journal.record.pack import pack
from journal.record.photos import take_in
from journal.record.privacy import make_private
from journal.record.store import Store
from tests.record.arrange import opened
from tests.record.pictures import file_of, scene
from webui.keys import signing_key

pytestmark = pytest.mark.skipif(os.name != "posix", reason="Windows has no such modes: a user's folder is private")


@pytest.fixture(autouse=True)
def open_handed() -> object:
    """A user whose files are everybody's to read unless told otherwise."""
    before = os.umask(0o002)
    yield
    os.umask(before)


def others_may(path: Path) -> bool:
    return bool(stat.S_IMODE(path.stat().st_mode) & 0o077)


def used(folder: Path, outside: Path) -> None:
    """A journal with something of everything in it, looked at while it is open."""
    with Store.open(folder) as store:
        job = opened()
        taken = take_in(folder, file_of(scene(160, 120)), "a.jpg")
        job.say(Photo(taken.sha256, "a.jpg"), clip=keep_clip(folder, np.ones(100, dtype=np.float32)))
        store.append(*job.entries)
        LivePage(folder, job.job).heard(job.at, "words", "", "")
        signing_key(folder)
        pack(store, job.job, outside)
        everything = [folder, *folder.rglob("*")]
        assert len(everything) > 15 and any(path.name.endswith("-wal") for path in everything)
        assert [path for path in everything if others_may(path)] == []


def test_a_new_journal_and_all_in_it_is_closed_to_others(tmp_path: Path) -> None:
    pytest.importorskip("soundfile", reason="soundfile is not installed: clips are FLAC files written by it")
    used(tmp_path / "shop" / "journal", tmp_path / "job.zip")
    assert others_may(tmp_path / "job.zip"), "what is made to be carried is as the user's other files"


def test_folders_and_files_of_a_journal_are_all_its_owner_needs_and_no_more(tmp_path: Path) -> None:
    os.umask(0)
    with Store.open(tmp_path / "shop" / "journal") as store:
        take_in(store.folder, file_of(scene(160, 120)), "a.jpg")
        store.append(*opened().entries)
        modes = {path.is_dir(): set() for path in store.folder.rglob("*")}
        for path in (store.folder, store.folder.parent, *store.folder.rglob("*")):
            modes[path.is_dir()].add(stat.S_IMODE(path.stat().st_mode))
    assert modes == {True: {0o700}, False: {0o600}}


def test_an_empty_folder_that_was_there_becomes_private_and_one_with_other_things_in_it_stays(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "letter.txt").write_text("mine")
    for name in ("empty", "full"):
        Store.open(tmp_path / name).close()
    assert [others_may(tmp_path / name) for name in ("empty", "full")] == [False, True]
    assert not others_may(tmp_path / "full" / "journal.db") and others_may(tmp_path / "full" / "letter.txt")


def test_a_journal_from_before_is_closed_once_and_may_be_opened_again(tmp_path: Path) -> None:
    folder = tmp_path / "journal"
    Store.open(folder).close()
    for path in (folder, *folder.iterdir()):
        path.chmod(0o777 if path.is_dir() else 0o666)
    Store.open(folder).close()
    assert others_may(folder), "whoever opened it on purpose is not overruled"
    make_private(folder)
    assert not any(others_may(path) for path in (folder, *folder.iterdir()))
