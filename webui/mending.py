"""What was not understood, on the page: put right in words and entered, or settled as not for the journal."""

from __future__ import annotations

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from journal.errors import BadInput, NotFound
from journal.facts import Question
from journal.mending import Doubtful, dismiss, mend
from journal.record.job import Asked, Job
from journal.wording import describe
from journal.wording.types import LONGEST_LINE
from webui.acting import acting, done, entry_of, field, whole
from webui.job import about
from webui.shop import shop

pages = Blueprint("mending", __name__)


@pages.post("/job/<job_id>/not-understood/<entry_id>")
def put_right(job_id: str, entry_id: str) -> ResponseReturnValue:
    """Enter what it should have been, or settle that it was nothing."""
    session = acting(job_id)
    asked = kept(session.job, entry_id)
    if request.form.get("nothing"):
        dismiss(session, asked)
        done("let go: not for the journal")
        return _back(job_id)
    words = field("words", LONGEST_LINE)
    if not words:
        raise BadInput("what it should have been is empty: give the words, or say that it was not for the journal")
    try:
        bodies = mend(session, asked, words, whole("option"))
    except Doubtful as doubt:
        page = render_template(
            "doubtful.html", **about(shop().state(job_id), "review"), asked=asked, words=words, prompt=str(doubt),
            options=doubt.options, back=request.form.get("back", ""),
        )  # fmt: skip
        return page, 409
    done(f"entered: {'; '.join(describe(body) for body in bodies)}")
    return _back(job_id)


@pages.post("/job/<job_id>/not-understood")
def nothing(job_id: str) -> ResponseReturnValue:
    """Settle that none of those shown was for the journal."""
    session = acting(job_id)
    shown = set(request.form.getlist("entry"))
    settled = [asked for asked in session.job.not_understood if asked.question.entry.id in shown]
    if not settled:
        raise BadInput("nothing of that waits any more: reload the page")
    for asked in settled:
        dismiss(session, asked)
    done(f"{len(settled)} let go: not for the journal")
    return _back(job_id)


def kept(job: Job, entry_id: str) -> Asked:
    """What was not understood under this identifier, while it is not settled.

    Raises:
        NotFound: when the job has no such entry, or it is another kind.
        BadInput: when it was settled meanwhile.
    """
    body = entry_of(job, entry_id).body
    if not isinstance(body, Question) or body.options:
        raise NotFound("this is nothing that was not understood; open the job's review to see what is")
    for asked in job.not_understood:
        if asked.question.entry.id == entry_id:
            return asked
    raise BadInput("this was put right meanwhile; correct the entry in the review instead")


def _back(job_id: str) -> ResponseReturnValue:
    page = {"overview": "job.overview"}.get(request.form.get("back", ""), "review.review")
    return redirect(url_for(page, job_id=job_id), 303)
