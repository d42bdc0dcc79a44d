"""The review at the bench: every entry with its sound and certainty, questions first; correct, take back, add."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import NoReturn

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from journal.corrected import doubt
from journal.errors import BadInput
from journal.facts import (
    MEASURED,
    OUTCOMES,
    Answer,
    Baseline,
    Body,
    Check,
    Condition,
    Correction,
    Cut,
    Entry,
    JobOpened,
    Note,
    Question,
    Source,
    Withdrawal,
    new_id,
    to_milliseconds,
)
from journal.record.job import Job, Run
from journal.record.vouched import vouched
from journal.session import Session, local_offset_minutes
from journal.wording import describe
from journal.wording.types import LONGEST_LINE, Verdict
from webui.acting import Doubted, WrongField, acting, cylinder_of, done, entry_of, field, meant, real, whole
from webui.job import about
from webui.review_pages import choices, chosen
from webui.shop import shop
from webui.units import unit_given, units_of

pages = Blueprint("review", __name__)

AT_ONCE = 80
"""Entries on one page of the review."""


@pages.get("/job/<job_id>/review")
def review(job_id: str) -> ResponseReturnValue:
    """One part of the job's entries, with the questions that wait above it."""
    state = shop().state(job_id)
    part = chosen(state.job, request.args.get("show", ""))
    page = max(1, request.args.get("page", 1, int))
    pages_in_all = max(1, -(-len(part.lines) // AT_ONCE))
    page = min(page, pages_in_all)
    return render_template(
        "review.html",
        **about(state, "review"),
        part=part,
        choices=choices(state.job),
        lines=part.lines[(page - 1) * AT_ONCE : page * AT_ONCE],
        units_of=units_of,
        page=page,
        pages_in_all=pages_in_all,
        signed=vouched(shop().store, state.job).by,
    )


def _where() -> str:
    """The part of the review that a form was sent from; read before anything is entered, as it can be refused."""
    return field("back", 20)


def _back(job_id: str, entry_id: str, where: str) -> ResponseReturnValue:
    """To where the act was done: the same part of the review at the same entry, else the entry's own page."""
    if where:
        return redirect(url_for("review.review", job_id=job_id, show=where, _anchor=f"entry-{entry_id}"), 303)
    return redirect(url_for("review.entry", job_id=job_id, entry_id=entry_id), 303)


@pages.get("/job/<job_id>/entry/<entry_id>")
def entry(job_id: str, entry_id: str) -> ResponseReturnValue:
    """One value: what it says now, how it came to, and a form to put it right."""
    state = shop().state(job_id)
    first = entry_of(state.job, entry_id)
    now = state.job.effective.get(entry_id)
    body = now.body if now is not None else first.body
    unit, units = units_of(state.job, entry_id, body)
    return render_template(
        "entry.html",
        **about(state, "review"),
        entry=first,
        body=body,
        counts=now is not None,
        history=history(state.job, entry_id),
        signed=vouched(shop().store, state.job).by,
        form=_form_of(body),
        outcomes=(*OUTCOMES[body.subject], MEASURED) if isinstance(body, Check) else (),
        unit=unit,
        units=units,
    )


def history(job: Job, entry_id: str) -> list[tuple[Entry, bool]]:
    """The entry and everything that changed it, in order, each with whether it still counts."""
    by_id = {e.id: e for e in job.entries}
    about_it = [entry_id]
    for found in about_it:
        about_it.extend(later for later in job.replaced_by.get(found, ()) if later not in about_it)
    undone = {e.body.target for i in about_it if isinstance((e := by_id[i]).body, Withdrawal)}
    return [(e, e.id not in undone) for e in sorted((by_id[i] for i in about_it), key=lambda e: (e.at_utc, e.id))]


def _form_of(body: Body) -> str:
    match body:
        case Cut():
            return "cut"
        case Baseline() | Condition():
            return "number"
        case Check():
            return "check"
        case Note():
            return "note"
        case _:
            return "words"


@pages.post("/job/<job_id>/entry/<entry_id>/correct")
def correct(job_id: str, entry_id: str) -> ResponseReturnValue:
    """Replace what an entry says; the entry itself stays."""
    session, where = acting(job_id), _where()
    job = session.job
    first = entry_of(job, entry_id)
    if isinstance(first.body, Correction | Withdrawal | Answer):
        raise BadInput("this entry changes another one: correct that one, or take this one back")
    if isinstance(first.body, JobOpened):
        raise BadInput("put unit, complaint and engine right on the job's own page")
    now = job.effective.get(entry_id)
    if now is None and not isinstance(first.body, Question):
        raise BadInput("this entry was taken back: restore it first")
    old = now.body if now is not None else first.body
    try:
        new = _corrected(job, entry_id, old)
    except Doubted as asked:
        return asked_again(job_id, str(asked), url_for("review.entry", job_id=job_id, entry_id=entry_id))
    if new == old:
        raise BadInput("nothing was changed: give what it should have said")
    if prompt := _doubt(job, new, entry=entry_id):
        return asked_again(job_id, prompt, url_for("review.entry", job_id=job_id, entry_id=entry_id))
    session.enter(Correction(entry_id, new))
    done(f"corrected: {describe(new)}")
    return _back(job_id, entry_id, where)


def _doubt(job: Job, body: Body, *, entry: str = "", run: int | None = None) -> str:
    """The question to put before this is entered; empty where none is, or it was answered."""
    return "" if field("sure", 5) else doubt(job, body, entry=entry, run=run)


def asked_again(job_id: str, prompt: str, back: str) -> ResponseReturnValue:
    """A question about what was sent, with a button that sends it all the same."""
    sent = [(name, text) for name, text in request.form.items(multi=True) if name not in ("csrf_token", "sure")]
    page = render_template(
        "doubt.html", **about(shop().state(job_id), "review"), prompt=prompt, sent=sent, back=back, to=request.path
    )
    return page, 409


def _corrected(job: Job, entry_id: str, old: Body) -> Body:
    """What the form says the body should have been."""
    if words := field("words", LONGEST_LINE):
        new = meant(job.id, words, sure=bool(field("sure", 5)))
        if type(new) is not type(old) and not isinstance(old, Question):
            raise BadInput(f"{words!r} says another kind of thing: take this entry back and enter that instead")
        return new
    match old:
        case Cut():
            no_change = bool(field("no_change", 5))
            cylinder = cylinder_of(job)
            if cylinder is None:
                raise BadInput("name the cylinder that was cut")
            value = None if no_change else _needed("value")
            unit = unit_given(job, entry_id, old)
            return replace(old, cylinder=cylinder, value=value, no_change=no_change, unit=unit)
        case Baseline() | Condition():
            return replace(old, value=_needed("value"), unit=unit_given(job, entry_id, old))
        case Check():
            value, outcome = real("value"), field("outcome", 40) or old.outcome
            unit = unit_given(job, entry_id, old)
            return replace(old, outcome=outcome, cylinder=cylinder_of(job), value=value, unit=unit)
        case Note():
            return Note(field("text") or _missing("the note"))
        case _:
            return _missing("what it should have said")


def _needed(name: str) -> float:
    value = real(name)
    if value is None:
        raise WrongField(name, f"{name}: give a number")
    return value


def _missing(what: str) -> NoReturn:
    raise BadInput(f"{what} is empty: fill it in")


@pages.post("/job/<job_id>/entry/<entry_id>/take-back")
def take_back(job_id: str, entry_id: str) -> ResponseReturnValue:
    """Take an entry back, or take the taking back back."""
    session, where = acting(job_id), _where()
    job = session.job
    first = entry_of(job, entry_id)
    if isinstance(first.body, JobOpened):
        raise BadInput("the entry that opens the job cannot be taken back: put it right on the job's own page")
    standing = [e for e, counts in history(job, entry_id) if counts and _takes_back(e, entry_id)]
    target = standing[-1].id if standing else entry_id
    session.enter(Withdrawal(target))
    done("restored" if standing else "taken back; it can be restored here")
    return _back(job_id, entry_id, where)


def _takes_back(entry: Entry, target: str) -> bool:
    return isinstance(entry.body, Withdrawal) and entry.body.target == target


@pages.post("/job/<job_id>/add")
def add(job_id: str) -> ResponseReturnValue:
    """Enter by hand: in words as at the engine, or a reading into a run."""
    session, where = acting(job_id), _where() or "all"
    if words := field("words", LONGEST_LINE):
        outcomes = session.type(words)
        lines = "; ".join(outcome.line for outcome in outcomes) or "nothing to enter in that"
        if any(outcome.verdict is not Verdict.LET_GO for outcome in outcomes):
            done(lines)
        else:
            raise BadInput(f"{words!r}: {lines}")
        made = [outcome.entry.id for outcome in outcomes if outcome.entry is not None]
        return _back(job_id, made[-1] if made else "", where)
    job = session.job
    body, number = _reading(job), whole("run")
    at = None if number is None else _within(job, number)
    if prompt := _doubt(job, body, run=number):
        return asked_again(job_id, prompt, url_for("review.review", job_id=job_id))
    entry = session.enter(body, heard="added by hand") if at is None else _enter_within(session, at, body)
    done(f"added: {describe(body)}")
    return _back(job_id, entry.id, where)


def _enter_within(session: Session, at: datetime, body: Body) -> Entry:
    """Enter a reading dated when it was read: the store would put it at the end, so it comes in as it is."""
    entry = Entry(
        new_id(at), session.job_id, at, body, local_offset_minutes(), session.technician, Source.PAGE, "added by hand"
    )
    session.store.merge([entry], carried=False)
    return entry


def _reading(job: Job) -> Baseline | Cut:
    no_change = bool(field("no_change", 5))
    cylinder = cylinder_of(job)
    if cylinder is None:
        return Baseline(_needed("value"))
    return Cut(cylinder, None if no_change else _needed("value"), no_change)


def _within(job: Job, number: int) -> datetime:
    """A moment just after the run's last reading, so that a reading added later belongs to it."""
    runs: dict[int, Run] = {run.number: run for run in job.runs}
    if number not in runs:
        raise BadInput(f"run {number}: choose one of {', '.join(map(str, runs)) or 'none yet; say a run first'}")
    run = runs[number]
    last = max((r.at_utc for r in (*run.baselines, *run.cuts, *run.conditions)), default=run.started_at)
    return to_milliseconds(last + timedelta(milliseconds=1))
