"""The live view beside the scanner: what was heard, the question that waits, and the run filling in."""

from __future__ import annotations

import time
from typing import Any

from flask import Blueprint, Response, redirect, render_template, request, session, url_for
from flask.typing import ResponseReturnValue

from journal.analysis.findings import Contribution, RunFinding
from journal.errors import BadInput, NotFound
from journal.facts import Answer, Entry, Question, Source
from journal.record.job import Asked, Job, Reading, Run
from journal.told import missing_text
from webui.access import visitor
from webui.acting import acting, done, entry_of, field, meant
from webui.job import about
from webui.shop import State, shop
from webui.watch import Heard, heard_in

pages = Blueprint("live", __name__)

FRESH_S = 120.0
"""Seconds after which a session that said nothing is no longer called listening."""


@pages.get("/job/<job_id>/live")
def live(job_id: str) -> ResponseReturnValue:
    """The live page."""
    state = shop().state(job_id)
    return render_template("live.html", **about(state, "live"), **_now(state))


@pages.get("/job/<job_id>/live/now")
def now(job_id: str) -> ResponseReturnValue:
    """What the live page shows now, without the page around it."""
    state = shop().state(job_id)
    return render_template("_now.html", **about(state, "live"), **_now(state))


@pages.get("/job/<job_id>/events")
def events(job_id: str) -> ResponseReturnValue:
    """Server-sent events: `changed` when the job has a new entry, `heard` when a session heard something."""
    shop().state(job_id)
    at, address, device = shop(), request.remote_addr or "", session.get("device")
    stream = at.watcher.stream(job_id, at.store.last_seq(), lambda: visitor(at, address, device) is not None)
    if stream is None:
        return Response("too many live pages are open; close one\n", 503, {"Retry-After": "5"}, "text/plain")
    return Response(stream, 200, {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}, "text/event-stream")


@pages.post("/job/<job_id>/question/<entry_id>")
def answer(job_id: str, entry_id: str) -> ResponseReturnValue:
    """Settle a question by a tap or by other words."""
    acts = acting(job_id)
    asked = waiting(acts.job, entry_id)
    acts.enter(_answer(job_id, asked))
    done("answered")
    back = {"review": "review.review", "overview": "job.overview"}
    page = back.get(request.form.get("back", ""), "live.live")
    return redirect(url_for(page, job_id=job_id), 303)


def waiting(job: Job, entry_id: str) -> Asked:
    """The question with this identifier, while it waits.

    Raises:
        NotFound: when the job has no such question.
        BadInput: when it was settled meanwhile.
    """
    if not isinstance(entry_of(job, entry_id).body, Question):
        raise NotFound("this is no question; open the job's review to see what waits")
    for asked in job.waiting:
        if asked.question.entry.id == entry_id:
            return asked
    raise BadInput("this question was settled meanwhile; correct the reading in the review instead")


def _answer(job_id: str, asked: Asked) -> Answer:
    question = asked.question.entry.id
    choice = field("choice", 20)
    if words := field("words", 200):
        return Answer(question, None, meant(job_id, words))
    if choice == "neither":
        return Answer(question)
    if choice.isascii() and choice.isdigit() and int(choice) < len(asked.question.body.options):
        return Answer(question, int(choice))
    raise BadInput("choose one of the answers")


def _now(state: State) -> dict[str, Any]:
    job = state.job
    heard = heard_in(shop().folder)
    mine = heard if heard.job in ("", job.id) else Heard()
    run = job.runs[-1] if job.runs else None
    finding = next((f for f in state.findings.runs if run is not None and f.run == run.id), None)
    return {
        "heard": mine,
        "listening": mine.listening and time.time() - mine.written_at < FRESH_S,
        "level": mine.level_now(),
        "last": _last(job),
        "run": run,
        "finding": finding,
        "bores": _bores(job, run, finding),
        "missing": missing_text(job),
        "desk": [part for part in job.parts if part.answers and part.answers[-1].entry.source is Source.DESK],
    }


def _last(job: Job) -> Entry | None:
    """The last thing said or typed at the engine."""
    return next((e for e in reversed(job.entries) if e.heard and e.source in (Source.VOICE, Source.TYPED)), None)


def _bores(job: Job, run: Run | None, finding: RunFinding | None) -> list[dict[str, Any]]:
    """One tile a cylinder: its latest reading in the run, and its standing where there is one."""
    latest: dict[int, Reading] = {cut.cylinder: cut for cut in run.cuts if cut.cylinder} if run else {}
    shares: dict[int, Contribution] = {c.cylinder: c for c in finding.contributions} if finding else {}
    held = run.start.held_out if run else ()
    return [
        {"number": n, "reading": latest.get(n), "share": shares.get(n), "held": n in held} for n in job.engine.numbers
    ]
