"""A number tapped on a page in, its entry or a question out: it is doubted as one that was said would be."""

from __future__ import annotations

from dataclasses import replace

from journal.answering import Numbered, last_act, said, settled_by, what, with_value
from journal.context import context_of
from journal.errors import BadInput
from journal.facts import Answer, Baseline, Body, Correction, Cut, Entry, Question, Withdrawal
from journal.record.job import Asked, Job
from journal.session import Session
from journal.wording import describe, read_back
from journal.wording.expect import expected


def tap_answer(session: Session, asked: Asked, value: float) -> str:
    """Settle a question by another number than it names; what became of it, in words.

    Raises:
        BadInput: when the question is about nothing that holds a number.
    """
    first = said(asked.question.body.options[0])
    body = with_value(first, value) if isinstance(first, Numbered) else None
    if body is None:
        raise BadInput("this question is not about a number: choose one of its answers")
    return _enter(session, Answer(asked.question.entry.id, body=body), body)


def tap_cut(session: Session, cylinder: int, value: float | None) -> str:
    """Enter what was read with a cylinder cut, none for no change; its last reading in this run is put right so.

    Raises:
        BadInput: when this engine has no such cylinder.
    """
    job = session.job
    job.engine.require(cylinder)
    run = job.run_in_progress
    before = [cut for cut in run.cuts if cut.cylinder == cylinder] if run is not None else []
    if before:
        was = job.effective[before[-1].entry].body
        assert isinstance(was, Cut)
        body = replace(was, value=value, no_change=value is None)
        return _enter(session, Correction(before[-1].entry, body), body)
    return _state(session, job, Cut(cylinder, value, no_change=value is None))


def tap_baseline(session: Session, value: float) -> str:
    """Enter a baseline; where the run has one and no cylinder was cut since, that is put right."""
    job = session.job
    run = job.run_in_progress
    if run is not None and run.baselines and not any(cut.at_utc > run.baselines[-1].at_utc for cut in run.cuts):
        was = job.effective[run.baselines[-1].entry].body
        assert isinstance(was, Baseline)
        body = replace(was, value=value)
        return _enter(session, Correction(run.baselines[-1].entry, body), body)
    return _state(session, job, Baseline(value))


def _state(session: Session, job: Job, body: Cut | Baseline) -> str:
    """Enter a plain statement; it settles a question about the same thing, as one that is said does."""
    asked = settled_by(job, body)
    return _enter(session, body if asked is None else Answer(asked.question.entry.id, body=body), body)


def _enter(session: Session, act: Body, body: Body) -> str:
    """Enter what is believable; ask about anything else, and leave what it was to settle as it is."""
    job = session.job
    if expected(body, context_of(_without(job, act), session.units, session.clock())):
        session.enter(act)
        return describe(body)
    option = act if isinstance(act, Correction) else body
    session.enter(Question(f"{read_back(body)}?", (option,)))
    if isinstance(act, Answer):
        # It is asked about anew: the first question would wait beside it for ever.
        session.enter(Answer(act.question))
    return f"{describe(body)}: not what this job leads one to expect, so it is asked about"


def _without(job: Job, act: Body) -> Job:
    """The job before the reading that is put right, which must not be held against its own correction."""
    if not isinstance(act, Correction) or not job.runs:
        return job
    run = job.runs[-1]
    cuts = tuple(cut for cut in run.cuts if cut.entry != act.target)
    baselines = tuple(each for each in run.baselines if each.entry != act.target)
    return replace(job, runs=(*job.runs[:-1], replace(run, cuts=cuts, baselines=baselines)))


def last_done(job: Job) -> Entry | None:
    """The last act at the engine that can be taken back; a question is none, as it is there to be answered."""
    act = last_act(job, None)
    while act is not None and isinstance(act.body, Question):
        earlier = job.entries[: job.entries.index(act)]
        act = last_act(replace(job, entries=earlier), None)
    return act


def done_words(act: Entry, job: Job) -> str:
    """What an act said, in few words; of an answer, what it settled the question to."""
    settled = job.effective.get(act.body.question) if isinstance(act.body, Answer) else None
    if settled is None:
        return "the answer: neither" if isinstance(act.body, Answer) else what(act, job)
    return what(settled, job)


def undo(session: Session, entry_id: str) -> Entry:
    """Take back an act, or put back what was taken back.

    Raises:
        BadInput: when there is no such act any more.
    """
    last = last_done(session.job)
    if last is None or last.id != entry_id:
        raise BadInput("that was not the last thing done any more: look again")
    session.enter(Withdrawal(entry_id))
    return last
