"""Every kind of loss and alteration is found, and who signed an entry is known wherever it goes.

The journal's signatures are held against OpenSSL's own program where there is one, and its checksums against the pack's
description worked out with the standard library alone.
"""

from __future__ import annotations

import base64
import errno
import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from journal.errors import BadInput, RecordError
from journal.facts import Cut, JobClosed, Note, Photo, Withdrawal
from journal.record import seals, sums
from journal.record.backup import back_up
from journal.record.clips import clip_path, keep_clip
from journal.record.keys import KEY_NAME, journal_key, key_there, name_of
from journal.record.pack import pack
from journal.record.photos import original_path, page_copy_path, take_in
from journal.record.references import LETTERS
from journal.record.schema import FILE_NAME, migrations
from journal.record.store import Store
from journal.record.unpack import unpack
from journal.record.verify import drop_copies, missing, remarks, verify
from tests.record.arrange import Scribe, opened
from tests.record.pictures import file_of, scene
from tests.record.test_pack import contents, rewritten

pytest.importorskip("soundfile", reason="soundfile is not installed: clips are FLAC files written by it")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "journal") as store:
        yield store


def a_job(store: Store, **more: object) -> Scribe:
    """A job with two readings, one of them heard, a photo and a note."""
    job = opened(**more)
    job.say(Cut(3, 30.0), clip=keep_clip(store.folder, np.sin(np.arange(4000, dtype=np.float32) / 9)))
    job.say(Cut(4, 37.0))
    taken = take_in(store.folder, file_of(scene(160, 120)), "a.jpg")
    job.say(Photo(taken.sha256, "a.jpg", "overhead"))
    job.say(Note("Öl – 漢字"))
    store.append(*job.entries)
    return job


def other_program(store: Store, *lines: str) -> None:
    """What another program does to the database, its safeguards taken away and put back."""
    with sqlite3.connect(store.path) as db:
        triggers = db.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = 'entries'")
        for name, sql in triggers.fetchall():
            db.execute(f"DROP TRIGGER {name}")
            lines = (*lines, sql)
        for line in lines:
            db.execute(line)
    db.close()


ALTERED: dict[str, tuple[str, ...]] = {
    "a reading": ("UPDATE entries SET body = replace(body, '37.0', '30.0') WHERE seq = 3",),
    "a field named twice, of which one alone is seen": (
        'UPDATE entries SET body = \'{"kind":"note",\' || substr(body, 2) WHERE seq = 3',
    ),
    "who": ("UPDATE entries SET technician = 'Bo' WHERE seq = 3",),
    "when": ("UPDATE entries SET at_utc = '2026-03-01T08:00:02.500Z' WHERE seq = 3",),
    "where the clock stood": ("UPDATE entries SET offset_minutes = 60 WHERE seq = 3",),
    "how sure": ("UPDATE entries SET certainty = 0.5 WHERE seq = 3",),
    "how it came in": ("UPDATE entries SET source = 'voice' WHERE seq = 3",),
    "what was heard": ("UPDATE entries SET heard = 'thirty' WHERE seq = 3",),
    "its identifier": ("UPDATE entries SET id = replace(id, substr(id, 30), '1234567') WHERE seq = 5",),
    "its sound": ("UPDATE entries SET clip = '' WHERE seq = 2",),
    "its checksum too": (
        "UPDATE entries SET technician = 'Bo' WHERE seq = 3",
        "UPDATE seals SET sha256 = randomblob(32) WHERE seq = 3",
    ),
    "a signature": ("UPDATE seals SET signature = randomblob(64) WHERE seq = 3",),
    "who signed": ("UPDATE seals SET signer = NULL, signature = NULL WHERE seq = 3",),
    "whether it was carried in": ("UPDATE seals SET carried = 1 WHERE seq = 3",),
    "the order of arrival": (
        "UPDATE entries SET seq = 99 WHERE seq = 3",
        "UPDATE seals SET seq = 99 WHERE seq = 3",
    ),
    "its kind in the column": ("UPDATE entries SET kind = 'note' WHERE seq = 3",),
    "an entry is gone": ("DELETE FROM entries WHERE seq = 3",),
    "the last entry is gone with all that stood beside it": (
        "DELETE FROM entries WHERE seq = 5",
        "DELETE FROM seals WHERE seq = 5",
    ),
    "the same, and the count put right": (
        "DELETE FROM entries WHERE seq = 5",
        "DELETE FROM seals WHERE seq = 5",
        "UPDATE sealed SET entries = 4",
    ),
    "all entries are gone": ("DELETE FROM entries", "DELETE FROM seals", "DELETE FROM job_lines"),
    "an entry more": (
        "INSERT INTO entries SELECT 99, replace(id, substr(id, 30), '1234567'), job, at_utc, offset_minutes, "
        "technician, source, kind, heard, clip, certainty, body FROM entries WHERE seq = 3",
    ),
    "the sum's signature": ("UPDATE sealed SET signature = randomblob(64)",),
    "the sum has no signature": ("UPDATE sealed SET signer = NULL, signature = NULL",),
    "the sum is gone": ("DELETE FROM sealed",),
    "a job": ("UPDATE jobs SET id = replace(id, substr(id, 30), '1234567')",),
}


@pytest.mark.parametrize("lines", ALTERED.values(), ids=ALTERED.keys())
def test_every_alteration_of_the_database_is_found(store: Store, lines: tuple[str, ...]) -> None:
    a_job(store)
    assert verify(store) == []
    store.close()
    other_program(store, *lines)
    with Store.open(store.folder) as again:
        again.redraw_lines()  # the list is made to agree: only the entries themselves tell
        found = verify(again)
    assert found and not any("\n" in line for line in found)


def test_what_was_changed_is_named(store: Store) -> None:
    job = a_job(store)
    store.close()
    other_program(store, *ALTERED["a reading"])
    with Store.open(store.folder) as again:
        (line,) = verify(again)
    assert line == f"entry {job.entries[2].id} was changed: restore it from a backup"


def test_a_photo_whose_column_says_it_is_none_is_missed_all_the_same(store: Store) -> None:
    job = a_job(store)
    lose_original(store, job)
    store.close()
    other_program(store, "UPDATE entries SET kind = 'note' WHERE kind = 'photo'")
    with Store.open(store.folder) as again:
        (line,) = missing(again)
        assert line.startswith("the original of photo a.jpg")
        assert verify(again) == [f"entry {job.entries[3].id} was changed: restore it from a backup", line]


@pytest.mark.parametrize("name", ["entries_are_not_changed", "entries_are_not_deleted", "entries_are_not_replaced"])
def test_a_safeguard_that_is_gone_is_found(store: Store, name: str) -> None:
    a_job(store)
    with sqlite3.connect(store.path) as db:
        db.execute(f"DROP TRIGGER {name}")
    assert verify(store) == [f"the trigger {name} of the database is gone: restore it from a backup"]


def test_whoever_has_no_key_cannot_make_the_sum_fit(store: Store, tmp_path: Path) -> None:
    """As one would who knows the program: an entry changed, checksum and sum worked out anew, and signed by another."""
    job = a_job(store)
    other = journal_key(tmp_path / "mallory")
    store.close()
    other_program(store, "UPDATE entries SET technician = 'Bo' WHERE seq = 3")
    with Store.open(store.folder) as forged:
        entry = forged.entries(job.job)[2]
        db = forged._db
        gone = db.execute(f"{seals._SEALED} WHERE seq = 3").fetchall()
        db.execute("DELETE FROM seals WHERE seq = 3")
        sums.change(db, other, count=-1, entries=-seals._summed(db, gone))
        seals.add(db, [seals.Arrived(3, entry)], other, carried=False)
        found = sums.read(db)
        assert found is not None
        sums._write(db, found, other)
        db.conn.commit()
        forged.redraw_lines()
    with Store.open(store.folder) as again:
        assert any(f"signed by {name_of(other.public)}, which is not this journal" in line for line in verify(again))
    (store.folder / KEY_NAME).unlink()
    with Store.open(store.folder) as again:
        assert any("journal.key is gone" in line for line in verify(again)), "with the key gone too, that much is seen"


@pytest.mark.parametrize("what", ["a reading", "an entry is gone", "all entries are gone"])
def test_a_journal_with_a_key_is_not_taken_for_one_from_before_there_were_seals(store: Store, what: str) -> None:
    """As one would who knows the program: all that was signed is thrown away, and the checksums are made anew."""
    a_job(store)
    store.close()
    other_program(store, *ALTERED[what], *(f"DELETE FROM {table}" for table in ("seals", "sealed", "signers")))
    with Store.open(store.folder) as forged:
        seals.seal_all(forged._db)
        forged._db.conn.commit()
        forged.redraw_lines()
    with Store.open(store.folder) as again:
        assert "the signature of the sum over all entries is gone; restore it from a backup" in verify(again)


def test_a_journal_whose_tables_were_made_like_those_of_old_is_not_taken_for_one(tmp_path: Path) -> None:
    old_journal(tmp_path / "old")
    journal_key(tmp_path / "old")
    with Store.open(tmp_path / "old") as store:
        assert verify(store) == ["the signature of the sum over all entries is gone; restore it from a backup"]


def test_a_first_write_that_fails_leaves_a_sound_journal(tmp_path: Path) -> None:
    old_journal(tmp_path / "old")
    for folder in (tmp_path / "old", tmp_path / "new"):
        with Store.open(folder) as store:
            assert verify(store) == []
            with pytest.raises(BadInput):
                store.append(opened().say(Withdrawal("nothing")))
            assert journal_key(folder).public == store.public_key() and verify(store) == []


def lose_original(store: Store, job: Scribe) -> None:
    original_path(store.folder, job.entries[3].body.sha256).unlink()  # type: ignore[union-attr]


def lose_sound(store: Store, job: Scribe) -> None:
    clip_path(store.folder, job.entries[1].clip).unlink()


@pytest.mark.parametrize(("lose", "line"), [(lose_original, "the original of photo a.jpg"), (lose_sound, "the sound")])
def test_an_original_or_a_sound_that_is_gone_is_found_and_told_at_a_backup(
    store: Store, tmp_path: Path, lose: Callable[[Store, Scribe], None], line: str
) -> None:
    job = a_job(store)
    assert missing(store) == []
    lose(store, job)
    assert page_copy_path(store.folder, job.entries[3].body.sha256).is_file()  # type: ignore[union-attr]
    (found,) = verify(store)
    assert line in found and "is missing: restore it from a backup" in found
    assert missing(store) == [found]


def test_a_folder_or_a_pipe_in_a_files_place_is_a_line_of_its_own(store: Store, tmp_path: Path) -> None:
    a_job(store)
    sha256 = "8" * 64
    places = [f"photos/88/{sha256}.jpg", f"clips/88/{sha256}.flac", f"copies/88/{sha256}-page.jpg"]
    for place in places:
        (store.folder / place).mkdir(parents=True)
    if hasattr(os, "mkfifo"):
        places.append(f"photos/88/{sha256}.png")
        os.mkfifo(store.folder / places[-1])
    for place in places:
        os.utime(store.folder / place, (0, 0))
    names = [place.replace("/88/", "/") for place in places]
    drop_copies(store)
    assert sorted(verify(store)) == sorted(f"{name} is no file: move it out of the journal" for name in names)
    assert not any(sha256 in line for line in remarks(store)), "what is no photo cannot be attached"
    back_up(store, tmp_path / "b.zip")
    with zipfile.ZipFile(tmp_path / "b.zip") as file:
        assert not any(sha256 in name for name in file.namelist())


def test_a_photo_that_came_as_a_copy_only_misses_nothing_until_the_copy_goes(store: Store, tmp_path: Path) -> None:
    job = a_job(store)
    pack(store, job.job, tmp_path / "copies.zip", originals=False)
    pack(store, job.job, tmp_path / "whole.zip")
    with Store.open(tmp_path / "other") as other:
        unpack(other, tmp_path / "copies.zip")
        assert verify(other) == []
        sha256 = job.entries[3].body.sha256  # type: ignore[union-attr]
        shutil.rmtree(page_copy_path(other.folder, sha256).parent)
        assert "photo a.jpg" in verify(other)[0]
        unpack(other, tmp_path / "whole.zip")
        assert verify(other) == []
        original_path(other.folder, sha256).unlink()
        assert "the original of photo a.jpg" in verify(other)[0], "once it was here, it may not go"


def test_an_empty_or_missing_database_is_no_sound_journal(store: Store) -> None:
    a_job(store)
    store.close()
    for size in (0, 1, 511):
        store.path.write_bytes(bytes(size))
        for create in (False, True):
            with pytest.raises(RecordError, match="is empty, what was kept in it is gone: go back to the last backup"):
                Store.open(store.folder, create=create)
    store.path.unlink()
    with sqlite3.connect(store.path) as db:
        db.execute("CREATE TABLE other (x)")
    with pytest.raises(RecordError, match="holds no journal, what was kept in it is gone"):
        Store.open(store.folder)
    store.path.unlink()
    for create in (False, True):
        with pytest.raises(RecordError, match="is gone, while the journal's key is there"):
            Store.open(store.folder, create=create)
    assert not store.path.exists()


def test_erasing_a_job_leaves_the_sum_over_the_others_right(store: Store) -> None:
    first, second = a_job(store), a_job(store, technician="Bo")
    store.erase(first.job)
    assert verify(store) == []
    store.append(second.say(Note("goes on")))
    assert verify(store) == []
    store.erase(second.job)
    assert verify(store) == []
    with sqlite3.connect(store.path) as db:
        assert db.execute("SELECT count(*) FROM seals").fetchone() == (0,)


def test_two_sessions_and_a_failed_write_keep_the_sum_right(store: Store) -> None:
    job = a_job(store)
    with Store.open(store.folder) as other:
        for number in range(5):
            store.append(job.say(Note(f"here {number}")))
            other.append(job.say(Note(f"there {number}"), technician="Bo"))
            with pytest.raises(BadInput):
                other.append(job.say(Note("never")), job.say(Withdrawal("nothing")))
    assert verify(store) == []


# Who signed


def test_an_entry_is_signed_by_its_journal_wherever_it_is_carried(store: Store, tmp_path: Path) -> None:
    job = a_job(store)
    key = journal_key(store.folder).public
    assert {by.key for by in store.signatures(job.job).values()} == {key}
    pack(store, job.job, tmp_path / "one.zip")
    with Store.open(tmp_path / "second") as second, Store.open(tmp_path / "third") as third:
        unpack(second, tmp_path / "one.zip")
        added = job.say(Note("there"), technician="Bo")
        second.append(added)
        pack(second, job.job, tmp_path / "two.zip")
        unpack(third, tmp_path / "two.zip")
        signed = third.signatures(job.job)
        assert signed.pop(added.id).key == journal_key(second.folder).public
        assert signed == store.signatures(job.job) and len(signed) == 5
        assert verify(second) == verify(third) == []
        unpack(store, tmp_path / "two.zip")
        assert store.signatures(job.job) == third.signatures(job.job)
        pack(store, job.job, tmp_path / "again.zip")
    assert contents(tmp_path / "again.zip")["signatures.jsonl"] == contents(tmp_path / "two.zip")["signatures.jsonl"]


def change_signed(files: dict[str, bytes]) -> None:
    files["entries.jsonl"] = files["entries.jsonl"].replace(b"37.0", b"30.0")


def swap_signatures(files: dict[str, bytes]) -> None:
    rows = [json.loads(row) for row in files["signatures.jsonl"].splitlines()]
    rows[0]["signature"], rows[1]["signature"] = rows[1]["signature"], rows[0]["signature"]
    files["signatures.jsonl"] = b"\n".join(json.dumps(row).encode() for row in rows)


def sign_what_is_not_there(files: dict[str, bytes]) -> None:
    files["signatures.jsonl"] += files["signatures.jsonl"].replace(b'"id":"0', b'"id":"1')


def sign_twice(files: dict[str, bytes]) -> None:
    files["signatures.jsonl"] *= 2


def no_json(files: dict[str, bytes]) -> None:
    files["signatures.jsonl"] = b"[]\n"


def no_hex(files: dict[str, bytes]) -> None:
    files["signatures.jsonl"] = files["signatures.jsonl"].replace(b'"key":"', b'"key":"xy')


@pytest.mark.parametrize(
    "change", [change_signed, swap_signatures, sign_what_is_not_there, sign_twice, no_json, no_hex]
)
def test_a_pack_whose_signatures_do_not_fit_is_refused_whole(
    store: Store, tmp_path: Path, change: Callable[[dict[str, bytes]], None]
) -> None:
    job = a_job(store)
    pack(store, job.job, tmp_path / "job.zip")

    def forge(files: dict[str, bytes]) -> None:
        change(files)
        manifest = json.loads(files["manifest.json"])
        for name in ("entries.jsonl", "signatures.jsonl"):
            manifest["files"][name] = {
                "sha256": hashlib.sha256(files[name]).hexdigest(),
                "bytes": len(files[name]),
            }
        files["manifest.json"] = json.dumps(manifest).encode()

    with Store.open(tmp_path / "other") as other:
        with pytest.raises(BadInput, match=r"was changed after it was signed|damaged signatures"):
            unpack(other, rewritten(tmp_path / "job.zip", forge))
        assert other.last_seq() == 0


def test_a_pack_from_before_there_were_signatures_is_taken_in_and_says_so(store: Store, tmp_path: Path) -> None:
    job = a_job(store)
    pack(store, job.job, tmp_path / "job.zip")

    def unsigned(files: dict[str, bytes]) -> None:
        del files["signatures.jsonl"]
        manifest = json.loads(files["manifest.json"])
        del manifest["files"]["signatures.jsonl"]
        files["manifest.json"] = json.dumps(manifest).encode()

    with Store.open(tmp_path / "other") as other:
        brought = unpack(other, rewritten(tmp_path / "job.zip", unsigned)).brought
        assert brought.signers == ("5 entries of Ada: not signed",)
        assert other.signatures(job.job) == {} and verify(other) == []
        unpack(other, tmp_path / "job.zip")
        assert other.signatures(job.job) == {}, "what came unsigned is not signed for later"


def test_the_checksum_and_the_signature_are_what_the_packs_description_says(store: Store, tmp_path: Path) -> None:
    job = a_job(store)
    pack(store, job.job, tmp_path / "job.zip")
    files = contents(tmp_path / "job.zip")
    entry = json.loads(files["entries.jsonl"].splitlines()[-1])
    record = json.loads(files["signatures.jsonl"].splitlines()[-1])
    values = json.dumps(list(entry.values()), sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()
    assert "漢字".encode() in values and record["id"] == entry["id"]
    for made, line in zip(job.entries, files["entries.jsonl"].splitlines(), strict=True):
        fields = list(json.loads(line).values())
        as_said = json.dumps(fields, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()
        assert seals.digest(made) == hashlib.sha256(as_said).digest()
    assert list(json.loads(files["entries.jsonl"].splitlines()[3])["body"]) == ["kind", "sha256", "name", "subject"]
    (tmp_path / "message").write_bytes(b"cutout journal entry\n" + hashlib.sha256(values).digest())
    (tmp_path / "signature").write_bytes(bytes.fromhex(record["signature"]))
    # RFC 8410, section 10.1: what stands before the 32 bytes of an Ed25519 public key in DER.
    der = bytes.fromhex("302a300506032b6570032100") + bytes.fromhex(record["key"])
    pem = b"-----BEGIN PUBLIC KEY-----\n" + base64.b64encode(der) + b"\n-----END PUBLIC KEY-----\n"
    (tmp_path / "key.pem").write_bytes(pem)
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("OpenSSL's program is not installed")
    command = [openssl, "pkeyutl", "-verify", "-pubin", "-inkey", "key.pem", "-rawin", "-in", "message", "-sigfile"]
    assert subprocess.run([*command, "signature"], cwd=tmp_path, check=False, capture_output=True).returncode == 0
    (tmp_path / "message").write_bytes(b"other")
    assert subprocess.run([*command, "signature"], cwd=tmp_path, check=False, capture_output=True).returncode != 0


def test_a_key_that_is_no_key_any_more_is_made_anew_and_that_stays_to_be_seen(store: Store) -> None:
    job = a_job(store)
    old = journal_key(store.folder).public
    store.close()
    (store.folder / KEY_NAME).write_bytes(b"")
    with Store.open(store.folder) as again:
        (line,) = verify(again)
        assert line.startswith("journal.key is gone: restore it from a backup")
        again.append(job.say(Note("after")))
        new = journal_key(store.folder).public
        assert new != old
        told = [f"signed by {name_of(old)}, which is not this journal: journal.key was lost", "is not signed"]
        for number in range(3):
            again.append(job.say(Note(f"more {number}")))
            assert [text in line for text, line in zip(told, verify(again), strict=True)] == [True, True]
        assert {by.key for by in again.signatures(job.job).values()} == {old, new}


@pytest.mark.parametrize(("mode", "why"), [(0o600, errno.EROFS), (0o644, errno.EROFS), (0o644, errno.EPERM)])
def test_a_key_is_read_where_no_mode_can_be_changed(
    store: Store, monkeypatch: pytest.MonkeyPatch, mode: int, why: int
) -> None:
    """As on a disk that can only be read, or in another user's folder: `verify` is to work there."""
    a_job(store)
    (store.folder / KEY_NAME).chmod(mode)

    def refuse(path: Path, mode: int, **_: object) -> None:
        raise OSError(why, os.strerror(why))

    monkeypatch.setattr(Path, "chmod", refuse)
    found = key_there(store.folder)
    assert found is not None and found.public == store.public_key()


# Journals from before


def old_journal(folder: Path) -> Scribe:
    """A journal as the version before there were seals left it."""
    with Store.open(folder) as store:
        job = a_job(store)
        job.say(JobClosed("injector", 3, "worn"))
        store.append(job.entries[-1])
    (folder / KEY_NAME).unlink()
    with sqlite3.connect(folder / FILE_NAME) as db:
        for what in ("INDEX entries_taken_up", "INDEX entries_set_back", "TABLE seals", "TABLE sealed", "TABLE signers",
                     "TABLE copies_only", "TABLE sums"):  # fmt: skip
            db.execute(f"DROP {what}")
        db.execute("ALTER TABLE jobs DROP COLUMN teaches")
        names = "('seals_beside_the_entries', 'sums_over_what_no_entry_says')"
        db.execute(f"DELETE FROM _sqlite_migrations WHERE name IN {names}")
    db.close()
    return job


def test_a_journal_from_before_opens_replays_verifies_and_goes_on(tmp_path: Path) -> None:
    job = old_journal(tmp_path / "old")
    with Store.open(tmp_path / "old") as store:
        assert store.entries(job.job) == job.entries and verify(store) == []
        assert store.signatures(job.job) == {} and store.teaches(job.job)
        pack(store, job.job, tmp_path / "old.zip")
        assert "signatures.jsonl" not in contents(tmp_path / "old.zip")
        store.append(job.say(Note("signed")))
        assert list(store.signatures(job.job)) == [job.entries[-1].id] and verify(store) == []
    other_program(store, "UPDATE entries SET technician = 'Bo' WHERE seq = 3")
    with Store.open(tmp_path / "old") as again:
        assert any("was changed" in line for line in verify(again)), "what is old is watched from the first opening on"


def test_a_photo_of_a_journal_from_before_that_is_a_copy_only_is_said_to_be_one(tmp_path: Path) -> None:
    job = old_journal(tmp_path / "old")
    original_path(tmp_path / "old", job.entries[3].body.sha256).unlink()  # type: ignore[union-attr]
    with Store.open(tmp_path / "old") as store:
        assert verify(store) == []
        assert "1 photos are here as page copies only: their originals stayed elsewhere" in remarks(store)


def test_a_journal_from_before_on_a_read_only_disk_is_read_as_a_copy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = old_journal(tmp_path / "old")
    before = (tmp_path / "old" / FILE_NAME).read_bytes()

    def refuse(*_: object, **__: object) -> None:
        raise sqlite3.OperationalError("attempt to write a readonly database")

    with monkeypatch.context() as patched:
        patched.setattr("sqlite_utils.Database.enable_wal", refuse)
        with Store.open(tmp_path / "old") as store:
            assert store.only_reads == "read-only"
            assert store.entries(job.job) == job.entries and verify(store) == []
            with pytest.raises(RecordError, match="read-only here; nothing was saved"):
                store.append(job.say(Note("x")))
    assert (tmp_path / "old" / FILE_NAME).read_bytes() == before


def test_a_backup_holds_the_key_and_restores_to_the_same_signer(store: Store, tmp_path: Path) -> None:
    job = a_job(store)
    back_up(store, tmp_path / "b.zip")
    with zipfile.ZipFile(tmp_path / "b.zip") as file:
        file.extractall(tmp_path / "restored")
    with Store.open(tmp_path / "restored", create=False) as restored:
        restored.append(job.say(Note("after")))
        assert len({by.key for by in restored.signatures(job.job).values()}) == 1
        assert verify(restored) == []
    if os.name == "posix":
        assert (tmp_path / "restored" / KEY_NAME).stat().st_mode & 0o077 == 0
        assert (tmp_path / "b.zip").stat().st_mode & 0o077 == 0


def test_every_version_of_the_schema_is_applied_once(store: Store) -> None:
    assert len(migrations.applied(store._db)) == 3 and migrations.pending(store._db) == []


def test_a_journals_name_is_twelve_letters_worked_out_from_its_keys_checksum() -> None:
    key = bytes(range(32))
    value, many = int(hashlib.sha256(key).hexdigest(), 16), len(LETTERS)
    letters = "".join(LETTERS[value // many**place % many] for place in range(12))
    assert name_of(key) == f"{letters[:4]}-{letters[4:8]}-{letters[8:]}"
