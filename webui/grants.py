"""Who was let in and for what: devices that gave the code, and links to one job for the parts desk or a phone."""

from __future__ import annotations

import contextlib
import secrets
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from pathlib import Path

from itsdangerous import BadSignature, Signer
from sqlite_utils import Database

from journal.errors import RecordError
from journal.facts.codec import time_from_text, time_to_text

FILE_NAME = "page.db"
"""Beside the journal's own database; it holds no fact of any job."""


class LinkKind(StrEnum):
    """What a link lets its holder do."""

    DESK = "desk"
    PHONE = "phone"


@dataclass(frozen=True)
class Link:
    """A link to one job."""

    id: str
    """Random, 96 bits."""
    job: str
    """The only job it opens."""
    kind: LinkKind
    """What it lets its holder do."""
    made_at: datetime
    """When it was given out, UTC."""
    expires_at: datetime
    """When it ends, UTC."""
    withdrawn: bool = False
    """True once it was taken back."""

    def open_at(self, now: datetime) -> bool:
        """Whether it still opens its job."""
        return not self.withdrawn and now < self.expires_at


@dataclass(frozen=True)
class Device:
    """A device that gave the code."""

    id: str
    """Random, 96 bits."""
    admitted_at: datetime
    """When, UTC."""


class Grants:
    """The links and devices of one journal, on disk so that taking one back outlives a restart."""

    def __init__(self, folder: Path, key: bytes) -> None:
        self._path = folder / FILE_NAME
        self._signer = Signer(key, salt="journal link")
        with self._open() as db:
            db.executescript(
                "CREATE TABLE IF NOT EXISTS links (id TEXT PRIMARY KEY, job TEXT NOT NULL, kind TEXT NOT NULL,"
                " made_at TEXT NOT NULL, expires_at TEXT NOT NULL, withdrawn INTEGER NOT NULL DEFAULT 0);"
                "CREATE INDEX IF NOT EXISTS links_job ON links (job);"
                "CREATE TABLE IF NOT EXISTS devices (id TEXT PRIMARY KEY, admitted_at TEXT NOT NULL,"
                " withdrawn INTEGER NOT NULL DEFAULT 0);"
            )

    @contextlib.contextmanager
    def _open(self) -> Iterator[Database]:
        try:
            db = Database(sqlite3.connect(self._path, timeout=10))
            try:
                with db.conn:
                    yield db
            finally:
                db.close()
        except sqlite3.Error as error:
            raise RecordError(f"{self._path}: {error}; check the folder and the disk") from None

    def give(self, job: str, kind: LinkKind, valid: timedelta) -> Link:
        """A new link to one job."""
        now = datetime.now(UTC)
        link = Link(secrets.token_urlsafe(12), job, kind, now, now + valid)
        with self._open() as db:
            db.execute(
                "INSERT INTO links (id, job, kind, made_at, expires_at) VALUES (?, ?, ?, ?, ?)",
                [link.id, job, kind.value, time_to_text(now), time_to_text(link.expires_at)],
            )
        return link

    def token(self, link: Link) -> str:
        """What stands in the link's address: its identifier, signed."""
        return self._signer.sign(link.id).decode("ascii")

    def link(self, token: str, kind: LinkKind) -> Link | None:
        """The link with this token, open or not; none when the token was never given out or was altered."""
        try:
            link_id = self._signer.unsign(token).decode("ascii")
        except (BadSignature, UnicodeError):
            return None
        # The last character of a signature holds two bits that do not count: only the address given out opens.
        if self._signer.sign(link_id).decode("ascii") != token:
            return None
        with self._open() as db:
            row = db.execute(f"{_LINKS} WHERE id = ? AND kind = ?", [link_id, kind.value]).fetchone()
        return None if row is None else _link(row)

    def links(self, job: str, kind: LinkKind) -> list[Link]:
        """Every link given out to a job, newest first."""
        with self._open() as db:
            rows = db.execute(f"{_LINKS} WHERE job = ? AND kind = ? ORDER BY made_at DESC", [job, kind.value])
            return [_link(row) for row in rows.fetchall()]

    def withdraw(self, job: str, link_id: str) -> bool:
        """Take a job's link back; false when the job has no such link."""
        with self._open() as db:
            changed = db.execute("UPDATE links SET withdrawn = 1 WHERE id = ? AND job = ?", [link_id, job])
            return changed.rowcount > 0

    def admit(self) -> str:
        """Let a device in; its identifier for the signed cookie."""
        device = secrets.token_urlsafe(12)
        with self._open() as db:
            db.execute("INSERT INTO devices (id, admitted_at) VALUES (?, ?)", [device, time_to_text(datetime.now(UTC))])
        return device

    def admitted(self, device: str) -> bool:
        """Whether a device was let in and not put out since."""
        with self._open() as db:
            return bool(db.execute("SELECT 1 FROM devices WHERE id = ? AND withdrawn = 0", [device]).fetchone())

    def devices(self, since: datetime) -> list[Device]:
        """Devices let in since then and not put out, newest first."""
        with self._open() as db:
            rows = db.execute(
                "SELECT id, admitted_at FROM devices WHERE withdrawn = 0 AND admitted_at >= ? "
                "ORDER BY admitted_at DESC",
                [time_to_text(since)],
            ).fetchall()
        return [Device(id_, time_from_text(at)) for id_, at in rows]

    def put_out(self, device: str) -> None:
        """Put a device out; its cookie no longer counts."""
        with self._open() as db:
            db.execute("UPDATE devices SET withdrawn = 1 WHERE id = ?", [device])


_LINKS = "SELECT id, job, kind, made_at, expires_at, withdrawn FROM links"


def _link(row: tuple[str, str, str, str, str, int]) -> Link:
    id_, job, kind, made, expires, withdrawn = row
    return Link(id_, job, LinkKind(kind), time_from_text(made), time_from_text(expires), bool(withdrawn))
