"""Toward the end of a job: putting back, repairing, ordering against the gate, closing with the cause, reopening."""

from __future__ import annotations

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from journal.analysis.causes import cause_keys
from journal.analysis.causes.tables import tables
from journal.errors import BadInput
from journal.facts import GateOverridden, JobClosed, JobReopened, PutBack, RepairDone, Restored
from webui.acting import acting, cylinder_of, done, field
from webui.job import about
from webui.live import told
from webui.shop import shop

pages = Blueprint("finish", __name__)

UNKNOWN = "unknown"
"""The cause of a job closed without one having been found."""


@pages.get("/job/<job_id>/finish")
def finish(job_id: str) -> ResponseReturnValue:
    """What is left to do, and the way to close."""
    state = shop().state(job_id)
    likely = [found.causes[0] for found in state.findings.cylinders if found.causes]
    return render_template(
        "finish.html", **about(state, "finish"), causes=causes(), likely=likely[0] if likely else None
    )


def causes() -> list[tuple[str, str]]:
    """Every cause a job can be closed with: key and name."""
    rows = tables().causes
    return [*((key, rows[key].name) for key in cause_keys()), (UNKNOWN, "not found")]


@pages.post("/job/<job_id>/put-back")
def put_back(job_id: str) -> ResponseReturnValue:
    """Say that something is as it belongs again."""
    session = acting(job_id)
    what = field("what", 40)
    if what not in session.job.outstanding:
        raise BadInput("nothing of that kind is waiting to be put back: reload the page")
    session.enter(PutBack(Restored(what)))
    return told(f"{what} put back", _address(job_id))


@pages.post("/job/<job_id>/repaired")
def repaired(job_id: str) -> ResponseReturnValue:
    """Say what was repaired."""
    session = acting(job_id)
    words = field("text", 400)
    if not words:
        raise BadInput("what was repaired is empty: say it in a few words")
    session.enter(RepairDone(words, cylinder_of(session.job)))
    done("repair noted; run the same cut-out test again, and say that it is after the repair")
    return _back(job_id)


@pages.post("/job/<job_id>/order-anyway")
def order_anyway(job_id: str) -> ResponseReturnValue:
    """Order a cause's part although checks are missing; the reason is kept and shown wherever the part is."""
    session = acting(job_id)
    cause = field("cause", 60)
    if cause not in cause_keys():
        raise BadInput("that cause is not known: reload the page")
    session.enter(GateOverridden(cause, cylinder_of(session.job), field("reason", 400)))
    done("recorded with its reason; the missing checks stay listed")
    return _back(job_id, "job.overview")


@pages.post("/job/<job_id>/close")
def close(job_id: str) -> ResponseReturnValue:
    """End the job with the cause that was found."""
    session = acting(job_id)
    job = session.job
    if job.closed is not None:
        raise BadInput("this job is closed already: reopen it to go on")
    cause = field("cause", 60)
    if cause not in (*cause_keys(), UNKNOWN):
        raise BadInput("say which cause was found, or that none was")
    if job.outstanding and not field("anyway", 5):
        what = " and ".join(str(what) for what in job.outstanding)
        raise BadInput(f"not put back yet: {what}. Put it back first, or tick that the job closes all the same")
    if job.waiting and not field("anyway", 5):
        prompt = job.waiting[-1].question.body.prompt
        raise BadInput(f"a question still waits: {prompt} Answer it first, or tick that the job closes all the same")
    session.enter(JobClosed(cause, cylinder_of(job), field("text", 400)))
    shop().listener.stop(job_id)
    done("closed")
    return _back(job_id)


@pages.post("/job/<job_id>/reopen")
def reopen(job_id: str) -> ResponseReturnValue:
    """Go on with a closed job."""
    session = acting(job_id)
    if session.job.closed is None:
        raise BadInput("this job is open already")
    session.enter(JobReopened())
    done("open again")
    return _back(job_id)


def _back(job_id: str, page: str = "finish.finish") -> ResponseReturnValue:
    return redirect(_address(job_id, page), 303)


def _address(job_id: str, page: str = "finish.finish") -> str:
    """The page that a form came from, else the one given."""
    asked = {"live": "live.live", "overview": "job.overview", "finish": "finish.finish"}
    return url_for(asked.get(request.form.get("back", ""), page), job_id=job_id)
