"""The jobs a store has read already, so that only what is new of one must be read again."""

from __future__ import annotations

import contextlib
from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass

from sqlite_utils import Database

from journal.facts import Entry
from journal.record import rows
from journal.record.job import Job
from journal.record.replay import replay
from journal.record.resolve import in_order

_MOST = 3
"""How many jobs are kept: as many as are worked on at once."""


@dataclass
class _Kept:
    count: int
    last_seq: int
    entries: list[Entry]
    job: Job | None = None


class KeptJobs:
    """Entries and jobs of the few jobs last asked for, always as they are on disk now."""

    def __init__(self, db: Database) -> None:
        """Nothing is read before it is asked for."""
        self._db = db
        self._kept: OrderedDict[int, _Kept] = OrderedDict()

    def entries(self, number: int) -> list[Entry]:
        """The entries of the job with that number in this database, in order."""
        return self._up_to_date(number).entries

    def job(self, number: int) -> Job:
        """The job they replay to."""
        kept = self._up_to_date(number)
        if kept.job is None:
            kept.job = replay(kept.entries)
        return kept.job

    @contextlib.contextmanager
    def forgetting(self) -> Iterator[None]:
        """Forget all when the block fails: the sequence numbers seen in a failed transaction are given out again."""
        try:
            yield
        except BaseException:
            self._kept.clear()
            raise

    def _up_to_date(self, number: int) -> _Kept:
        sql = "SELECT count(*), coalesce(max(seq), 0) FROM entries WHERE job = ?"
        count, last = self._db.execute(sql, [number]).fetchone()
        kept = self._kept.pop(number, None) or _Kept(0, 0, [])
        if (kept.count, kept.last_seq) != (count, last):
            new = self._since(number, kept.last_seq)
            if kept.count + len(new) != count:  # some are gone: read all of it
                kept, new = _Kept(0, 0, []), self._since(number, 0)
            kept = _Kept(count, last, in_order([*kept.entries, *new]))
        self._kept[number] = kept
        while len(self._kept) > _MOST:
            self._kept.popitem(last=False)
        return kept

    def _since(self, number: int, seq: int) -> list[Entry]:
        found = self._db.execute(f"{rows.SELECT} WHERE e.job = ? AND e.seq > ?", [number, seq])
        return [rows.entry_of(row)[1] for row in found]
