"""What stands beside each entry: its checksum and who signed it, so that none can be changed or go unnoticed.

An entry's checksum is the SHA-256 of its fields as JSON (`digest`). The journal it was made in signs that checksum with
its key (`journal.record.keys`); checksum and signature stay with the entry when it is packed and unpacked. An entry
made before there were keys has a checksum of the journal it lies in, and no signature.

All seals are summed up, and the sum is signed (`journal.record.sums`): whoever has no key can neither change, add nor
remove an entry without `troubles` finding it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlite_utils import Database

from journal.facts import Entry
from journal.facts.codec import entry_to_json
from journal.record import rows, sums
from journal.record.keys import JournalKey, signed_by
from journal.record.rows import parsed
from journal.record.sums import REMEDY

_ENTRY = b"cutout journal entry\n"
_INSERT = "INSERT INTO seals (seq, sha256, signer, signature, carried) VALUES (?, ?, ?, ?, ?)"
_SEALED = "SELECT seq, sha256, signer, signature, carried FROM seals"


@dataclass(frozen=True)
class Signature:
    """Who vouches for an entry."""

    key: bytes
    """The signing journal's public key, 32 bytes."""
    signature: bytes
    """Ed25519 over `message` of the entry's checksum, 64 bytes."""


@dataclass(frozen=True)
class Arrived:
    """An entry that was just written into the database."""

    seq: int
    """Its number of arrival."""
    entry: Entry
    """The entry as it is on disk."""
    signature: Signature | None = None
    """The signature it came with; none for one made here, or made where nothing was signed."""


def digest(entry: Entry) -> bytes:
    """An entry's checksum: SHA-256 of its fields, in the order of a pack's line, as compact JSON with sorted keys."""
    data = entry_to_json(entry)
    return _digest(tuple(data.values())[:-1], data["body"])


def _digest(fields: Sequence[object], body: object) -> bytes:
    return hashlib.sha256(_as_json([*fields, body]).encode()).digest()


_as_json = json.JSONEncoder(sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode
"""Made once: an encoder for each entry would take longer than the checksum."""


def message(sha256: bytes) -> bytes:
    """What is signed for an entry with that checksum."""
    return _ENTRY + sha256


def add(db: Database, arrived: Iterable[Arrived], key: JournalKey, *, carried: bool) -> None:
    """Seal entries within the transaction that wrote them.

    Args:
        db: the journal's database.
        arrived: the entries.
        key: the journal's key; signs the sum, and the entries unless they are carried in.
        carried: whether they were made in another journal.
    """
    found = []
    for one in arrived:
        sha256 = digest(one.entry)
        by = one.signature if carried else Signature(key.public, key.sign(message(sha256)))
        signer = None if by is None else sums.signer(db, by.key)
        found.append((one.seq, sha256, signer, None if by is None else by.signature, int(carried)))
    db.conn.executemany(_INSERT, found)
    sums.change(db, key, count=len(found), entries=_summed(db, found))


def remove(db: Database, job: int, key: JournalKey) -> None:
    """Take a job's seals away with its entries, in the same transaction."""
    gone = db.execute(f"{_SEALED} WHERE seq IN (SELECT seq FROM entries WHERE job = ?)", [job]).fetchall()
    db.execute("DELETE FROM seals WHERE seq IN (SELECT seq FROM entries WHERE job = ?)", [job])
    sums.change(db, key, count=-len(gone), entries=-_summed(db, gone))


def seal_all(db: Database) -> None:
    """Give every entry of a journal from before there were seals its checksum."""
    count = total = 0
    # All keys first: the rows themselves may be too many for the memory.
    for (seq,) in db.execute("SELECT seq FROM entries").fetchall():
        _, *fields, body = db.execute(f"{rows.SELECT} WHERE e.seq = ?", [seq]).fetchone()
        seal = (seq, _digest(fields, _parsed(body)), None, None, 0)
        db.execute(_INSERT, seal)
        count, total = count + 1, total + _term(seal, {})
    sums.begin(db, count, total)


def _summed(db: Database, seals: Iterable[Sequence[Any]]) -> int:
    keys = _keys(db)
    return sum(_term(seal, keys) for seal in seals)


def _keys(db: Database) -> dict[int, bytes]:
    return dict(db.execute("SELECT number, key FROM signers"))


def _term(seal: Sequence[Any], keys: Mapping[int, bytes]) -> int:
    seq, sha256, signer, signature, carried = seal
    text = b"%d %d " % (seq, carried) + _bytes(sha256) + keys.get(signer, b"") + _bytes(signature)
    return sums.term(text)


def _bytes(value: object) -> bytes:
    return value if isinstance(value, bytes) else str(value or "").encode()


# Reading


def signatures(db: Database, job: int) -> dict[str, Signature]:
    """Who signed which of a job's entries, by the entry's identifier; unsigned ones are left out.

    Where the seals themselves are gone, which `troubles` tells, nothing is signed and the entries can still be read.
    """
    if _are_gone(db):
        return {}
    sql = (
        "SELECT e.id, k.key, s.signature FROM entries e JOIN seals s ON s.seq = e.seq "
        "JOIN signers k ON k.number = s.signer WHERE e.job = ?"
    )
    # What is no bytes was put there by another program, and is refused as such.
    found = db.execute(sql, [job])
    return {str(id_): Signature(bytes(memoryview(key)), bytes(memoryview(by))) for id_, key, by in found}


def carried(db: Database, job: int) -> set[str]:
    """A job's entries, by identifier, that were made in another journal; none where the seals are gone."""
    if _are_gone(db):
        return set()
    sql = "SELECT e.id FROM entries e JOIN seals s ON s.seq = e.seq WHERE e.job = ? AND s.carried"
    return {str(id_) for (id_,) in db.execute(sql, [job])}


def _are_gone(db: Database) -> bool:
    return not {"seals", "signers"} <= set(db.table_names())


Read = tuple[Sequence[object], object]
"""An entry's row as it was read: its fields as `rows.FIELDS` lists them, and its body's JSON."""


def troubles(
    db: Database, public: bytes, of_job: Callable[[Sequence[Read]], Iterable[str]] = lambda read: ()
) -> Iterator[str]:
    """Every entry that is not what it was when it came, that came past the program, or that is gone; a line each.

    Args:
        db: the journal's database.
        public: the journal's public key; empty where its file is gone.
        of_job: is handed each job's entries by order of arrival, so that they are read once; what it tells is told too.
    """
    keys = _keys(db)
    said = sums.read(db)
    # What the sum's signer signed is covered by the sum's signature; a signature each would take minutes.
    covered = said.signer if said is not None and said.fits() else None
    found = summed = 0
    sql = (
        f"SELECT e.job, s.sha256, s.signer, s.signature, s.carried, e.seq, e.kind, {rows.FIELDS} FROM entries e "
        "JOIN jobs ON jobs.number = e.job LEFT JOIN seals s ON s.seq = e.seq ORDER BY e.job, e.seq"
    )
    read: list[Read] = []
    job = None
    for number, sha256, signer, signed, carried, seq, kind, *fields, text in db.execute(sql):
        if number != job and read:
            yield from of_job(read)
            read = []
        job, body = number, _parsed(text)
        read.append((fields, body))
        if sha256 is None:
            yield f"entry {fields[0]} was not written by this program: {REMEDY}"
            continue
        found += 1
        summed += _term((seq, sha256, signer, signed, carried), keys)
        key = keys.get(signer or 0, b"")
        if signer is not None and key != covered and not signed_by(key, _bytes(signed), message(_bytes(sha256))):
            yield f"entry {fields[0]} does not fit its signature: {REMEDY}"
            continue
        # The column of the kind only finds entries sooner; no checksum holds it, the body has the kind itself.
        if _digest(fields, body) != sha256 or not isinstance(body, dict) or body.get("kind") != kind:
            yield f"entry {fields[0]} was changed: {REMEDY}"
    if read:
        yield from of_job(read)
    for (seq,) in db.execute("SELECT seq FROM seals WHERE seq NOT IN (SELECT seq FROM entries) ORDER BY seq"):
        yield f"the entry that came as number {seq} is gone: {REMEDY}"
    yield from sums.troubles(db, public, found, summed)


def _parsed(body: object) -> object:
    """The body's JSON; the text itself where it is none."""
    try:
        return parsed(str(body))
    except (ValueError, RecursionError):
        return body
