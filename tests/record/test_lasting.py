"""What is written to last is on the disk before anything is said of it: files, their names, and the folders above."""

from __future__ import annotations

import errno
import os
import sqlite3
import stat
import sys
from pathlib import Path

import pytest

from journal.errors import RecordError
from journal.record import exports, files
from journal.record.backup import back_up
from journal.record.exports import exported, scratch
from journal.record.files import file_errors, make_folder, put_in_place, write_once, write_whole
from journal.record.store import Store
from tests.record.arrange import opened

Told = list[tuple[str, str]]


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch) -> Told:
    """What was put on the disk itself, in order: files by their content's length, folders by their names."""
    done: Told = []
    fsync = os.fsync

    def synced(handle: int) -> None:
        facts = os.fstat(handle)
        if not stat.S_ISDIR(facts.st_mode):
            done.append(("file", str(facts.st_size)))
        fsync(handle)

    def folder(path: Path) -> None:
        done.append(("folder", path.name))

    monkeypatch.setattr(os, "fsync", synced)
    for module in (files, exports):
        monkeypatch.setattr(module, "sync_folder", folder)
    return done


def test_a_whole_file_is_synced_before_its_name_and_its_name_after(tmp_path: Path, told: Told) -> None:
    write_whole(tmp_path / "a", b"12345")
    assert told == [("file", "5"), ("folder", tmp_path.name)]
    told.clear()
    write_whole(tmp_path / "b", b"12345", lasting=False)
    assert told == []
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "b"]


def test_so_is_a_file_that_is_written_once_and_one_that_was_there_is_read(tmp_path: Path, told: Told) -> None:
    assert write_once(tmp_path / "key", b"first") == b"first"
    assert told == [("file", "5"), ("folder", tmp_path.name)]
    assert write_once(tmp_path / "key", b"second") == b"first"
    assert [path.name for path in tmp_path.iterdir()] == ["key"], "nothing is left beside it"


def test_each_folder_that_is_made_is_put_on_the_disk_in_the_one_above(tmp_path: Path, told: Told) -> None:
    make_folder(tmp_path / "a" / "b" / "c")
    assert sorted(told) == sorted([("folder", "b"), ("folder", "a"), ("folder", tmp_path.name)])
    told.clear()
    make_folder(tmp_path / "a" / "b" / "c")
    assert told == []
    (tmp_path / "file").touch()
    with pytest.raises(FileExistsError):
        make_folder(tmp_path / "file")


def test_a_folder_that_another_program_makes_meanwhile_is_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a").mkdir()
    exists = Path.exists
    monkeypatch.setattr(Path, "exists", lambda path: path.name not in ("a", "b") and exists(path))
    make_folder(tmp_path / "a" / "b")
    assert (tmp_path / "a" / "b").is_dir()


def test_what_leaves_the_journal_is_synced_before_it_has_its_name(tmp_path: Path, told: Told) -> None:
    with exported(tmp_path / "out" / "a.zip") as file:
        file.write(b"123")
        file.flush()
        assert not (tmp_path / "out" / "a.zip").exists()
    assert told == [("file", "3"), ("folder", "out")]
    with pytest.raises(ZeroDivisionError), exported(tmp_path / "out" / "b.zip") as file:
        file.write(b"123")
        raise ZeroDivisionError
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["a.zip"]


@pytest.mark.parametrize("tmpfile", [True, False], ids=["without a name", "under another name"])
def test_a_file_may_be_read_back_while_it_is_written(
    tmp_path: Path, tmpfile: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    if not tmpfile:
        monkeypatch.delattr(os, "O_TMPFILE", raising=False)
    with exported(tmp_path / "a", mode=0o600) as file:
        file.write(b"hello")
        file.seek(0)
        assert file.read() == b"hello"
        assert len(list(tmp_path.iterdir())) == (0 if tmpfile and hasattr(os, "O_TMPFILE") else 1)
    assert (tmp_path / "a").read_bytes() == b"hello"
    assert [path.name for path in tmp_path.iterdir()] == ["a"]
    if os.name == "posix":
        assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == 0o600


def test_the_copy_of_the_database_has_no_name_while_it_is_made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """So that a kill leaves nothing of it beside the backup, where an O_TMPFILE can be had for that too."""
    job, there = opened(), []
    copy = Store.copy_database

    def looked(store: Store, target: sqlite3.Connection) -> None:
        there.extend(path.name for path in (tmp_path / "out").iterdir() if ".db." in path.name)
        copy(store, target)
        there.extend(path.name for path in (tmp_path / "out").iterdir() if ".db." in path.name)

    monkeypatch.setattr(Store, "copy_database", looked)
    (tmp_path / "out").mkdir()
    with Store.open(tmp_path / "journal") as store:
        store.append(*job.entries)
        back_up(store, tmp_path / "out" / "a.zip")
    assert there == [] or sys.platform == "win32"
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["a.zip"]


def test_a_scratch_file_is_the_owners_alone_and_goes_with_its_use(tmp_path: Path) -> None:
    with scratch(tmp_path) as (path, handle):
        assert path.exists() and os.write(handle, b"x") == 1
        if os.name == "posix":
            assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(OSError, match="Bad file descriptor"):
        os.fstat(handle)


@pytest.mark.parametrize("links", [True, False], ids=["links", "no links, as on a USB stick"])
def test_a_file_that_is_there_is_never_replaced_by_a_finished_one(
    tmp_path: Path, links: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(*_: object, **__: object) -> None:
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))

    if not links:
        monkeypatch.setattr(os, "link", none)
    for name, content in (("one", b"1"), ("two", b"2")):
        (tmp_path / name).write_bytes(content)
    put_in_place(tmp_path / "one", tmp_path / "target")
    assert (tmp_path / "target").read_bytes() == b"1"
    with pytest.raises(FileExistsError) as caught:
        put_in_place(tmp_path / "two", tmp_path / "target")
    assert caught.value.errno == errno.EEXIST
    assert (tmp_path / "target").read_bytes() == b"1" and (tmp_path / "two").exists()


@pytest.mark.parametrize(
    ("number", "reason", "remedy"),
    [
        (errno.ENOSPC, "the disk is full", "free some space, then do it again"),
        (errno.EDQUOT, "the disk is full", "free some space, then do it again"),
        (errno.EROFS, "read-only file system", "make the folder writable, or choose another with --journal"),
        (errno.EACCES, "permission denied", "make the folder writable, or choose another with --journal"),
        (errno.EPERM, "operation not permitted", "make the folder writable, or choose another with --journal"),
        (errno.EIO, "input/output error", "check the disk, then do it again"),
    ],
)
def test_what_the_file_system_refuses_is_told_with_what_to_do(
    tmp_path: Path, number: int, reason: str, remedy: str
) -> None:
    with pytest.raises(RecordError) as caught, file_errors(tmp_path / "a"):
        raise OSError(number, os.strerror(number))
    assert str(caught.value) == f"a cannot be written in {tmp_path}: {reason}; {remedy}"


@pytest.mark.parametrize(("number", "passes"), [(errno.EINVAL, True), (errno.ENOTSUP, True), (errno.EIO, False)])
def test_a_file_system_that_syncs_no_folders_is_taken_as_it_is(
    tmp_path: Path, number: int, passes: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(handle: int) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "fsync", refused)
    if passes:
        files.sync_folder(tmp_path)
    else:
        with pytest.raises(OSError, match=os.strerror(number)):
            files.sync_folder(tmp_path)
