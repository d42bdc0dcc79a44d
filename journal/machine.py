"""A stored job in; what earlier jobs on the same machine, by serial number or by name, leave to compare with out."""

from __future__ import annotations

import threading
from collections import OrderedDict

from journal.analysis import diagnose
from journal.analysis.between.machine import Earlier, remembered
from journal.errors import JournalError
from journal.record.job import Job
from journal.record.lines import JobLine
from journal.record.store import Store

MOST_EARLIER = 5
"""So many earlier jobs, the latest, are compared."""

_MOST_LOOKED_AT = 40
"""Among so many jobs that speak of the machine they are looked for."""

_KEPT = 200
"""So many jobs' remains are kept, so that each is worked out once."""


class EarlierJobs:
    """Earlier jobs on a machine, each worked out once for as long as no entry is added to it."""

    def __init__(self) -> None:
        """Nothing is read before it is asked for."""
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[str, int], tuple[str, Earlier]] = OrderedDict()

    def of(self, store: Store, job: Job) -> tuple[Earlier, ...]:
        """What those opened before the job leave, oldest first.

        It is the same machine where the serial numbers are the same, or, where one of the two jobs has none, the names.
        """
        serial = serial_of(job)
        lines = {line.id: line for text in (serial, job.unit) if text.strip() for line in _lines(store, text)}
        found: list[Earlier] = []
        with self._lock:
            for line in sorted(lines.values(), key=lambda line: line.opened_at, reverse=True):
                if line.id == job.id or line.opened_at >= job.opened_at or len(found) == MOST_EARLIER:
                    continue
                named = _plain(line.unit) == _plain(job.unit)
                if not named and not serial:
                    continue
                try:
                    its_serial, earlier = self._read(store, line.id, line.entries, line.reference)
                except JournalError:
                    continue  # One that cannot be read says so where it is looked at.
                if its_serial == serial if its_serial and serial else named:
                    found.append(earlier)
        return tuple(reversed(found))

    def _read(self, store: Store, job_id: str, entries: int, reference: str) -> tuple[str, Earlier]:
        key = (job_id, entries)
        if key not in self._kept:
            job = store.job(job_id)
            self._kept[key] = (serial_of(job), remembered(job, diagnose(job).runs, reference))
        self._kept.move_to_end(key)
        while len(self._kept) > _KEPT:
            self._kept.popitem(last=False)
        return self._kept[key]


def serial_of(job: Job) -> str:
    """The engine's serial number as it is compared, without case or spaces; empty where it was not given."""
    return _plain(job.facts.get("serial", ""))


def _plain(text: str) -> str:
    return "".join(text.split()).casefold()


def _lines(store: Store, text: str) -> list[JobLine]:
    return store.jobs(text=text, limit=_MOST_LOOKED_AT)
