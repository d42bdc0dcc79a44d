"""What happens to an entry on its way onto the disk: is it there already, whose is it, what is it about, and when."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from sqlite_utils import Database

from journal.errors import BadInput
from journal.facts import Entry, JobOpened, to_milliseconds
from journal.facts.codec import time_from_text
from journal.record import references, rows
from journal.record.resolve import target_of

HEARING_LAG = timedelta(seconds=5)
"""How far an entry's time may lie behind another writer's: a spoken one is timed when said, heard a little later."""


def take(db: Database, entries: Sequence[Entry], *, timed: bool) -> list[tuple[Entry, bool]]:
    """Insert entries within a transaction; each as it is on disk, with whether it is new there.

    Args:
        db: the journal's database, in a transaction.
        entries: in the order made.
        timed: whether their times give way to the order in which they came (`Store.append`), or stand (`Store.merge`).

    Raises:
        BadInput: for one that cannot go in; the transaction is then to be rolled back.
    """
    batch = {entry.id: entry for entry in entries}
    opening = {entry.job for entry in entries if isinstance(entry.body, JobOpened)}
    taken = []
    for given in entries:
        rows.check(given)
        entry = replace(given, at_utc=to_milliseconds(given.at_utc))
        there = find(db, entry.id)
        if there is not None:
            if replace(there, at_utc=entry.at_utc) != entry or not (timed or there == entry):
                raise BadInput(f"entry {entry.id} is already there and says something else: nothing was saved")
            taken.append((there, False))
            continue
        number = number_of(db, entry.job, opening)
        about = _about(db, entry, batch)
        if timed:
            entry = replace(entry, at_utc=_time_for(db, number, entry, about))
        db.execute(rows.INSERT, rows.row_of(entry, number))
        taken.append((entry, True))
    return taken


def find(db: Database, entry_id: str) -> Entry | None:
    """The entry under that identifier, if there is one."""
    row = db.execute(f"{rows.SELECT} WHERE e.id = ?", [entry_id]).fetchone()
    return None if row is None else rows.entry_of(row)[1]


def number_of(db: Database, job_id: str, opening: Container[str]) -> int:
    """A job's number in this database; a job that is being opened gets one."""
    row = db.execute("SELECT number FROM jobs WHERE id = ?", [job_id]).fetchone()
    if row is not None:
        return int(row[0])
    if job_id not in opening:
        raise BadInput(f"job {job_id} is not in this journal: open it first; nothing was saved")
    code = references.code_of(job_id)
    reference = references.free_reference(db, code)
    sql = "INSERT INTO jobs (id, code, reference) VALUES (?, ?, ?)"
    return int(db.execute(sql, [job_id, code, reference]).lastrowid or 0)


def _about(db: Database, entry: Entry, batch: Mapping[str, Entry]) -> Entry | None:
    """The entry that this one is about, in the same job."""
    target = target_of(entry.body)
    if target is None:
        return None
    found = find(db, target) or batch.get(target)
    if found is None or found.job != entry.job:
        raise BadInput(f"entry {target[:80]} is not in this job: nothing was saved")
    rows.check_about(entry, found)
    return found


def _time_for(db: Database, number: int, entry: Entry, about: Entry | None) -> datetime:
    """The entry's own time, or the earliest that keeps the order sensible where the clock would not.

    Wall clocks are set back, and two things said in one breath share a millisecond. A new entry therefore comes after
    the last of its own writer and after what it is about; another writer's may lie `HEARING_LAG` ahead, no more.
    """
    sql = "SELECT at_utc FROM entries WHERE job = ?"
    latest = " ORDER BY at_utc DESC LIMIT 1"
    writer = [number, entry.technician, entry.source.value]
    own = db.execute(f"{sql} AND technician = ? AND source = ?{latest}", writer).fetchone()
    anyone = db.execute(f"{sql}{latest}", [number]).fetchone()
    not_before = [time_from_text(own[0])] if own else []
    if about is not None:
        not_before.append(about.at_utc)
    if anyone and time_from_text(anyone[0]) - entry.at_utc > HEARING_LAG:
        not_before.append(time_from_text(anyone[0]))
    return max([entry.at_utc, *(at + timedelta(milliseconds=1) for at in not_before)])
