"""The journal on disk: entries go in and never change, jobs come out by replay."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from sqlite_utils import Database

from journal.errors import BadInput, NotFound
from journal.facts import Entry
from journal.facts.codec import time_from_text, time_to_text
from journal.record import intake, lines, references, rows, seals, sums, upkeep
from journal.record.files import CLIPS, PHOTOS, check_sha256, file_errors
from journal.record.job import Job, JobState
from journal.record.kept import KeptJobs
from journal.record.keys import JournalKey, journal_key, key_there
from journal.record.lines import JobLine
from journal.record.plain_errors import database_errors, no_room
from journal.record.schema import FILE_NAME, WAIT_S, can_write, connect, writing
from journal.record.seals import Signature
from journal.record.spool import forget_sound

FULL = "the disk is full"
"""Why a store only reads where it is that."""


class _OnlyTrying(Exception):
    """Ends a transaction that was never meant to be kept."""


class Store:
    """One connection to a journal; each process opens its own, as many as it likes, and so does each thread."""

    def __init__(self, folder: Path, db: Database) -> None:
        """Use `Store.open`."""
        self.folder = folder
        """The journal's folder: the database, its key, `photos`, `clips` and `copies`."""
        self.clock: Callable[[], datetime] = lambda: datetime.now(UTC)
        """This machine's clock, which entries are held against."""
        self.only_reads = "" if can_write(db) else FULL if no_room(folder / FILE_NAME) else "read-only"
        """Why nothing can be written here; empty where it can."""
        self._key: JournalKey | None = None
        self._db = db
        self._jobs = KeptJobs(db)

    @classmethod
    def open(cls, folder: Path, *, create: bool = True, wait_s: float = WAIT_S, in_turn: bool = False) -> Store:
        """Open the journal in a folder.

        Args:
            folder: the journal's folder.
            create: make it when it is not there.
            wait_s: how long to wait for another program that holds it, seconds.
            in_turn: whether threads may use it one after the other, never two at once; otherwise only this one may.

        Raises:
            NotFound: when there is no journal and `create` is false.
            RecordError: when it cannot be opened, or a newer version of the program wrote it.
        """
        db = connect(folder, create=create, wait_s=wait_s, in_turn=in_turn)
        with database_errors(folder / FILE_NAME), file_errors(folder / FILE_NAME):
            if can_write(db):
                upkeep.finish_erasing(db, folder)
        return cls(folder, db)

    def __enter__(self) -> Store:
        """Itself."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        """Close it."""
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._db.close()

    @property
    def path(self) -> Path:
        """The database file."""
        return self.folder / FILE_NAME

    # Writing

    def append(self, *entries: Entry) -> list[Entry]:
        """Put new entries on disk, all or none; when this returns they are there, come what may.

        Twice is the same as once: an entry already there under its identifier is left as it is. A new entry never
        sorts before what its own writer (technician and source) put into the job, before the entry it is about, or
        more than `intake.HEARING_LAG` before anything else in the job: where the clock says otherwise, the entry is
        timed a millisecond after that. Its UUIDv7 keeps the clock's own reading. Where the job holds entries dated well
        ahead of the clock, a `ClockSetBack` comes first, which keeps the order and lets the new entry have its time.

        Returns:
            The entries as they are on disk, in the order given.

        Raises:
            BadInput: for an entry that is malformed, about a job or an entry that is not there, dated more than
                `intake.AHEAD` ahead of the clock, or that says something else than the one already there under its
                identifier. Nothing is saved.
            RecordError: when the disk refuses (full, read-only, held by another program). Nothing is saved.
        """
        given = {entry.id for entry in entries}
        return [entry for entry, _ in self._write(entries, timed=True) if entry.id in given]

    def check_merge(self, entries: Iterable[Entry]) -> None:
        """Raise what `merge` of these entries would raise, and save nothing."""
        with contextlib.suppress(_OnlyTrying):
            self._write(tuple(entries), carried=True, keep=False)

    def merge(
        self, entries: Iterable[Entry], *, carried: bool, signatures: Mapping[str, Signature] | None = None
    ) -> list[Entry]:
        """Bring in entries exactly as they are; returns those that were not here yet.

        Args:
            entries: the entries.
            carried: whether they were made in another journal; else this one signs them as its own.
            signatures: what they were signed with there, by entry; checked before.

        Those of another journal that are dated more than `intake.AHEAD` ahead of the clock are followed by a
        `ClockSetBack`, so that their times hold nothing up; it is among what is returned.

        Raises:
            BadInput: as `append`; not for what is carried in and dated ahead.
            RecordError: as `append`.
        """
        taken = self._write(tuple(entries), carried=carried, signatures=signatures)
        return [entry for entry, is_new in taken if is_new]

    def _write(
        self,
        entries: Sequence[Entry],
        *,
        timed: bool = False,
        carried: bool = False,
        signatures: Mapping[str, Signature] | None = None,
        keep: bool = True,
    ) -> list[tuple[Entry, bool]]:
        """The entries as they are on disk, each with whether it is new there."""
        way = intake.Way(self._own_key(), self.clock(), timed, carried, signatures or {})
        with self._changing():
            taken = intake.take(self._db, entries, way)
            fresh: dict[str, list[Entry]] = {}
            for entry, is_new in taken:
                if is_new:
                    fresh.setdefault(entry.job, []).append(entry)
            for job_id, new in fresh.items():
                self._redraw(self._number(job_id), new)
            if not keep:
                raise _OnlyTrying
        return taken

    def _own_key(self) -> JournalKey:
        if self._key is None:
            self._key = key_there(self.folder) or self._new_key()
        return self._key

    def _new_key(self) -> JournalKey:
        with database_errors(self.path), writing(self._db):
            key = journal_key(self.folder)
            sums.sign_first(self._db, key)
        return key

    @contextlib.contextmanager
    def _changing(self) -> Iterator[None]:
        with database_errors(self.path), self._jobs.forgetting(), writing(self._db):
            yield

    @contextlib.contextmanager
    def _noting(self, table: str, photos_or_clips: Sequence[str]) -> Iterator[None]:
        key = self._own_key()
        named, values = "sha256 IN (SELECT value FROM json_each(?))", [json.dumps(photos_or_clips)]
        with database_errors(self.path), writing(self._db), sums.kept(self._db, key, table, named, values):
            yield

    def _redraw(self, number: int, new: list[Entry]) -> None:
        if lines.is_quiet(self._db, number, new):
            lines.touch(self._db, number, new)
        else:
            lines.write(self._db, number, self._jobs.job(number))

    def note_summary(self, job_id: str, headline: str, standings: Mapping[int, str], *, causes: str = "") -> None:
        """Keep what the analysis says of a job now, for lists and searches; replaces what was noted before.

        Args:
            job_id: the job.
            headline: the most important finding, a sentence or two.
            standings: each cylinder's standing.
            causes: the names of the likeliest causes, to be found by.
        """
        noted = (headline, causes, {int(cylinder): str(standing) for cylinder, standing in standings.items()})
        with database_errors(self.path):
            if lines.noted(self._db, self._number(job_id)) == noted:
                return
        with self._changing():
            number = self._number(job_id)
            lines.note(self._db, number, headline, standings, causes)
            lines.write_texts(self._db, number, self._jobs.job(number))

    def note_let_go(self, clips: Iterable[str], now: datetime) -> None:
        """Note that the sound of these clips (SHA-256) is no longer kept, on purpose."""
        gone = [check_sha256(sha256) for sha256 in clips]
        with self._noting("clips_let_go", gone):
            self._db.conn.executemany(
                "INSERT OR REPLACE INTO clips_let_go VALUES (?, ?)", [[sha256, time_to_text(now)] for sha256 in gone]
            )

    def erase(self, job_id: str) -> None:
        """Remove a job for good: entries, and photos and clips no other job names. Nothing else removes an entry.

        Raises:
            NotFound: when there is no such job.
            RecordError: when the disk refuses; the job is then still there.
        """
        with database_errors(self.path), file_errors(self.path):
            number = self._number(job_id)
            upkeep.erase(self._db, self.folder, number, self._jobs.entries(number), self._own_key())
            forget_sound(self.folder, job_id)

    # Reading

    def entries(self, job_id: str) -> list[Entry]:
        """A job's entries by time, then identifier.

        Raises:
            NotFound: when there is no such job.
        """
        with database_errors(self.path):
            return list(self._jobs.entries(self._number(job_id)))

    def entries_if_any(self, job_id: str) -> list[Entry]:
        """A job's entries by time, then identifier; none when there is no such job."""
        try:
            return self.entries(job_id)
        except NotFound:
            return []

    def entry(self, entry_id: str) -> Entry:
        """One entry by its identifier, or by a beginning of it that only one has.

        Raises:
            NotFound: when there is none.
            BadInput: when the beginning fits several.
        """
        word = entry_id.strip().lower()
        with database_errors(self.path):
            sql = f"{rows.SELECT} WHERE e.id >= ? AND e.id < ? LIMIT 2"
            found = self._db.execute(sql, [word, word + "~"]).fetchall()
        if not found or not word:
            raise NotFound(f"there is no entry {entry_id[:80]!r}: `journal show` lists a job's entries")
        if len(found) > 1:
            raise BadInput(f"{entry_id!r} may mean several entries: give more of it")
        return rows.entry_of(found[0])[1]

    def query(self, sql: str, values: Sequence[object] = ()) -> list[tuple[Any, ...]]:
        """The rows that a SELECT of another module of the record finds; `RecordError` where it cannot be read."""
        with database_errors(self.path):
            return list(self._db.execute(sql, list(values)))

    def last_seq(self) -> int:
        """The sequence number of the latest entry to arrive here; 0 in an empty journal."""
        with database_errors(self.path):
            return int(self._db.execute("SELECT coalesce(max(seq), 0) FROM entries").fetchone()[0])

    def since(self, seq: int, job_id: str | None = None, *, limit: int | None = 1000) -> list[tuple[int, Entry]]:
        """Entries that arrived here after a sequence number, in order of arrival, each with its own number.

        Args:
            seq: the last one already seen; 0 for all.
            job_id: only this job's.
            limit: at most so many; none for all.
        """
        where, values = ("AND jobs.id = ?", [job_id]) if job_id else ("", [])
        sql = f"{rows.SELECT} WHERE e.seq > ? {where} ORDER BY e.seq LIMIT ?"
        with database_errors(self.path):
            return [rows.entry_of(row) for row in self._db.execute(sql, [seq, *values, -1 if limit is None else limit])]

    def job(self, job_id: str) -> Job:
        """A job as it stands, by replaying its entries.

        Raises:
            NotFound: when there is no such job.
        """
        with database_errors(self.path):
            return self._jobs.job(self._number(job_id))

    def clip_times(self) -> dict[str, datetime]:
        """For every clip (SHA-256) that an entry names, the time of the latest such entry."""
        sql = "SELECT clip, max(at_utc) FROM entries WHERE clip != '' GROUP BY clip"
        with database_errors(self.path):
            return {clip: time_from_text(at) for clip, at in self._db.execute(sql)}

    def names_clip(self, sha256: str) -> bool:
        """Whether any entry names that clip."""
        with database_errors(self.path):
            return upkeep.is_named(self._db, CLIPS, check_sha256(sha256))

    def names_photo(self, sha256: str) -> bool:
        """Whether any entry names that photo."""
        with database_errors(self.path):
            return upkeep.is_named(self._db, PHOTOS, check_sha256(sha256))

    def clips_let_go(self) -> set[str]:
        """Clips (SHA-256) whose sound was let go on purpose."""
        with database_errors(self.path):
            return {sha256 for (sha256,) in self._db.execute("SELECT sha256 FROM clips_let_go")}

    def jobs(
        self,
        *,
        text: str = "",
        state: JobState | str | None = None,
        technician: str | None = None,
        since: datetime | None = None,
        until: datetime | None = None,
        standing: str | None = None,
        teaching: bool = False,
        limit: int = 50,
        offset: int = 0,
    ) -> list[JobLine]:
        """Lines of jobs that fit everything given: those touched last first, with `text` or `until` those opened last.

        Args:
            text: words, or beginnings of words, of the unit, complaint, notes, parts or causes, or of a technician's
                name; or a job's reference.
            state: how far the job is.
            technician: who made an entry in it.
            since: worked on at or after, aware.
            until: opened at or before, aware.
            standing: at least one cylinder stands so, as last noted.
            teaching: only those whose outcome may move the base rates; a closing that came by a pack must be let.
            limit: at most so many.
            offset: leave out so many first.
        """
        with database_errors(self.path):
            found = lines.select(
                self._db,
                text=text,
                state=None if state is None else str(state),
                technician=technician,
                since=since,
                until=until,
                standing=standing,
                teaching=teaching,
                limit=limit,
                offset=offset,
            )
            return list(found)

    def line(self, job_id: str) -> JobLine:
        """A job's line; `NotFound` when there is no such job."""
        with database_errors(self.path):
            return lines.line_of(self._db, self._number(job_id))

    def desk_answers(self, job_ids: Iterable[str]) -> dict[str, list[str]]:
        """How far the parts are of which the parts desk had the last word, by job; those with none are left out."""
        with database_errors(self.path):
            return lines.desk_answers(self._db, job_ids)

    def latest_open(self) -> str | None:
        """The job opened or reopened last among those not closed; none when there is none.

        The last is the last to arrive, whatever the clock said; one that was carried in comes after all of this shop's.
        """
        with database_errors(self.path):
            return lines.latest_open(self._db)

    def find(self, reference: str) -> str:
        """Identifier of the job that a reference, or a beginning of its identifier, means.

        Raises:
            NotFound: when there is none, naming the nearest.
            BadInput: when it may mean several.
        """
        with database_errors(self.path):
            return references.find(self._db, reference)

    def note_without_original(self, photos: Iterable[str], *, gone: bool) -> None:
        """Note photos (SHA-256) that came as page copies only, or, with `gone` false, whose originals are here now."""
        sql = "INSERT OR IGNORE INTO copies_only VALUES (?)" if gone else "DELETE FROM copies_only WHERE sha256 = ?"
        noted = [check_sha256(sha256) for sha256 in photos]
        with self._noting("copies_only", noted):
            self._db.conn.executemany(sql, [[sha256] for sha256 in noted])

    def let_teach(self, job_ids: Iterable[str]) -> None:
        """Let the outcome of jobs whose closing came by a pack move the base rates; `NotFound` for one not here."""
        with self._changing():
            for job_id in job_ids:
                number = self._number(job_id)
                with sums.kept(self._db, self._own_key(), "jobs", "number = ?", [number]):
                    self._db.execute("UPDATE jobs SET teaches = 1 WHERE number = ?", [number])

    def teaches(self, job_id: str) -> bool:
        """Whether a job's outcome may move the base rates once it is closed; `NotFound` when there is no such job."""
        with database_errors(self.path):
            sql = "SELECT teaches FROM jobs WHERE number = ?"
            return bool(self._db.execute(sql, [self._number(job_id)]).fetchone()[0])

    # Upkeep

    def check_database(self) -> list[str]:
        """What SQLite itself finds wrong with the database, a line each."""
        return upkeep.check_database(self._db)

    def check_schema(self) -> list[str]:
        """What is missing of the tables and safeguards that hold the facts, a line each."""
        with database_errors(self.path):
            return upkeep.check_schema(self._db)

    def check_seals(self, of_job: Callable[[Sequence[seals.Read]], Iterable[str]] = lambda read: ()) -> Iterator[str]:
        """Every entry that was changed, that is gone, or that came past the program, a line each.

        `of_job` is handed each job's entries as they are read; the lines it gives come between.
        """
        with database_errors(self.path):
            yield from seals.troubles(self._db, self.public_key(), of_job)

    def public_key(self) -> bytes:
        """This journal's public key, 32 bytes; empty where nothing was ever written and nothing can be."""
        key = self._key or key_there(self.folder)
        return key.public if key is not None else b""

    def signatures(self, job_id: str) -> dict[str, Signature]:
        """Who signed which of a job's entries, by entry; unsigned ones are left out. `NotFound` as `entries`."""
        with database_errors(self.path):
            return seals.signatures(self._db, self._number(job_id))

    def carried(self, job_id: str) -> set[str]:
        """A job's entries, by identifier, that were made in another journal. `NotFound` as `entries`."""
        with database_errors(self.path):
            return seals.carried(self._db, self._number(job_id))

    def copy_database(self, target: sqlite3.Connection) -> None:
        """Copy the database as it stands now into another, through SQLite's own backup."""
        with database_errors(self.path):
            upkeep.copy_database(self._db, target)

    def references(self) -> list[tuple[str, str]]:
        """Identifier and reference of every job, in the order they came."""
        with database_errors(self.path):
            return upkeep.job_references(self._db)

    def jobs_not_understood(self) -> list[str]:
        """Identifiers of the jobs that keep something that was not understood, put right or not, in their order."""
        sql = """SELECT DISTINCT jobs.id FROM jobs JOIN entries e ON e.job = jobs.number
            WHERE e.kind = 'question' AND json_array_length(e.body, '$.options') = 0 ORDER BY jobs.number"""
        with database_errors(self.path):
            return [str(job) for (job,) in self._db.execute(sql)]

    def line_differs(self, job_id: str, job: Job | None = None) -> bool:
        """Whether a job's line or words are not what its entries say; the job is read unless it is given."""
        with database_errors(self.path):
            number = self._number(job_id)
            return lines.differs(self._db, number, self._jobs.job(number) if job is None else job)

    def redraw_lines(self) -> None:
        """Make every job's line and words anew from its entries; what the analysis noted stays.

        A job whose entries cannot be read keeps the line that it has.
        """
        for job_id, _ in self.references():
            with contextlib.suppress(BadInput), self._changing():
                number = self._number(job_id)
                lines.write(self._db, number, self._jobs.job(number))

    def _number(self, job_id: str) -> int:
        row = self._db.execute("SELECT number FROM jobs WHERE id = ?", [job_id]).fetchone()
        if row is None:
            raise NotFound(f"there is no job {job_id[:80]!r} in this journal: `journal jobs` lists them")
        return int(row[0])
