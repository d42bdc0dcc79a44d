"""What happens to an entry on its way onto the disk: is it there already, whose is it, what is it about, and when."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from sqlite_utils import Database

from journal.errors import BadInput
from journal.facts import ClockSetBack, Entry, JobClosed, JobOpened, Source, new_id, to_milliseconds
from journal.facts.codec import time_from_text, time_to_text
from journal.record import references, rows, seals, sums
from journal.record.keys import JournalKey
from journal.record.resolve import target_of
from journal.record.seals import Arrived, Signature

HEARING_LAG = timedelta(seconds=5)
"""How far an entry's time may lie behind another writer's: a spoken one is timed when said, heard a little later."""
SET_BACK = timedelta(minutes=1)
"""An entry dated so far ahead of the clock says that the clock was set back; less is over before it matters."""
AHEAD = timedelta(days=1)
"""How far ahead of the clock an entry may be dated: machines differ by hours where one takes local time for UTC.

One made here and dated further ahead is refused; one that is carried in was made when a clock was wrong, and its time
is set aside: a `ClockSetBack` of this moment comes after it.
"""

_ALTERED = (
    "; one of the two was altered: `journal show` tells who signed what is here, and once that job is erased the other "
    "can be taken in"
)

_MOVED = (
    "SELECT moved.value FROM entries m, json_each(m.body, '$.before') moved "
    "WHERE m.job = ? AND m.kind = 'clock set back'"
)
"""Entries of a job that come before a `ClockSetBack`, whatever their dates say."""


@dataclass(frozen=True)
class Way:
    """How entries come in."""

    key: JournalKey
    """The journal's key."""
    now: datetime
    """The present moment, aware."""
    timed: bool
    """Whether their times give way to the order in which they came (`Store.append`), or stand (`Store.merge`)."""
    carried: bool
    """Whether they were made in another journal."""
    signatures: Mapping[str, Signature]
    """The signatures they were carried with, by entry."""


def take(db: Database, entries: Sequence[Entry], way: Way) -> list[tuple[Entry, bool]]:
    """Insert entries within a transaction; each as it is on disk, with whether it is new there.

    Args:
        db: the journal's database, in a transaction.
        entries: in the order made.
        way: how they come in.

    Raises:
        BadInput: for one that cannot go in; the transaction is then to be rolled back.
    """
    ahead: dict[int, Entry] = {}
    batch = {entry.id: entry for entry in entries}
    opening = {entry.job for entry in entries if isinstance(entry.body, JobOpened)}
    taken, arrived = [], []
    for given in entries:
        rows.check(given)
        entry = replace(given, at_utc=to_milliseconds(given.at_utc))
        there = find(db, entry.id)
        if there is not None:
            if replace(there, at_utc=entry.at_utc) != entry or not (way.timed or there == entry):
                altered = _ALTERED if way.carried else ""
                raise BadInput(f"entry {entry.id} is already there and says something else: nothing was saved{altered}")
            taken.append((there, False))
            continue
        if not way.carried:
            _check_time(entry, way.now)
        number = number_of(db, entry.job, opening, way.key)
        about = _about(db, entry, batch)
        if way.timed:
            mark = _set_back(db, number, entry, way.now)
            if mark is not None:
                arrived.append(_insert(db, mark, number, None))
                taken.append((mark, True))
            entry = replace(entry, at_utc=_time_for(db, number, entry, about))
        arrived.append(_insert(db, entry, number, way.signatures.get(entry.id)))
        taken.append((entry, True))
        if entry.at_utc > way.now + AHEAD:
            ahead[number] = entry
        if isinstance(entry.body, JobClosed):
            with sums.kept(db, way.key, "jobs", "number = ?", [number]):
                db.execute("UPDATE jobs SET teaches = ? WHERE number = ?", [not way.carried, number])
    if arrived:
        seals.add(db, arrived, way.key, carried=way.carried)
    for number, entry in ahead.items():
        mark = _set_back(db, number, replace(entry, technician="", source=Source.TYPED), way.now)
        if mark is not None:
            seals.add(db, [_insert(db, mark, number, None)], way.key, carried=False)
            taken.append((mark, True))
    return taken


def _insert(db: Database, entry: Entry, number: int, signature: Signature | None) -> Arrived:
    return Arrived(rows.number_given(db.execute(rows.INSERT, rows.row_of(entry, number))), entry, signature)


def _check_time(entry: Entry, now: datetime) -> None:
    if entry.at_utc > now + AHEAD:
        dated, clock = (at.strftime("%Y-%m-%d %H:%M") for at in (entry.at_utc, now))
        raise BadInput(
            f"entry {entry.id} is dated {dated}, and this machine's clock says {clock} (UTC): set the clock that is "
            "wrong, here or where the entry comes from; nothing was saved"
        )


def find(db: Database, entry_id: str) -> Entry | None:
    """The entry under that identifier, if there is one."""
    row = db.execute(f"{rows.SELECT} WHERE e.id = ?", [entry_id]).fetchone()
    return None if row is None else rows.entry_of(row)[1]


def number_of(db: Database, job_id: str, opening: Container[str], key: JournalKey) -> int:
    """A job's number in this database; a job that is being opened gets one."""
    row = db.execute("SELECT number FROM jobs WHERE id = ?", [job_id]).fetchone()
    if row is not None:
        return int(row[0])
    if job_id not in opening:
        raise BadInput(f"job {job_id} is not in this journal: open it first; nothing was saved")
    code = references.code_of(job_id)
    reference = references.free_reference(db, code)
    sql = "INSERT INTO jobs (id, code, reference) VALUES (?, ?, ?)"
    with sums.kept(db, key, "jobs", "id = ?", [job_id]):
        return rows.number_given(db.execute(sql, [job_id, code, reference]))


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


def _set_back(db: Database, number: int, entry: Entry, now: datetime) -> Entry | None:
    """What says that the clock was set back, where the job holds entries that are dated well ahead of it.

    Without it the next entries would have to be dated ahead too, or sort before what they come after.
    """
    latest = db.execute("SELECT max(at_utc) FROM entries WHERE job = ?", [number]).fetchone()[0]
    if latest is None or latest <= time_to_text(now + SET_BACK):
        return None
    sql = f"SELECT id, at_utc FROM entries WHERE job = ? AND at_utc {{}} ? AND id NOT IN ({_MOVED}) ORDER BY at_utc"
    limit = time_to_text(now + SET_BACK)
    before = db.execute(sql.format("<="), [number, limit, number]).fetchall()
    at = min(entry.at_utc, to_milliseconds(now))
    if before:
        at = max(at, time_from_text(before[-1][1]) + timedelta(milliseconds=1))
    ahead = [id_ for id_, _ in db.execute(sql.format(">"), [number, limit, number])]
    if not ahead:
        return None
    mark = replace(entry, id=new_id(at), at_utc=at, body=ClockSetBack(tuple(ahead)), heard="", clip="", certainty=1.0)
    rows.check(mark)
    return mark


def _time_for(db: Database, number: int, entry: Entry, about: Entry | None) -> datetime:
    """The entry's own time, or the earliest that keeps the order sensible where the clock would not.

    Wall clocks are set back, and two things said in one breath share a millisecond. A new entry therefore comes after
    the last of its own writer and after what it is about; another writer's may lie `HEARING_LAG` ahead, no more. What
    is dated ahead and known to come before (`ClockSetBack`) holds nothing up.
    """
    sql = "SELECT at_utc FROM entries WHERE job = ?"
    latest = f" AND id NOT IN ({_MOVED}) ORDER BY at_utc DESC LIMIT 1"
    writer = [number, entry.technician, entry.source.value, number]
    own = db.execute(f"{sql} AND technician = ? AND source = ?{latest}", writer).fetchone()
    anyone = db.execute(f"{sql}{latest}", [number, number]).fetchone()
    not_before = [time_from_text(own[0])] if own else []
    if about is not None and not _is_moved(db, number, about):
        not_before.append(about.at_utc)
    if anyone and time_from_text(anyone[0]) - entry.at_utc > HEARING_LAG:
        not_before.append(time_from_text(anyone[0]))
    return max([entry.at_utc, *(at + timedelta(milliseconds=1) for at in not_before)])


def _is_moved(db: Database, number: int, entry: Entry) -> bool:
    return db.execute(f"SELECT 1 WHERE ? IN ({_MOVED})", [entry.id, number]).fetchone() is not None
