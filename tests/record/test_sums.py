"""What another program changed stays to be seen, however much is written afterwards, and writing goes on."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from journal.facts import JobClosed, Note
from journal.record import rows, seals, sums
from journal.record.keys import KEY_NAME
from journal.record.pack import pack
from journal.record.store import Store
from journal.record.unpack import unpack
from journal.record.verify import remarks, verify
from tests.record.arrange import Scribe, opened
from tests.record.test_seals import ALTERED, a_job, old_journal, other_program

pytest.importorskip("soundfile", reason="soundfile is not installed: clips are FLAC files written by it")

ONE = "0" * 63 + "1"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "journal") as store:
        yield store


def note(store: Store, job: Scribe) -> None:
    store.append(job.say(Note("after")))


def open_another(store: Store, job: Scribe) -> None:
    store.append(*opened().entries)


def erase_another(store: Store, job: Scribe) -> None:
    another = opened()
    store.append(*another.entries)
    store.erase(another.job)


def close(store: Store, job: Scribe) -> None:
    store.append(job.say(JobClosed("injector", 3, "worn")))


def let_go(store: Store, job: Scribe) -> None:
    store.note_let_go([ONE], datetime(2026, 3, 2, tzinfo=UTC))


def mend(store: Store, job: Scribe) -> None:
    store.redraw_lines()


def bring(store: Store, job: Scribe) -> None:
    with Store.open(store.folder.parent / "elsewhere") as other:
        theirs = opened(technician="Bo")
        other.append(*theirs.entries)
        pack(other, theirs.job, store.folder.parent / "theirs.zip", replace=True)
    unpack(store, store.folder.parent / "theirs.zip")


WRITES = (note, open_another, erase_another, close, let_go, mend, bring)


def as_one_would_who_knows_the_program(store: Store, *lines: str) -> None:
    """Rows changed, and every checksum and sum worked out anew to fit them; only nobody can sign that."""
    other_program(store, *lines)
    with Store.open(store.folder) as forged:
        db = forged._db
        for (seq,) in db.execute("SELECT e.seq FROM entries e LEFT JOIN seals s USING (seq)").fetchall():
            row = db.execute(f"{rows.SELECT} WHERE e.seq = ?", [seq]).fetchone()
            sha256 = seals.digest(rows.entry_of(row)[1])
            db.execute("UPDATE seals SET sha256 = ? WHERE seq = ?", [sha256, seq])
        db.execute("DELETE FROM seals WHERE seq NOT IN (SELECT seq FROM entries)")
        sealed = db.execute(seals._SEALED).fetchall()
        found = sums.read(db)
        assert found is not None
        total = sums.in_bytes(seals._summed(db, sealed))
        sums._write(db, replace(found, count=len(sealed), entries=total, others=sums._worked_out(db)), None)
        db.conn.commit()
        forged.redraw_lines()


FORGED = {name: lines for name, lines in ALTERED.items() if "gone" in name or name in ("a reading", "who", "a job")}
FORGED = {name: lines for name, lines in FORGED.items() if name not in ("the sum is gone", "all entries are gone")}
BESIDE: dict[str, tuple[str, ...]] = {
    "a reference": ("UPDATE jobs SET reference = 'BBBB'",),
    "a code": ("UPDATE jobs SET code = 'BBBBBBBBBBBB'",),
    "whether a job teaches": ("UPDATE jobs SET teaches = 1 - teaches",),
    "a job more": ("INSERT INTO jobs (id, code, reference) VALUES ('x', 'y', 'z')",),
    "a photo said to be a copy only": (f"INSERT INTO copies_only VALUES ('{ONE}')",),
    "a sound said to be let go": (f"INSERT INTO clips_let_go VALUES ('{ONE}', '2026-03-01T08:00:00.000Z')",),
}


@pytest.mark.parametrize("write", WRITES, ids=[write.__name__ for write in WRITES])
@pytest.mark.parametrize("lines", FORGED.values(), ids=FORGED.keys())
def test_what_was_forged_stays_forged_and_the_journal_is_written_on(
    store: Store, lines: tuple[str, ...], write: Callable[[Store, Scribe], None]
) -> None:
    job = a_job(store)
    store.close()
    as_one_would_who_knows_the_program(store, *lines)
    with Store.open(store.folder) as again:
        assert any("is not signed" in line for line in verify(again))
        for _ in range(3):
            if again.entries_if_any(job.job):
                write(again, job)
            else:  # its identifier was changed
                open_another(again, job)
        found = verify(again)
        assert any("is not signed" in line for line in found), found
    with Store.open(store.folder) as later:
        assert verify(later) == found


@pytest.mark.parametrize("lines", ALTERED.values(), ids=ALTERED.keys())
def test_what_was_altered_stays_altered_and_the_journal_is_written_on(store: Store, lines: tuple[str, ...]) -> None:
    a_job(store)
    store.close()
    other_program(store, *lines)
    with Store.open(store.folder) as again:
        before = set(verify(again))
        another = opened()
        again.append(*another.entries)
        for number in range(3):
            again.append(another.say(Note(f"after {number}")))
        assert before and before <= set(verify(again))
        assert [entry.body for entry in again.entries(another.job)][1:] == [Note(f"after {n}") for n in range(3)]
        again.redraw_lines()
        assert any("backup" in line for line in verify(again))


@pytest.mark.parametrize("write", WRITES, ids=[write.__name__ for write in WRITES])
@pytest.mark.parametrize("forged", [False, True], ids=["the row alone", "its sum too"])
@pytest.mark.parametrize("lines", BESIDE.values(), ids=BESIDE.keys())
def test_forged_rows_beside_the_entries_are_found_and_stay(
    store: Store, lines: tuple[str, ...], forged: bool, write: Callable[[Store, Scribe], None]
) -> None:
    job = a_job(store)
    assert verify(store) == []
    store.close()
    (as_one_would_who_knows_the_program if forged else other_program)(store, *lines)
    with Store.open(store.folder) as again:
        line = "is not signed" if forged else "not what this program wrote: restore it from a backup"
        assert any(line in found for found in verify(again))
        write(again, job)
        if forged and write is close and "teaches" in lines[0]:
            return  # closing a job says anew that it teaches: all is as it was
        assert any(line in found for found in verify(again))


def test_what_another_program_has_the_database_do_is_found(store: Store) -> None:
    a_job(store)
    with sqlite3.connect(store.path) as db:
        db.execute("CREATE TRIGGER teach AFTER INSERT ON jobs BEGIN UPDATE jobs SET teaches = 0; END")
        db.execute("INSERT INTO erasing SELECT number FROM jobs")
    assert verify(store) == [
        "the trigger teach of the database is not this program's: restore it from a backup",
        "a job is marked as being erased, which nobody does now: restore it from a backup",
    ]


def test_what_the_program_itself_notes_is_sound(store: Store, tmp_path: Path) -> None:
    job = a_job(store)
    pack(store, job.job, tmp_path / "copies.zip", originals=False)
    store.append(job.say(JobClosed("injector", 3, "worn")))
    pack(store, job.job, tmp_path / "whole.zip")
    with Store.open(tmp_path / "other") as other:
        for name in ("copies.zip", "whole.zip"):
            unpack(other, tmp_path / name)
            assert verify(other) == []
        other.let_teach([job.job])
        let_go(other, job)
        assert verify(other) == []
        other.erase(job.job)
        assert verify(other) == [] and other.query("SELECT * FROM copies_only") == []


def test_a_changed_entry_is_named_even_where_every_sum_was_worked_out_anew(store: Store) -> None:
    job = a_job(store)
    store.close()
    as_one_would_who_knows_the_program(store, *ALTERED["a reading"])
    with Store.open(store.folder) as again:
        again.append(job.say(Note("after")))
        named = f"entry {job.entries[2].id} does not fit its signature: restore it from a backup"
        assert named in verify(again)


def test_whoever_throws_the_key_away_too_does_not_get_the_journal_signed(store: Store) -> None:
    job = a_job(store)
    store.close()
    as_one_would_who_knows_the_program(store, *ALTERED["a reading"])
    (store.folder / KEY_NAME).unlink()
    with Store.open(store.folder) as again:
        for number in range(3):
            again.append(job.say(Note(f"after {number}")))
            assert any("was lost or exchanged" in line for line in verify(again))


def test_nor_does_who_takes_out_what_names_the_signer_with_it(store: Store) -> None:
    job = a_job(store)
    store.close()
    other_program(store, *ALTERED["a reading"], *ALTERED["the sum has no signature"])
    (store.folder / KEY_NAME).unlink()
    with Store.open(store.folder) as again:
        for number in range(3):
            again.append(job.say(Note(f"after {number}")))
            assert "the signature of the sum over all entries is gone; restore it from a backup" in verify(again)


def test_forged_entries_in_an_emptied_journal_are_not_signed_for(store: Store) -> None:
    a_job(store)
    store.close()
    emptied = [f"DELETE FROM {table}" for table in ("seals", "sealed", "signers", "sums", "sqlite_sequence")]
    other_program(store, *ALTERED["a reading"], *emptied)
    with Store.open(store.folder) as forged:
        seals.seal_all(forged._db)
        forged._db.conn.commit()
    with Store.open(store.folder) as again:
        for _ in range(2):
            open_another(again, opened())
            assert "the signature of the sum over all entries is gone; restore it from a backup" in verify(again)


def test_a_journal_without_sums_beside_the_entries_gets_them_at_its_next_write(store: Store) -> None:
    """One of the version before: it is sound, and from the next write on forged rows are found in it."""
    job = a_job(store)
    with sqlite3.connect(store.path) as db:
        db.execute("DROP TABLE sums")
        db.execute("DELETE FROM _sqlite_migrations WHERE name = 'sums_over_what_no_entry_says'")
        found = sums.Sums(*db.execute("SELECT entries, total FROM sealed").fetchone())
        signature = store._own_key().sign(found.message())
        db.execute("UPDATE sealed SET signature = ?", [signature])
    store.close()
    with Store.open(store.folder) as again:
        assert verify(again) == []
        note(again, job)
        assert verify(again) == []
    other_program(store, *BESIDE["a photo said to be a copy only"])
    with Store.open(store.folder) as again:
        assert verify(again) == ["the list of photos that came as copies only is not what this program wrote: restore "
                                 "it from a backup"]  # fmt: skip


def test_old_journals_are_signed_once_and_then_watched(tmp_path: Path) -> None:
    job = old_journal(tmp_path / "old")
    with Store.open(tmp_path / "old") as store:
        note(store, job)
        assert verify(store) == []
    other_program(store, *BESIDE["whether a job teaches"])
    with Store.open(tmp_path / "old") as store:
        assert any("which of them teach" in line for line in verify(store))


def test_a_job_of_which_only_the_name_is_left_is_told(store: Store) -> None:
    job, other = a_job(store), opened()
    store.append(*other.entries)
    reference = store.line(job.job).reference
    store.close()
    other_program(store, "DELETE FROM entries WHERE seq < 6", "DELETE FROM seals WHERE seq < 6")
    with Store.open(store.folder) as again:
        assert f"job {reference} has no entries any more: restore it from a backup" in verify(again)


def test_a_journal_made_to_look_like_one_from_before_there_were_keys_is_told_of(store: Store) -> None:
    a_job(store)
    store.close()
    emptied = [f"DELETE FROM {table}" for table in ("seals", "sealed", "signers", "sums")]
    other_program(store, *ALTERED["a reading"], *emptied)
    (store.folder / KEY_NAME).unlink()
    with Store.open(store.folder) as forged:
        seals.seal_all(forged._db)
        forged._db.conn.commit()
        for _ in range(2):
            open_another(forged, opened())
            assert remarks(forged)[0] == (
                "5 entries made here are not signed, as those of a journal from before there were keys: if this one "
                "had a key when they were made, restore it from a backup"
            )


def test_sums_and_signature_are_worked_out_as_they_were_when_older_journals_were_written(store: Store) -> None:
    """By libraries from elsewhere alone: worked out another way, older journals would be taken for altered ones."""
    job = a_job(store)
    let_go(store, job)
    with sqlite3.connect(store.path) as db:
        count, total, key, signature = db.execute(
            "SELECT entries, total, key, signature FROM sealed JOIN signers ON number = signer"
        ).fetchone()
        sealed = db.execute("SELECT seq, carried, sha256, key, signature FROM seals JOIN signers ON number = signer")
        wanted = sum(
            int.from_bytes(hashlib.shake_128(b"%d %d " % (seq, carried) + sha256 + by + signed).digest(256), "big")
            for seq, carried, sha256, by, signed in sealed
        )
        assert (count, int.from_bytes(total, "big"), len(total)) == (5, wanted % 2**2048, 256)
        text = b"cutout journal sums\n5\n" + total
        for table, columns in {"clips_let_go": "sha256, at_utc", "copies_only": "sha256",
                               "jobs": "id, code, reference, teaches"}.items():  # fmt: skip
            rows_there = db.execute(f"SELECT {columns} FROM {table}").fetchall()
            lines = [f"{table} {json.dumps(row)}".encode() for row in rows_there]
            summed = sum(int.from_bytes(hashlib.shake_128(line).digest(256), "big") for line in lines) % 2**2048
            (kept,) = db.execute("SELECT total FROM sums WHERE subject = ?", [table]).fetchone()
            assert kept == summed.to_bytes(256, "big")
            text += table.encode() + b"\n" + kept
    Ed25519PublicKey.from_public_bytes(key).verify(signature, text)
