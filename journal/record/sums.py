"""Sums over all that a journal holds, signed together by its key: nothing changes past the program unnoticed.

Each table of facts has a sum: that of a hash of every row, 2,048 bits wide, so that a row is added or taken away
without reading the others: the incremental multiset hash of M. Bellare and D. Micciancio, "A new paradigm for
collision-free hashing", Eurocrypt 1997 (cited from memory). Entries are summed by their seals, with their number.

The sums are signed anew only where the signature before fits the sums before. What was changed past the program, or
written after the key was lost, is never signed over: `troubles` finds it however much is written afterwards.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from sqlite_utils import Database

from journal.record.keys import KEY_NAME, JournalKey, name_of, signed_by
from journal.record.rows import number_given

_ALONE, _ALL = b"cutout journal sum\n", b"cutout journal sums\n"
_BYTES = 256
_WHOLE = 1 << 8 * _BYTES
REMEDY = "restore it from a backup"

_WATCHED = {
    "jobs": "SELECT id, code, reference, teaches FROM jobs",
    "copies_only": "SELECT sha256 FROM copies_only",
    "clips_let_go": "SELECT sha256, at_utc FROM clips_let_go",
}
"""Tables that hold what no entry says, each with what is summed of it."""
_CALLED = {
    "jobs": "the jobs' references, or which of them teach, are",
    "copies_only": "the list of photos that came as copies only is",
    "clips_let_go": "the list of sounds that were let go is",
}


@dataclass(frozen=True)
class Sums:
    """What a journal's database says of itself."""

    count: int
    """How many entries it holds."""
    entries: bytes
    """The sum over them, 256 bytes."""
    others: Mapping[str, bytes] = field(default_factory=dict)
    """The sums over the other tables, 256 bytes each; none in a journal of an earlier version, until it is written."""
    signer: bytes = b""
    """Public key of who signed; empty where nobody did."""
    signature: bytes = b""
    """Ed25519 over `message`; stale once what it was made over was changed past the program."""

    def message(self) -> bytes:
        """What is signed."""
        if not self.others:
            return _ALONE + b"%d\n" % self.count + self.entries
        others = b"".join(name.encode() + b"\n" + total for name, total in sorted(self.others.items()))
        return _ALL + b"%d\n" % self.count + self.entries + others

    def fits(self) -> bool:
        """Whether its signer's signature is of what it says."""
        return bool(self.signer) and signed_by(self.signer, self.signature, self.message())


def term(row: bytes) -> int:
    """What one row adds to a sum."""
    return int.from_bytes(hashlib.shake_128(row).digest(_BYTES), "big")


def in_bytes(total: int) -> bytes:
    """A sum of terms as it is kept, 256 bytes."""
    return (total % _WHOLE).to_bytes(_BYTES, "big")


def read(db: Database) -> Sums | None:
    """What the database says of itself; none where that is gone, or is no sum."""
    sql = "SELECT s.entries, s.total, k.key, s.signature FROM sealed s LEFT JOIN signers k ON k.number = s.signer"
    count, entries, signer, signature = db.execute(sql).fetchone() or (None, None, None, None)
    others = dict(db.execute("SELECT subject, total FROM sums"))
    if not isinstance(count, int) or not isinstance(entries, bytes):
        return None
    if not all(isinstance(total, bytes) for total in others.values()):
        return None
    return Sums(count, entries, others, *(one if isinstance(one, bytes) else b"" for one in (signer, signature)))


def begin(db: Database, count: int, entries: int) -> None:
    """Write the first sum over the entries, signed by nobody yet."""
    db.execute("INSERT INTO sealed VALUES (1, ?, ?, NULL, NULL)", [count, in_bytes(entries)])


def sign_first(db: Database, key: JournalKey) -> None:
    """Sign for the first time, with the key that was just made, in a journal in which nothing was ever signed."""
    found = read(db)
    if found is not None and not found.signer and not _ever_signed(db):
        _write(db, replace(found, others=_worked_out(db)), key)


def change(db: Database, key: JournalKey, *, count: int = 0, entries: int = 0, table: str = "", by: int = 0) -> None:
    """Bring the sums up to date within the transaction that changes rows, and sign them if they were signed before.

    Args:
        db: the journal's database, the rows already changed.
        key: the journal's key.
        count: how many entries more (or fewer).
        entries: the terms that the sum over the entries grows by.
        table: another table that was changed.
        by: the terms that its sum grows by.
    """
    found = read(db)
    if found is None:
        return
    signs = _may_sign(db, found, key)
    others = dict(found.others)
    if signs and not others:
        others = _worked_out(db)
    elif table in others:
        others[table] = in_bytes(int.from_bytes(others[table], "big") + by)
    total = in_bytes(int.from_bytes(found.entries, "big") + entries)
    _write(db, replace(found, count=found.count + count, entries=total, others=others), key if signs else None)


@contextlib.contextmanager
def kept(db: Database, key: JournalKey, table: str, where: str, values: Sequence[object]) -> Iterator[None]:
    """Keep a table's sum right while the block changes those of its rows that a condition names."""
    sql = f"{_WATCHED[table]} WHERE {where}"
    before = _sum(table, db.execute(sql, list(values)))
    yield
    after = _sum(table, db.execute(sql, list(values)))
    if after != before:
        change(db, key, table=table, by=after - before)


def troubles(db: Database, public: bytes, count: int, entries: int) -> Iterator[str]:
    """What does not fit the sums, or the sums' signature; a line each.

    Args:
        db: the journal's database.
        public: the journal's public key; empty where its file is gone.
        count: how many sealed entries there are.
        entries: the sum of their terms.
    """
    found = read(db)
    if found is None:
        yield f"the sum over all entries is gone: {REMEDY}"
        return
    if (found.count, found.entries) != (count, in_bytes(entries)):
        yield f"the sum over all entries does not fit them: some are gone or were changed; {REMEDY}"
    for table, total in _worked_out(db).items():
        if found.others and found.others.get(table) != total:
            yield f"{_CALLED[table]} not what this program wrote: {REMEDY}"
    if not found.signer:
        # Made by the program, a key signs at once: only a journal without one is from before there were keys.
        if _ever_signed(db) or (public and _ever_held_an_entry(db)):
            yield f"the signature of the sum over all entries is gone; {REMEDY}"
    elif not public:
        yield f"{KEY_NAME} is gone: {REMEDY} before anything is written; what is written meanwhile is not vouched for"
    elif found.signer != public:
        yield (
            f"the sum over all entries is signed by {name_of(found.signer)}, which is not this journal: {KEY_NAME} was "
            f"lost or exchanged, and changes past this program since may not be found; {REMEDY}"
        )
    if found.signer and not found.fits():
        yield f"the sum over all entries is not signed: what it is of was changed by another program; {REMEDY}"


def _may_sign(db: Database, found: Sums, key: JournalKey) -> bool:
    if not found.signer:  # the key was written, and the program killed before it signed
        return not _ever_signed(db) and not _ever_held_an_entry(db)
    return found.signer == key.public and found.fits()


def _write(db: Database, sums: Sums, key: JournalKey | None) -> None:
    db.execute("UPDATE sealed SET entries = ?, total = ?", [sums.count, sums.entries])
    db.conn.executemany("INSERT OR REPLACE INTO sums VALUES (?, ?)", list(sums.others.items()))
    if key is not None:
        signed = [signer(db, key.public), key.sign(sums.message())]
        db.execute("UPDATE sealed SET signer = ?, signature = ?", signed)


def signer(db: Database, key: bytes) -> int:
    """The number of a key in this database; it gets one where it has none."""
    row = db.execute("SELECT number FROM signers WHERE key = ?", [key]).fetchone()
    if row is not None:
        return int(row[0])
    return number_given(db.execute("INSERT INTO signers (key) VALUES (?)", [key]))


def _worked_out(db: Database) -> dict[str, bytes]:
    return {table: in_bytes(_sum(table, db.execute(sql))) for table, sql in _WATCHED.items()}


def _sum(table: str, rows: Iterable[Sequence[object]]) -> int:
    return sum(term(f"{table} {json.dumps(row, default=repr)}".encode()) for row in rows)


def _ever_signed(db: Database) -> bool:
    return db.execute("SELECT 1 FROM signers UNION ALL SELECT 1 FROM sums").fetchone() is not None


def _ever_held_an_entry(db: Database) -> bool:
    sql = "SELECT 1 FROM sqlite_sequence WHERE name = 'entries' AND seq > 0 UNION ALL SELECT 1 FROM entries"
    return db.execute(sql).fetchone() is not None
