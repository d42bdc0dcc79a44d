"""Who was let in and for what: browsers and devices, and links to one job for the parts desk or a phone."""

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
from journal.record.privacy import begin_private

FILE_NAME = "page.db"
"""Beside the journal's own database; it holds no fact of any job."""

ADMITTED_HOURS = 12
"""How long after it was let in a browser or device gets in, however much it is used meanwhile."""

CLOCK_AHEAD = timedelta(minutes=1)
"""How far ahead of now an admission may be dated: one dated further on, by a clock set back since, would not end."""


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

    def open_now(self) -> bool:
        """Whether it opens its job now."""
        return self.open_at(datetime.now(UTC))


class DeviceKind(StrEnum):
    """How a browser came to be let in."""

    OWN = "own"
    """On the journal's own machine, by the address that was shown where the journal was started."""
    CODE = "code"
    """By the code."""


@dataclass(frozen=True)
class Device:
    """A browser or device that was let in."""

    id: str
    """Random, 96 bits."""
    admitted_at: datetime
    """When, UTC."""
    kind: DeviceKind
    """How it came to be let in."""
    name: str = ""
    """What the shop calls it; empty when it was not said."""

    @property
    def until(self) -> datetime:
        """When it gets in no more, UTC."""
        return self.admitted_at + timedelta(hours=ADMITTED_HOURS)


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
                " withdrawn INTEGER NOT NULL DEFAULT 0, kind TEXT NOT NULL DEFAULT 'code');"
            )
            if "kind" not in db["devices"].columns_dict:  # made by an earlier version
                db.execute("ALTER TABLE devices ADD COLUMN kind TEXT NOT NULL DEFAULT 'code'")
            if "name" not in db["devices"].columns_dict:
                db.execute("ALTER TABLE devices ADD COLUMN name TEXT NOT NULL DEFAULT ''")

    @contextlib.contextmanager
    def _open(self) -> Iterator[Database]:
        begin_private(self._path)
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

    def open_links(self) -> list[Link]:
        """Every link of any job that opens something now, newest first."""
        with self._open() as db:
            now = time_to_text(datetime.now(UTC))
            rows = db.execute(f"{_LINKS} WHERE withdrawn = 0 AND expires_at > ? ORDER BY made_at DESC", [now])
            return [_link(row) for row in rows.fetchall()]

    def admit(self, kind: DeviceKind = DeviceKind.CODE, name: str = "") -> str:
        """Let a browser or device in; its identifier for the signed cookie."""
        device = secrets.token_urlsafe(12)
        with self._open() as db:
            db.execute(
                "INSERT INTO devices (id, admitted_at, kind, name) VALUES (?, ?, ?, ?)",
                [device, time_to_text(datetime.now(UTC)), kind.value, name],
            )
        return device

    def admitted(self, device: str) -> DeviceKind | None:
        """How a device was let in, while that lasts and it was not put out; none otherwise."""
        with self._open() as db:
            row = db.execute(f"SELECT kind FROM devices WHERE id = ? AND {_IS_IN}", [device, *_in_time()]).fetchone()
        return None if row is None else DeviceKind(row[0])

    def devices(self) -> list[Device]:
        """Every browser and device that gets in now, newest first."""
        with self._open() as db:
            rows = db.execute(
                f"SELECT id, admitted_at, kind, name FROM devices WHERE {_IS_IN} ORDER BY admitted_at DESC",
                [*_in_time()],
            ).fetchall()
        return [Device(id_, time_from_text(at), DeviceKind(kind), name) for id_, at, kind, name in rows]

    def call(self, device: str, name: str) -> bool:
        """Give a device a name; false when there is no such device."""
        with self._open() as db:
            return db.execute("UPDATE devices SET name = ? WHERE id = ?", [name, device]).rowcount > 0

    def put_out(self, device: str) -> bool:
        """Put a device out; its cookie no longer counts. False when there is no such device."""
        with self._open() as db:
            return db.execute("UPDATE devices SET withdrawn = 1 WHERE id = ?", [device]).rowcount > 0


_IS_IN = "withdrawn = 0 AND admitted_at > ? AND admitted_at <= ?"
"""Who gets in, said once: what is listed is what gets in."""


def _in_time() -> tuple[str, str]:
    now = datetime.now(UTC)
    return time_to_text(now - timedelta(hours=ADMITTED_HOURS)), time_to_text(now + CLOCK_AHEAD)


_LINKS = "SELECT id, job, kind, made_at, expires_at, withdrawn FROM links"


def _link(row: tuple[str, str, str, str, str, int]) -> Link:
    id_, job, kind, made, expires, withdrawn = row
    return Link(id_, job, LinkKind(kind), time_from_text(made), time_from_text(expires), bool(withdrawn))
