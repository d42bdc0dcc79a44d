"""A stored job in, its findings out, with what the shop's own closed jobs teach; its headline is kept for lists."""

from __future__ import annotations

import contextlib
import os

from journal.analysis import Findings, diagnose
from journal.analysis.history import History, closed_job, learn
from journal.errors import RecordError
from journal.record.job import Job, JobState
from journal.record.store import Store

SWITCH = "JOURNAL_HISTORY"
"""Environment variable; `off` leaves the packaged base rates as they are."""

MOST_CLOSED = 200
"""So many closed jobs, the latest, teach; enough to move the base rates, few enough to read at each start."""


def study(store: Store, job_id: str) -> tuple[Job, Findings]:
    """A job as it stands and everything stated about it.

    Raises:
        NotFound: when there is no such job.
    """
    job = store.job(job_id)
    findings = diagnose(job, history=history_of(store, job_id))
    keep_summary(store, job, findings)
    return job, findings


def history_of(store: Store, besides: str = "") -> History | None:
    """What the latest closed jobs teach; none when there are none, or when it is switched off.

    Args:
        store: the journal.
        besides: identifier of a job that must not teach, as it is the one under study.
    """
    if os.environ.get(SWITCH, "").strip().lower() == "off":
        return None
    lines = store.jobs(state=JobState.CLOSED, limit=MOST_CLOSED)
    closed = (closed_job(store.job(line.id)) for line in lines if line.id != besides)
    history = learn(job for job in closed if job is not None)
    return history if history.jobs else None


def keep_summary(store: Store, job: Job, findings: Findings) -> None:
    """Keep the headline, standings and causes for the list of jobs and its search."""
    standings = {c.cylinder: str(c.standing) for run in findings.runs for c in run.contributions}
    standings |= {low.cylinder: str(low.standing) for low in findings.cylinders}
    causes = [low.causes[0].name for low in findings.cylinders if low.causes]
    # Another program may hold the journal just now; what is kept can be made again from the entries at any time.
    with contextlib.suppress(RecordError):
        store.note_summary(job.id, findings.headline, standings, causes="; ".join(causes))
