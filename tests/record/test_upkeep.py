"""A journal can be backed up, looked through, and a job in it erased for good."""

from __future__ import annotations

import errno
import os
import sqlite3
import threading
import time
import zipfile
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from journal.cli.main import group
from journal.errors import BadInput, NotFound, RecordError
from journal.facts import Cut, JobReopened, Note, Photo, Source
from journal.record.backup import BackedUp, back_up
from journal.record.clips import clip_path, keep_clip
from journal.record.files import sha256_of_file
from journal.record.pack import pack
from journal.record.photos import original_path, page_copy_path, take_in
from journal.record.schema import FILE_NAME
from journal.record.store import Store
from journal.record.unpack import unpack
from journal.record.verify import UNDER_WAY_S, drop_copies, lost, verify
from tests.record.arrange import START, Scribe, opened
from tests.record.pictures import file_of, scene

pytest.importorskip("soundfile", reason="soundfile is not installed: clips are FLAC files written by it")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "journal") as store:
        yield store


def a_job(store: Store, *, seed: int = 1, unit: str = "irrigation pump", note: str = "chafed") -> Scribe:
    """A job with a clip, a photo and a note."""
    job = Scribe(at=START + timedelta(days=seed), source=Source.VOICE)
    job.open(unit)
    clip = keep_clip(store.folder, np.random.default_rng(seed).normal(0, 0.2, 4000).astype(np.float32))
    job.say(Cut(3, 30.0), clip=clip)
    taken = take_in(store.folder, file_of(scene(160, 120, seed)), "a.jpg")
    job.say(Photo(taken.sha256, "a.jpg", "overhead"))
    job.say(Note(note))
    store.append(*job.entries)
    return job


def test_a_backup_unpacked_into_a_folder_is_the_journal(store: Store, tmp_path: Path) -> None:
    job = a_job(store)
    assert back_up(store, tmp_path / "backup.zip") == BackedUp(4, ())
    with zipfile.ZipFile(tmp_path / "backup.zip") as file:
        file.extractall(tmp_path / "restored")
    with Store.open(tmp_path / "restored", create=False) as restored:
        assert restored.entries(job.job) == store.entries(job.job)
        assert restored.jobs() == store.jobs()
        assert verify(restored) == []
        assert original_path(restored.folder, job.entries[2].body.sha256).is_file()  # type: ignore[union-attr]
        restored.append(job.say(Note("goes on")))


def spoil_photo(store: Store, job: Scribe) -> Path:
    path = original_path(store.folder, job.entries[2].body.sha256)  # type: ignore[union-attr]
    path.write_bytes(b"x")
    return path


def spoil_sound(store: Store, job: Scribe) -> Path:
    path = clip_path(store.folder, job.entries[1].clip)
    path.write_bytes(path.read_bytes()[:-9])
    return path


@pytest.mark.parametrize("damage", [spoil_photo, spoil_sound])
def test_a_backup_of_a_damaged_file_says_so_and_holds_it_as_it_is(
    store: Store, tmp_path: Path, damage: Callable[[Store, Scribe], Path]
) -> None:
    path = damage(store, a_job(store))
    name = path.relative_to(store.folder).as_posix()
    told = back_up(store, tmp_path / "b.zip")
    assert told == BackedUp(4, (f"{name} is not what it was: restore it from an earlier backup",))
    with zipfile.ZipFile(tmp_path / "b.zip") as file:
        assert file.read(name) == path.read_bytes()


def test_a_backup_goes_on_past_a_file_that_cannot_be_read(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = a_job(store)
    bad, read = clip_path(store.folder, job.entries[1].clip), Path.read_bytes

    def fails(path: Path) -> bytes:
        if path == bad:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return read(path)

    monkeypatch.setattr(Path, "read_bytes", fails)
    name = bad.relative_to(store.folder).as_posix()
    told = back_up(store, tmp_path / "b.zip")
    assert told == BackedUp(3, (f"{name} cannot be read (input/output error) and is not in it",))
    with zipfile.ZipFile(tmp_path / "b.zip") as file:
        assert name not in file.namelist() and file.testzip() is None


def test_the_command_tells_what_is_wrong_with_what_was_backed_up(store: Store, tmp_path: Path) -> None:
    job = a_job(store)
    clip_path(store.folder, job.entries[1].clip).unlink()
    path = spoil_photo(store, job)
    os.utime(path, (0, 0))  # older than a ZIP file can say
    with sqlite3.connect(store.path) as db:
        db.execute("INSERT INTO copies_only VALUES (?)", ["0" * 64])
    done = CliRunner().invoke(group, ["--journal", str(store.folder), "backup", str(tmp_path / "b.zip")])
    assert done.exit_code == 1 and str(done.exception) == (
        "3 things are wrong with the journal, and so with the backup, listed above"
    )
    first, *lines = done.output.splitlines()
    assert first.endswith("b.zip: 3 files")
    assert lines == [
        f"  - photos/{path.parent.name}/{path.name} is not what it was: restore it from an earlier backup",
        "  - the list of photos that came as copies only is not what this program wrote: restore it from a backup",
        f"  - the sound of entry {job.entries[1].id} is missing: restore it from a backup",
    ]


def test_a_page_copy_that_is_no_picture_any_more_is_found_where_it_is_all_there_is(
    store: Store, tmp_path: Path
) -> None:
    job = a_job(store)
    pack(store, job.job, tmp_path / "job.zip", originals=False)
    with Store.open(tmp_path / "other") as other:
        unpack(other, tmp_path / "job.zip")
        path = page_copy_path(other.folder, job.entries[2].body.sha256)  # type: ignore[union-attr]
        path.write_bytes(path.read_bytes()[:900])
        told = f"copies/{path.name} is no picture any more, and its original is elsewhere: restore it from a backup"
        assert verify(other) == lost(other) == [told]
        path.unlink()
        sha256 = path.name[:12]
        assert verify(other) == lost(other) == [f"photo a.jpg ({sha256}…) is missing: restore it from a backup"]


def test_what_was_only_begun_when_the_power_went_is_told_and_removed(
    store: Store,
) -> None:
    a_job(store)
    places = [store.folder, *(store.folder / room / "ab" for room in ("photos", "clips", "copies"))]
    left = [place / f".abcd.jpg.{at:08x}.part" for at, place in enumerate(places)]
    for path in left:
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(bytes(600_000))
        os.utime(path, (time.time() - UNDER_WAY_S - 5,) * 2)
    coming = places[1] / ".ef01.jpg.00000009.part"
    coming.write_bytes(b"being written now")
    assert verify(store) == [], "nothing is wrong with it"
    told = CliRunner().invoke(group, ["--journal", str(store.folder), "verify"]).output
    assert "4 files were begun and never finished (2.4 MB)" in told and "the journal is sound" in told
    assert all(path.exists() for path in left)
    told = CliRunner().invoke(group, ["--journal", str(store.folder), "verify", "--mend"]).output
    assert "begun" not in told and "the journal is sound" in told
    assert not any(path.exists() for path in left) and coming.exists()
    assert verify(store) == []


def test_a_copy_under_a_name_that_is_no_checksum_is_looked_at_as_any(store: Store) -> None:
    a_job(store)
    stray = store.folder / "copies" / "ab" / "holiday-page.jpg"
    stray.parent.mkdir(exist_ok=True)
    stray.write_bytes(b"x")
    drop_copies(store)
    assert stray.exists()
    assert verify(store) == [
        "copies/holiday-page.jpg is no picture any more, and its original is elsewhere: restore it from a backup"
    ]


def test_a_file_that_cannot_be_read_is_a_line_of_verify(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    job = a_job(store)
    bad = clip_path(store.folder, job.entries[1].clip)

    def fails(path: Path) -> str:
        if path == bad:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return sha256_of_file(path)

    monkeypatch.setattr("journal.record.verify.sha256_of_file", fails)
    assert verify(store) == [f"clips/{bad.name} cannot be read: input/output error; restore it from a backup"]


def test_a_photo_whose_original_stayed_elsewhere_is_backed_up_as_its_page_copy(store: Store, tmp_path: Path) -> None:
    job = a_job(store)
    pack(store, job.job, tmp_path / "job.zip", originals=False)
    with Store.open(tmp_path / "other") as other:
        unpack(other, tmp_path / "job.zip")
        back_up(other, tmp_path / "backup.zip")
    with zipfile.ZipFile(tmp_path / "backup.zip") as file:
        file.extractall(tmp_path / "restored")
    with Store.open(tmp_path / "restored", create=False) as restored:
        assert verify(restored) == []
        assert page_copy_path(restored.folder, job.entries[2].body.sha256).is_file()  # type: ignore[union-attr]


def test_a_backup_made_while_a_session_writes_is_sound(store: Store, tmp_path: Path) -> None:
    job = a_job(store)
    ended = threading.Event()
    written: list[int] = []

    def write() -> None:
        with Store.open(store.folder) as own:
            while not ended.is_set():
                own.append(job.say(Cut(1, 30.0)))
                written.append(1)

    session = threading.Thread(target=write)
    session.start()
    while not written:
        pass
    back_up(store, tmp_path / "backup.zip")
    ended.set()
    session.join()
    with zipfile.ZipFile(tmp_path / "backup.zip") as file:
        file.extractall(tmp_path / "restored")
    with Store.open(tmp_path / "restored", create=False) as restored:
        assert verify(restored) == []
        copied = restored.entries(job.job)
        assert copied == store.entries(job.job)[: len(copied)] and len(copied) >= 4


def test_a_backup_into_the_journal_itself_or_to_nowhere_is_refused(store: Store, tmp_path: Path) -> None:
    a_job(store)
    with pytest.raises(BadInput, match="another place"):
        back_up(store, store.folder / "backup.zip")
    (tmp_path / "file").write_text("x")
    with pytest.raises(RecordError):
        back_up(store, tmp_path / "file" / "backup.zip")


def test_a_backup_over_an_older_one_is_asked_for_and_then_replaces_it_whole(store: Store, tmp_path: Path) -> None:
    (tmp_path / "backup.zip").write_text("older")
    a_job(store)
    with pytest.raises(BadInput, match="is there already: choose another name, or add --replace"):
        back_up(store, tmp_path / "backup.zip")
    assert (tmp_path / "backup.zip").read_text() == "older"
    back_up(store, tmp_path / "backup.zip", replace=True)
    assert zipfile.is_zipfile(tmp_path / "backup.zip")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["backup.zip", "journal"]


def test_a_sound_journal_has_nothing_wrong(store: Store) -> None:
    a_job(store)
    job = a_job(store, seed=2)
    store.note_summary(job.job, "cylinder 3 is dead", {3: "dead"}, causes="valve train")
    assert verify(store) == []


def damage_photo(store: Store, job: Scribe) -> None:
    path = original_path(store.folder, job.entries[2].body.sha256)  # type: ignore[union-attr]
    path.write_bytes(path.read_bytes()[:-1] + b"x")


def lose_photo(store: Store, job: Scribe) -> None:
    original_path(store.folder, job.entries[2].body.sha256).unlink()  # type: ignore[union-attr]
    page_copy_path(store.folder, job.entries[2].body.sha256).unlink()  # type: ignore[union-attr]


def damage_clip(store: Store, job: Scribe) -> None:
    (path,) = (store.folder / "clips").rglob(f"{job.entries[1].clip}.flac")
    path.write_bytes(path.read_bytes() + b"x")


def lose_clip(store: Store, job: Scribe) -> None:
    (path,) = (store.folder / "clips").rglob(f"{job.entries[1].clip}.flac")
    path.unlink()


def other_program(store: Store, sql: str) -> None:
    with sqlite3.connect(store.path) as other:
        other.execute(sql)


def change_line(store: Store, job: Scribe) -> None:
    other_program(store, "UPDATE job_lines SET state = 'closed', entries = 99")


def change_body(store: Store, job: Scribe) -> None:
    other_program(store, "DROP TRIGGER entries_are_not_changed")
    other_program(store, "UPDATE entries SET body = '{\"kind\": \"cut\"}' WHERE kind = 'cut'")


def lose_target(store: Store, job: Scribe) -> None:
    other_program(store, "DROP TRIGGER entries_are_not_changed")
    target = "019cd000-0000-7000-8000-000000000000"
    other_program(store, f'UPDATE entries SET body = \'{{"kind": "withdrawal", "target": "{target}"}}\' WHERE seq = 4')


def drop_index(store: Store, job: Scribe) -> None:
    other_program(store, "PRAGMA writable_schema = ON")
    with sqlite3.connect(store.path) as other:
        other.execute("PRAGMA writable_schema = ON")
        other.execute(
            "UPDATE sqlite_schema SET sql = replace(sql, '(job, at_utc)', '(job, kind)') WHERE name = 'entries_job'"
        )


@pytest.mark.parametrize(
    ("damage", "line"),
    [
        (damage_photo, "photos/.* is not what it was"),
        (lose_photo, "photo a.jpg .* is missing"),
        (damage_clip, "clips/.* is not what it was"),
        (lose_clip, "sound of entry .* is missing"),
        (change_line, "its line in the list"),
        (change_body, "lacks cylinder"),
        (lose_target, "is about entry .* which is not there"),
        (drop_index, "damaged"),
    ],
)
def test_what_is_wrong_is_said_with_what_to_do(store: Store, damage: object, line: str) -> None:
    import re

    job = a_job(store)
    a_job(store, seed=2)
    damage(store, job)  # type: ignore[operator]
    with Store.open(store.folder) as fresh:
        found = verify(fresh)
    assert any(re.search(line, text) for text in found), found
    assert not any("\n" in text for text in found)


def test_a_page_copy_beside_its_original_is_told_of_once_and_as_what_it_is(store: Store) -> None:
    job = a_job(store)
    copy = page_copy_path(store.folder, job.entries[2].body.sha256)  # type: ignore[union-attr]
    name = f"copies/{copy.name}"
    copy.write_bytes(b"no picture")
    assert verify(store) == [f"{name} does not show what its original shows: run `journal verify --mend`"]
    copy.unlink()
    copy.mkdir()
    assert verify(store) == [f"{name} is no file: move it out of the journal"]


def test_lines_that_went_wrong_are_made_anew_from_the_entries(store: Store) -> None:
    job = a_job(store)
    store.note_summary(job.job, "cylinder 3 is dead", {3: "dead"})
    before = store.jobs()
    change_line(store, job)
    other_program(store, "DELETE FROM job_texts")
    store.redraw_lines()
    assert store.jobs() == before and store.jobs(text="chafed dead") == before
    assert verify(store) == []


def everything_in(folder: Path) -> bytes:
    return b"".join(path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file())


def test_an_erased_job_leaves_no_trace_on_disk_and_others_are_untouched(store: Store) -> None:
    job = a_job(store, unit="zebra crane", note="quixotic words")
    other = a_job(store, seed=2)
    store.note_summary(job.job, "quagmire headline", {3: "dead"})
    kept = store.job(other.job)
    for word in (b"zebra", b"quixotic", b"quagmire"):
        assert word in everything_in(store.folder)
    store.erase(job.job)
    for word in (b"zebra", b"quixotic", b"quagmire", job.job.encode()):
        assert word not in everything_in(store.folder)
    assert len([path for path in (store.folder / "photos").rglob("*") if path.is_file()]) == 1
    assert len([path for path in (store.folder / "copies").rglob("*") if path.is_file()]) == 2
    assert len([path for path in (store.folder / "clips").rglob("*") if path.is_file()]) == 1
    with pytest.raises(NotFound):
        store.job(job.job)
    assert store.jobs(text="zebra") == [] and store.jobs(standing="dead") == []
    assert store.job(other.job) == kept and verify(store) == []


def test_what_a_power_cut_left_of_an_erased_jobs_photo_goes_too(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    data = file_of(scene(seed=3))

    def power_goes(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched, pytest.raises(KeyboardInterrupt):
        patched.setattr(Path, "replace", power_goes)
        patched.setattr(Path, "unlink", power_goes)  # nothing is tidied up any more
        take_in(store.folder, data, "a.jpg")
    assert data in everything_in(store.folder)
    job = opened()
    job.say(Photo(take_in(store.folder, data, "a.jpg").sha256, "a.jpg"))
    store.append(*job.entries)
    store.erase(job.job)
    assert data not in everything_in(store.folder)
    assert not list(store.folder.rglob("*.part"))


def test_a_photo_or_clip_that_another_job_names_too_stays(store: Store) -> None:
    job = a_job(store)
    other = opened(at=START + timedelta(days=9))
    other.say(Photo(job.entries[2].body.sha256, "same.jpg"))  # type: ignore[union-attr]
    other.say(Cut(1, 30.0), clip=job.entries[1].clip)
    store.append(*other.entries)
    store.erase(job.job)
    assert verify(store) == []
    store.erase(other.job)
    assert not [path for path in store.folder.rglob("*.*") if path.suffix in (".jpg", ".flac")]


def test_what_a_crash_left_of_an_erased_job_goes_at_the_next_start(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    from journal.record import upkeep

    job = a_job(store)
    with monkeypatch.context() as patched, pytest.raises(KeyboardInterrupt):

        def crash(*_: object) -> None:
            raise KeyboardInterrupt

        patched.setattr(upkeep, "finish_erasing", crash)
        store.erase(job.job)
    assert list((store.folder / "photos").rglob("*.jpg"))
    with Store.open(store.folder) as again:
        assert again.jobs() == []
    assert not list(store.folder.rglob("*.jpg")) and not list(store.folder.rglob("*.flac"))


def test_an_erased_job_can_come_back_only_from_a_pack(store: Store, tmp_path: Path) -> None:
    job = a_job(store)
    pack(store, job.job, tmp_path / "job.zip")
    store.erase(job.job)
    with pytest.raises(BadInput, match="open it first"):
        store.append(job.say(JobReopened()))
    unpack(store, tmp_path / "job.zip")
    assert store.entries(job.job) == job.entries[:-1] and verify(store) == []


def test_the_databases_name_is_what_others_look_for(store: Store) -> None:
    assert store.path == store.folder / FILE_NAME and store.path.is_file()
