"""The question that waits for the technician, for the head of every page that they look at."""

from __future__ import annotations

from dataclasses import dataclass

from flask import g, request

from journal.errors import JournalError
from journal.facts import Question
from journal.record.job import Fact, Job
from webui.shop import shop

_OWN_WAY = ("live", "desk", "phone")
"""Modules whose pages show no such head: the live page has the question itself, the others are not the technician's."""


@dataclass(frozen=True)
class Waits:
    """A question that waits."""

    job: str
    """Identifier of its job."""
    unit: str
    """The machine, where the page is not one of that job's own."""
    question: Fact[Question]
    """The question asked last."""


def waits() -> Waits | None:
    """What waits on the page's own job, or on the job in hand where the page is of none; none for strangers."""
    if g.get("visitor") is None or request.blueprint in _OWN_WAY:
        return None
    job_id = (request.view_args or {}).get("job_id")
    try:
        if job_id is not None:
            return _last(shop().state(job_id).job, "")
        open_now = shop().store.latest_open()
        if open_now is None or not shop().store.line(open_now).waiting:
            return None
        job = shop().store.job(open_now)
        return _last(job, job.unit)
    except JournalError:
        return None


def _last(job: Job, unit: str) -> Waits | None:
    return Waits(job.id, unit, job.waiting[-1].question) if job.waiting and job.closed is None else None
