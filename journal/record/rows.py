"""An entry as a row of the database and back, checked both ways."""

from __future__ import annotations

import json
import sqlite3
import uuid
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from journal.errors import BadInput
from journal.facts import Answer, Entry, JobOpened, PartAnswer, PartWanted, Photo, Question, Withdrawal, to_milliseconds
from journal.facts.codec import body_to_json, entry_from_json, entry_to_json
from journal.record.files import check_sha256

FIELDS = "e.id, jobs.id, e.at_utc, e.offset_minutes, e.technician, e.source, e.heard, e.clip, e.certainty, e.body"
SELECT = f"SELECT e.seq, {FIELDS} FROM entries e JOIN jobs ON jobs.number = e.job"
"""Rows that `entry_of` reads."""
INSERT = (
    "INSERT INTO entries (id, job, at_utc, offset_minutes, technician, source, kind, heard, clip, certainty, body) "
    "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
"""Writes what `row_of` gives."""


def row_of(entry: Entry, number: int) -> list[object]:
    """The row of an entry; `number` is its job's in this database."""
    data = entry_to_json(entry)
    body = json.dumps(data["body"], ensure_ascii=False, separators=(",", ":"))
    before = (data["id"], number, data["at_utc"], data["offset_minutes"], data["technician"], data["source"])
    return [*before, data["body"]["kind"], data["heard"], data["clip"], data["certainty"], body]


def number_given(inserted: sqlite3.Cursor) -> int:
    """The number that the database gave to the row that was just inserted."""
    assert inserted.lastrowid is not None
    return inserted.lastrowid


def entry_of(row: tuple[object, ...]) -> tuple[int, Entry]:
    """The sequence number and the entry of a row; `BadInput` when it is none this version knows."""
    seq, *fields, body = row
    return int(str(seq)), entry_from(fields, json.loads(str(body)))


def parsed(text: str | bytes) -> Any:
    """JSON in which no object names a field twice, of which one alone would be seen; `ValueError` for any other."""
    return json.loads(text, object_pairs_hook=_fields)


def _fields(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    fields = dict(pairs)
    if len(fields) != len(pairs):
        raise ValueError("a field is named twice")
    return fields


_NAMES = ("id", "job", "at_utc", "offset_minutes", "technician", "source", "heard", "clip", "certainty")


def entry_from(fields: Sequence[object], body: object) -> Entry:
    """The entry of a row's `FIELDS` whose body's JSON was read already; `BadInput` as `entry_of`."""
    return entry_from_json({**dict(zip(_NAMES, fields, strict=True)), "body": body})


def check(entry: Entry) -> None:
    """Refuse what could not be read back or found again.

    Raises:
        BadInput: naming what is wrong.
    """
    for name, text in (("entry", entry.id), ("job", entry.job)):
        if not _is_uuid7(text):
            raise BadInput(f"{name} identifier {text[:80]!r} is no UUIDv7 in lower case: nothing was saved")
    if entry.clip:
        check_sha256(entry.clip)
    if isinstance(entry.body, Photo):
        check_sha256(entry.body.sha256)
    texts = (entry.technician, entry.heard, json.dumps(body_to_json(entry.body), ensure_ascii=False))
    if any(not _is_sound(text) for text in texts):
        raise BadInput(f"entry {entry.id} holds half a character: type the words anew; nothing was saved")
    if entry_from_json(entry_to_json(entry)) != replace(entry, at_utc=to_milliseconds(entry.at_utc)):
        raise BadInput(f"entry {entry.id} would not read back as it was written: nothing was saved")


def _is_sound(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def check_about(entry: Entry, found: Entry) -> None:
    """Refuse what cannot be said about another entry; `BadInput` says why."""
    match entry.body:
        case Withdrawal() if isinstance(found.body, JobOpened):
            raise BadInput("a job's opening cannot be taken back: correct it, close the job, or erase it")
        case Answer() if not isinstance(found.body, Question):
            raise BadInput(f"entry {found.id} asks nothing: correct it instead")
        case Answer(choice=int(choice)) if isinstance(found.body, Question):
            if not 0 <= choice < len(found.body.options):
                raise BadInput(f"answer {choice + 1}: the question has the options 1 to {len(found.body.options)}")
        case PartAnswer() if not isinstance(found.body, PartWanted):
            raise BadInput(f"entry {found.id} wants no part: name the entry that does")
        case _:
            pass


def _is_uuid7(text: str) -> bool:
    try:
        value = uuid.UUID(text)
    except ValueError:
        return False
    return str(value) == text and value.version == 7
