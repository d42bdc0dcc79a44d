"""A stored job in, its findings out, with what the shop's own closed jobs teach; its headline is kept for lists."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Iterable
from dataclasses import replace

from journal.analysis import Findings, diagnose
from journal.analysis.causes.history import ClosedJob, History, closed_job, learn
from journal.errors import RecordError
from journal.machine import EarlierJobs
from journal.record.job import Job, JobState
from journal.record.store import Store

SWITCH = "JOURNAL_HISTORY"
"""Environment variable; `off` leaves the packaged base rates as they are."""

MOST_CLOSED = 200
"""So many closed jobs, the latest, teach; enough to move the base rates, few enough to read at each start."""


class ClosedJobs:
    """The shop's latest closed jobs as teachers: each is read once, the list of them is always as it is on disk."""

    def __init__(self) -> None:
        """Nothing is read before it is asked for."""
        self._lock = threading.Lock()
        self._read: dict[tuple[str, int], ClosedJob | None] = {}
        self._learnt: History | None = None

    def history(self, store: Store, besides: str = "") -> History | None:
        """What they teach; none when there are none, or when it is switched off.

        Args:
            store: the journal.
            besides: identifier of a job that must not teach, as it is the one under study.
        """
        if os.environ.get(SWITCH, "").strip().lower() == "off":
            return None
        with self._lock:
            self._look(store)
            if not any(job == besides for job, _ in self._read):
                return self._learnt
            return _history(taught for (job, _), taught in self._read.items() if job != besides)

    def _look(self, store: Store) -> None:
        """Read what was closed, or got another entry, since the last look."""
        lines = store.jobs(state=JobState.CLOSED, teaching=True, limit=MOST_CLOSED)
        keys = [(line.id, line.entries) for line in lines]
        if keys == list(self._read):
            return
        self._read = {key: self._read[key] if key in self._read else closed_job(store.job(key[0])) for key in keys}
        self._learnt = _history(self._read.values())


def _history(taught: Iterable[ClosedJob | None]) -> History | None:
    history = learn(job for job in taught if job is not None)
    return history if history.jobs else None


def study(
    store: Store, job_id: str, closed: ClosedJobs | None = None, earlier: EarlierJobs | None = None
) -> tuple[Job, Findings]:
    """A job as it stands and everything stated about it.

    Args:
        store: the journal.
        job_id: identifier of the job.
        closed: the closed jobs read so far, for a process that studies more than once.
        earlier: the earlier jobs on machines read so far, for the same.

    Raises:
        NotFound: when there is no such job.
    """
    history = (closed or ClosedJobs()).history(store, job_id)
    job = store.job(job_id)
    before = (earlier or EarlierJobs()).of(store, job)
    findings = diagnose(weighed(job), history=history, earlier=before)
    keep_summary(store, job, findings)
    return job, findings


def weighed(job: Job) -> Job:
    """The job without what no finding rests on, so that a photo or a note need not have everything worked out anew.

    Only what is left here is ever given to the analysis: two jobs that are equal so have the same findings.
    """
    return replace(
        job, complaint="", technicians=(), facts={}, notes=(), pictures=(), seen={}, edits={}, entries=(),
        effective={}, replaced_by={},
    )  # fmt: skip


def keep_summary(store: Store, job: Job, findings: Findings) -> None:
    """Keep the headline, standings and causes for the list of jobs and its search."""
    standings = {c.cylinder: str(c.standing) for run in findings.runs for c in run.contributions}
    standings |= {low.cylinder: str(low.standing) for low in findings.cylinders}
    causes = [low.causes[0].name for low in findings.cylinders if low.causes]
    # Another program may hold the journal just now; what is kept can be made again from the entries at any time.
    with contextlib.suppress(RecordError):
        store.note_summary(job.id, findings.headline, standings, causes="; ".join(causes))
