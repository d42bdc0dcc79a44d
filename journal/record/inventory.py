"""What all entries of a journal together name and say: photos, sounds, and moments that no clock can have shown."""

from __future__ import annotations

from datetime import datetime

from journal.facts import Entry
from journal.facts.codec import time_to_text
from journal.record import rows
from journal.record.store import Store


def photos_named(store: Store) -> dict[str, str]:
    """Every photo (SHA-256) that an entry names, with its name; this and all here may raise `RecordError`."""
    # By the body, which is sealed; the column of the kind is not.
    sql = (
        "SELECT json_extract(body, '$.sha256'), json_extract(body, '$.name') FROM entries "
        "WHERE json_extract(body, '$.kind') = 'photo'"
    )
    return {str(sha256): str(name) for sha256, name in store.query(sql)}


def without_original(store: Store) -> set[str]:
    """Photos (SHA-256) that came as page copies only."""
    return {str(sha256) for (sha256,) in store.query("SELECT sha256 FROM copies_only")}


def clips_named(store: Store) -> dict[str, str]:
    """For every clip (SHA-256) that an entry names, the identifier of such an entry."""
    found = store.query("SELECT clip, min(id) FROM entries WHERE clip != '' GROUP BY clip")
    return {str(clip): str(entry) for clip, entry in found}


def unsigned_here(store: Store) -> int:
    """How many entries were made here, as the database says, and yet are signed by nobody."""
    return int(store.query("SELECT count(*) FROM seals WHERE signature IS NULL AND NOT carried")[0][0])


def dated_after(store: Store, at_utc: datetime) -> list[tuple[str, int]]:
    """References of jobs with entries dated after a moment, each with how many."""
    sql = (
        "SELECT jobs.reference, count(*) FROM entries e JOIN jobs ON jobs.number = e.job "
        "WHERE e.at_utc > ? GROUP BY e.job"
    )
    return [(str(reference), int(count)) for reference, count in store.query(sql, [time_to_text(at_utc)])]


def clocks_set_back(store: Store) -> list[tuple[str, Entry]]:
    """Every `ClockSetBack`, each with its job's reference."""
    found = store.query(f"SELECT jobs.reference, {rows.SELECT.removeprefix('SELECT ')} WHERE e.kind = 'clock set back'")
    return [(str(reference), rows.entry_of(tuple(row))[1]) for reference, *row in found]
