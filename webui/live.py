"""The live view beside the scanner: whether it is heard, the cylinders, the question that waits, what was last done."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from flask import Blueprint, Response, redirect, render_template, request, session, url_for
from flask.typing import ResponseReturnValue

from journal.analysis.findings import Contribution, RunFinding
from journal.answering import said
from journal.errors import BadInput, NotFound
from journal.facts import Answer, Correction, Cut, Entry, Question, Source, Withdrawal
from journal.record.job import Asked, Job, Reading, Run
from journal.tapped import done_words, last_done
from journal.told import missing_text
from webui.access import visitor
from webui.acting import acting, done, entry_of, field, meant
from webui.heard import Heard, Hears, heard_for, heard_in
from webui.job import about
from webui.shop import State, shop

pages = Blueprint("live", __name__)

DEAD_S = 0.7
"""Seconds after a question came or went in which no answer is taken: a finger was meant for what stood there before."""


@pages.get("/job/<job_id>/live")
def live(job_id: str) -> ResponseReturnValue:
    """The live page."""
    state = shop().state(job_id)
    return render_template("live.html", **about(state, "live"), **_now(state), wanted=shop().listener.wanted)


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
    job = acts.job
    asked = waiting(job, entry_id)
    not_too_soon(job)
    acts.enter(_answer(job_id, asked))
    back = {"review": "review.review", "overview": "job.overview"}
    page = back.get(request.form.get("back", ""), "live.live")
    return told("answered", url_for(page, job_id=job_id))


def told(words: str, address: str) -> ResponseReturnValue:
    """What became of an act: in words for a page that stays as it is, else by a page that shows them."""
    if request.accept_mimetypes.best == "application/json":
        return {"words": words}
    done(words)
    return redirect(address, 303)


def not_too_soon(job: Job) -> None:
    """Refuse what is tapped right after a question came or went.

    Raises:
        BadInput: within `DEAD_S` of that.
    """
    moves = (e.at_utc for e in reversed(job.entries) if isinstance(e.body, Question | Answer | Withdrawal | Correction))
    moved = next(moves, None)
    if moved is not None and 0 <= (datetime.now(UTC) - moved).total_seconds() < DEAD_S:
        raise BadInput("that came right after the page had changed, so nothing was done: look, then tap again")


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
    heard, hears, why = heard_for(job.id, heard_in(shop().folder), shop().listener.why)
    run = job.runs[-1] if job.runs else None
    finding = next((f for f in state.findings.runs if run is not None and f.run == run.id), None)
    asked = job.waiting[-1] if job.waiting else None
    act = last_done(job)
    return {
        "heard": heard,
        "hears": hears,
        "why": why,
        "level": heard.level_now(),
        "last": _last(job),
        "run": run,
        "finding": finding,
        "asked": asked,
        "numbered": asked is not None and hasattr(said(asked.question.body.options[0]), "value"),
        "tiles": _tiles(job, run, finding, heard if hears is Hears.YES else Heard()),
        "act": act,
        "act_words": done_words(act, job) if act is not None else "",
        "act_is_undo": act is not None and isinstance(act.body, Withdrawal),
        "missing": missing_text(job),
        "desk": [part for part in job.parts if part.answers and part.answers[-1].entry.source is Source.DESK],
    }


def _last(job: Job) -> Entry | None:
    """The last thing said or typed at the engine."""
    return next((e for e in reversed(job.entries) if e.heard and e.source in (Source.VOICE, Source.TYPED)), None)


def _tiles(job: Job, run: Run | None, finding: RunFinding | None, heard: Heard) -> list[dict[str, Any]]:
    """One tile a cylinder: its latest reading in the run, its standing where there is one, and what is asked of it."""
    latest: dict[int, Reading] = {cut.cylinder: cut for cut in run.cuts if cut.cylinder} if run else {}
    shares: dict[int, Contribution] = {c.cylinder: c for c in finding.contributions} if finding else {}
    held = run.start.held_out if run else ()
    going = job.run_in_progress
    following = heard.asks_cylinder
    if following is None and going is not None and not heard.asks:
        cut = [each.cylinder for each in going.cuts if each.cylinder is not None]
        following = job.engine.next_to_cut(cut, going.start.held_out)
    asked: dict[int, list[str]] = {}
    for each in job.waiting:
        for option in map(said, each.question.body.options):
            if isinstance(option, Cut):
                value = "no change" if option.value is None else f"{option.value:g}"
                asked.setdefault(option.cylinder, []).append(value)
    return [
        {
            "number": n, "reading": latest.get(n), "share": shares.get(n), "held": n in held, "next": n == following,
            "asked": asked.get(n, []),
        }
        for n in job.engine.numbers
    ]  # fmt: skip
