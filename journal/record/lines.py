"""One line for each job in a list, and the words it is found by: derived from its entries, made anew at will."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from sqlite_utils import Database

from journal.facts import Entry, JobOpened, JobReopened, Source, kind_of
from journal.facts.codec import time_from_text, time_to_text
from journal.facts.one_line import one_line
from journal.record.job import Job, JobState

QUIET = frozenset({"run end", "baseline", "cut", "condition", "trouble code", "photo cue", "photo", "photo placed",
                   "photo mark", "put back", "gate overridden", "check"})  # fmt: skip
"""Kinds of entry that change nothing in a job's line but when it was last touched and by whom."""


@dataclass(frozen=True)
class JobLine:
    """What a list shows of one job."""

    id: str
    """UUIDv7."""
    reference: str
    """Four letters or a few more for people to say and type."""
    unit: str
    """What machine it is."""
    complaint: str
    """What the operator says is wrong."""
    state: JobState
    """How far it is."""
    opened_at: datetime
    """When it was opened, UTC."""
    last_at: datetime
    """Time of its last entry, UTC."""
    technician: str
    """Who made the last entry, the parts desk left out."""
    entries: int
    """How many entries it has."""
    waiting: int
    """How many questions wait for an answer."""
    headline: str = ""
    """The most important finding, as last noted by `Store.note_summary`."""
    standings: Mapping[int, str] = field(default_factory=dict)
    """Each cylinder's standing, as last noted."""


_FEW = 1000
"""Up to so many jobs are sorted rather than found along the list."""

_COLUMNS = """jobs.id, jobs.reference, l.unit, l.complaint, l.state, l.opened_at, l.last_at, l.technician, l.entries,
 l.waiting, coalesce((SELECT headline FROM job_findings f WHERE f.job = l.job), ''),
 (SELECT group_concat(cylinder || ' ' || standing, ',') FROM job_standings s WHERE s.job = l.job)"""


def select(
    db: Database,
    *,
    text: str,
    state: str | None,
    technician: str | None,
    since: datetime | None,
    until: datetime | None,
    standing: str | None,
    teaching: bool,
    limit: int,
    offset: int,
) -> Iterator[JobLine]:
    """Lines that fit everything asked for: those touched last first, or with `text` or `until` those opened last."""
    tables, where = "job_lines l JOIN jobs ON jobs.number = l.job", []
    values: list[object] = []
    order = f"l.{'last_at' if until is None else 'opened_at'} DESC, l.job DESC"
    text = text.encode("utf-8", "ignore").decode()  # half a character finds nothing
    words = _query(text)
    if words:
        # The index yields its matches newest job first by itself: the search stops as soon as the page is full.
        tables = f"job_texts_fts t CROSS JOIN {tables}"
        where.append("t.job_texts_fts MATCH ? AND l.job = t.rowid")
        values.append(words)
        order = "t.rowid DESC"
        if (code := _a_reference(db, text)) is not None or (names := _names_like(db, text)):
            # Who worked on a job and what it is called stand in no text of it.
            tables = "job_lines l JOIN jobs ON jobs.number = l.job"
            where[-1] = (
                "l.job IN (SELECT rowid FROM job_texts_fts WHERE job_texts_fts MATCH ? UNION SELECT ? UNION"
                " SELECT job FROM job_technicians WHERE technician IN (SELECT value FROM json_each(?)))"
            )
            values += [code, json.dumps([] if code is not None else names)]
            order = "l.job DESC"
    if state is not None:
        where.append("l.state = ?")
        values.append(str(state))
    for table, wanted in (("technician", technician), ("standing", standing)):
        if wanted is None:
            continue
        jobs = _few(db, f"SELECT DISTINCT job FROM job_{table}s WHERE {table} = ?", wanted)
        if jobs is not None:
            # A handful of jobs is looked up and sorted; going through the list until a page is full would take longer.
            where.append("l.job IN (SELECT value FROM json_each(?))")
            values.append(json.dumps(jobs))
            order = order.replace("l.", "+l.", 1)
        else:
            where.append(f"EXISTS (SELECT 1 FROM job_{table}s s WHERE s.job = l.job AND s.{table} = ?)")
            values.append(str(wanted))
    if teaching:
        where.append("jobs.teaches")
    if since is not None:
        where.append("l.last_at >= ?")
        values.append(time_to_text(since))
    if until is not None:
        where.append("l.opened_at <= ?")
        values.append(time_to_text(until))
    sql = f"SELECT {_COLUMNS} FROM {tables} {'WHERE ' + ' AND '.join(where) if where else ''}"
    for row in db.execute(f"{sql} ORDER BY {order} LIMIT ? OFFSET ?", [*values, limit, offset]):
        yield _line(row)


def latest_open(db: Database) -> str | None:
    """Identifier of the job taken up last, by order of arrival, among those not closed; carried ones come last."""
    for carried in ("NOT IN", "IN"):
        row = db.execute(
            "SELECT jobs.id FROM entries e JOIN job_lines l ON l.job = e.job JOIN jobs ON jobs.number = e.job "
            "WHERE e.kind IN ('job opened', 'job reopened') AND l.state != 'closed' "
            f"AND e.seq {carried} (SELECT seq FROM seals WHERE carried) ORDER BY e.seq DESC LIMIT 1"
        ).fetchone()
        if row is not None:
            return str(row[0])
    return None


def _a_reference(db: Database, text: str) -> int | None:
    """The number of the job that the whole text is the reference of."""
    row = db.execute("SELECT number FROM jobs WHERE reference = ?", [text.strip().upper()]).fetchone()
    return None if row is None else int(row[0])


def _names_like(db: Database, text: str) -> list[str]:
    """The technicians of whose names each word of the text begins one; the index is asked for each name once."""
    rows = db.execute(
        "WITH RECURSIVE names (name) AS (SELECT min(technician) FROM job_technicians UNION ALL"
        " SELECT (SELECT min(technician) FROM job_technicians WHERE technician > name) FROM names"
        " WHERE name IS NOT NULL)"
        " SELECT name FROM names WHERE name IS NOT NULL"
    )
    words = text.casefold().split()
    return [name for (name,) in rows if all(any(n.startswith(w) for n in str(name).casefold().split()) for w in words)]


def _few(db: Database, sql: str, wanted: str) -> list[int] | None:
    """The jobs that the query yields, or none when they are many."""
    found = [int(row[0]) for row in db.execute(f"{sql} LIMIT ?", [str(wanted), _FEW + 1])]
    return found if len(found) <= _FEW else None


def line_of(db: Database, number: int) -> JobLine:
    """The line of the job with that number in this database."""
    sql = f"SELECT {_COLUMNS} FROM job_lines l JOIN jobs ON jobs.number = l.job WHERE l.job = ?"
    return _line(db.execute(sql, [number]).fetchone())


def _line(row: tuple[object, ...]) -> JobLine:
    id_, reference, unit, complaint, state, opened, last, technician, entries, waiting, headline, standings = row
    pairs = (pair.partition(" ")[::2] for pair in str(standings).split(",")) if standings else ()
    return JobLine(
        id=str(id_),
        reference=str(reference),
        unit=one_line(str(unit)),
        complaint=one_line(str(complaint)),
        state=JobState(str(state)),
        opened_at=time_from_text(str(opened)),
        last_at=time_from_text(str(last)),
        technician=one_line(str(technician)),
        entries=int(str(entries)),
        waiting=int(str(waiting)),
        headline=str(headline),
        standings={int(cylinder): standing for cylinder, standing in sorted(pairs, key=lambda p: int(p[0]))},
    )


def _query(text: str) -> str:
    """An FTS5 query that finds every word of the text as the beginning of a word, whatever signs it holds."""
    words = text.replace("\0", " ").replace('"', " ").split()
    return " ".join(f'"{word}"*' for word in words if any(c.isalnum() for c in word))


def touch(db: Database, number: int, entries: list[Entry]) -> None:
    """Note that quiet entries came to a job: one line and its technicians change, nothing else is looked at."""
    last = max(entry.at_utc for entry in entries)
    who = _people(entries)
    db.execute(
        "UPDATE job_lines SET last_at = max(last_at, ?), entries = entries + ?, technician = ? || "
        "CASE WHEN ? = '' THEN technician ELSE '' END WHERE job = ?",
        [time_to_text(last), len(entries), who[-1] if who else "", who[-1] if who else "", number],
    )
    _technicians(db, number, who)


def write(db: Database, number: int, job: Job) -> None:
    """Write a job's line and its words anew."""
    db.execute("INSERT OR REPLACE INTO job_lines VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", line_row(number, job))
    _technicians(db, number, _people(job.entries))
    write_texts(db, number, job)


def write_texts(db: Database, number: int, job: Job) -> None:
    """Write the words a job is found by, where they changed."""
    new, old = texts_row(db, number, job), stored(db, "job_texts", number)
    if old is None:
        db.execute("INSERT INTO job_texts VALUES (?, ?, ?, ?, ?)", new)
    elif old != new:
        sql = "UPDATE job_texts SET unit = ?, complaint = ?, notes = ?, causes = ? WHERE job = ?"
        db.execute(sql, [*new[1:], number])


def differs(db: Database, number: int, job: Job) -> bool:
    """Whether a job's line or words are not what its entries say."""
    return (stored(db, "job_lines", number), stored(db, "job_texts", number)) != (
        line_row(number, job),
        texts_row(db, number, job),
    )


def line_row(number: int, job: Job) -> tuple[object, ...]:
    """A job's row of `job_lines`."""
    taken_up = [e.at_utc for e in job.effective.values() if isinstance(e.body, JobOpened | JobReopened)]
    return (
        number,
        job.unit,
        job.complaint,
        job.state.value,
        time_to_text(job.opened_at),
        time_to_text(min(max(taken_up), job.entries[-1].at_utc)),
        time_to_text(job.entries[-1].at_utc),
        (_people(job.entries) or [""])[-1],
        len(job.entries),
        len(job.waiting),
    )


def texts_row(db: Database, number: int, job: Job) -> tuple[object, ...]:
    """A job's row of `job_texts`: what was said, and what the analysis noted."""
    noted = db.execute("SELECT headline, causes FROM job_findings WHERE job = ?", [number]).fetchone() or ("", "")
    closed = f"{job.closed.body.cause} {job.closed.body.text}" if job.closed else ""
    notes = [fact.body.text for fact in job.notes] + [fact.body.text for fact in job.repairs] + list(job.facts.values())
    notes += [" ".join((p.wanted.body.description, *(a.body.number for a in p.answers))) for p in job.parts]
    causes = [text for text in (closed, *noted, *job.edits.values()) if text]
    return (number, job.unit, job.complaint, "\n".join(notes), "\n".join(causes))


def stored(db: Database, table: str, number: int) -> tuple[object, ...] | None:
    """A job's row of a derived table as it is."""
    row: tuple[object, ...] | None = db.execute(f"SELECT * FROM {table} WHERE job = ?", [number]).fetchone()
    return row


def desk_answers(db: Database, jobs: Iterable[str]) -> dict[str, list[str]]:
    """How far the parts of each job are of which the parts desk had the last word that counts, by the job's identifier.

    Jobs of which there is none are left out.
    """
    rows = db.execute(
        "SELECT j.id, json_extract(e.body, '$.part'), e.source, json_extract(e.body, '$.state')"
        " FROM jobs j JOIN entries e ON e.job = j.number"
        " WHERE j.id IN (SELECT value FROM json_each(?)) AND e.kind = 'part answer'"
        " AND NOT EXISTS (SELECT 1 FROM entries w WHERE w.job = e.job AND w.kind = 'withdrawal'"
        " AND json_extract(w.body, '$.target') = e.id)"
        " ORDER BY e.at_utc, e.id",
        [json.dumps(list(jobs))],
    )
    last = {(job, part): (source, state) for job, part, source, state in rows}
    found: dict[str, list[str]] = {}
    for (job, _), (source, state) in last.items():
        if source == Source.DESK:
            found.setdefault(str(job), []).append(str(state))
    return found


def _people(entries: Iterable[Entry]) -> list[str]:
    """Who made the entries, in order, the parts desk left out."""
    return [entry.technician for entry in entries if entry.technician and entry.source is not Source.DESK]


def note(db: Database, number: int, headline: str, standings: Mapping[int, str], causes: str) -> None:
    """Keep what the analysis said of a job, for lists and searches."""
    db.execute("INSERT OR REPLACE INTO job_findings VALUES (?, ?, ?)", [number, headline, causes])
    db.execute("DELETE FROM job_standings WHERE job = ?", [number])
    for cylinder, standing in standings.items():
        db.execute("INSERT INTO job_standings VALUES (?, ?, ?)", [number, cylinder, str(standing)])


def noted(db: Database, number: int) -> tuple[str, str, dict[int, str]] | None:
    """Headline, causes and standings as last noted; none when nothing was."""
    row = db.execute("SELECT headline, causes FROM job_findings WHERE job = ?", [number]).fetchone()
    standings = db.execute("SELECT cylinder, standing FROM job_standings WHERE job = ?", [number]).fetchall()
    return None if row is None else (row[0], row[1], dict(standings))


def is_quiet(db: Database, number: int, entries: list[Entry]) -> bool:
    """Whether none of the entries can change a job's line beyond `touch`.

    Where the clock was set back, when the job was opened is told by its last entry (`line_row`).
    """
    if not all(kind_of(entry.body) in QUIET for entry in entries):
        return False
    sql = "SELECT 1 FROM entries WHERE job = ? AND kind = 'clock set back'"
    return db.execute(sql, [number]).fetchone() is None


def _technicians(db: Database, number: int, names: list[str]) -> None:
    for name in set(names):
        db.execute("INSERT OR IGNORE INTO job_technicians VALUES (?, ?)", [number, name])
