"""What a job so far leads one to expect of the next utterance: a job in, a wording context out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from journal.facts import (
    UNITS,
    Answer,
    Baseline,
    Condition,
    Cut,
    Entry,
    PartAnswer,
    PartState,
    Photo,
    PhotoMark,
    PhotoPlaced,
    Quantity,
    Question,
    RunStarted,
    Seen,
    Source,
    WriteUpEdited,
)
from journal.record.job import Asked, Job, Part, Reading, Run
from journal.wording.expect import expected
from journal.wording.types import Context, Range

SPREAD = 0.5
"""How far, as a fraction, a quantity may move between two readings before it is worth a question."""


ANSWERABLE = timedelta(minutes=2)
"""How long after it was put a question can be answered by a yes, a no or a number (common practice, no source)."""

_NOT_SAID = (Photo, PhotoPlaced, PhotoMark, Seen, PartAnswer, WriteUpEdited)
"""Entries that come in beside what is said."""


def last_said(job: Job) -> Entry | None:
    """The last entry that was said or typed, whether or not it counts."""
    return next((e for e in reversed(job.entries) if not _beside(e)), None)


def _beside(entry: Entry) -> bool:
    """Whether an entry came in beside what is said; what was read off a photo comes whenever that is done."""
    return isinstance(entry.body, _NOT_SAID) or entry.source is Source.PHOTO


def just_asked(job: Job, now: datetime | None = None) -> Asked | None:
    """The question that a yes, a no or a number answers: the last one, with nothing but questions settled since.

    What a photo asks is answered on the page, or by a plain statement: it may have come between a question that was put
    in words and its answer.

    Args:
        job: the job so far.
        now: when the answer is given, aware; none for right after the last entry.
    """
    waiting = {asked.question.entry.id: asked for asked in job.waiting}
    for entry in reversed(job.entries):
        if _beside(entry):
            continue
        if now is not None and now - entry.at_utc > ANSWERABLE:
            return None
        if entry.id in waiting:
            return waiting[entry.id]
        if not isinstance(entry.body, Question | Answer):
            return None
    return None


def context_of(job: Job, units: Mapping[Quantity, str] | None = None, now: datetime | None = None) -> Context:
    """The context in which the next utterance on this job is understood.

    Args:
        job: the job so far.
        units: what a number without a unit means in this shop; a quantity that is not there is in its first unit.
        now: when the utterance is made, aware; none for right after the last entry.
    """
    run = job.run_in_progress
    asked = just_asked(job, now)
    last = last_said(job)
    context = Context(
        engine=job.engine,
        question_options=asked.question.body.options if asked else (),
        parts=tuple((part.wanted.body, part.now(_latest(part))) for part in job.parts),
        units=tuple((units or {}).items()),
        last=job.effective[last.id].body if last and last.id in job.effective else None,
        last_id=last.id if last else "",
    )
    if run is None:
        return replace(context, question_doubt=_doubt(asked, context))
    quantity = run.start.quantity
    unit = run.start.unit or UNITS[quantity][0]
    baselines = [r for r in run.baselines if r.quantity == quantity and r.unit == unit]
    announced = job.effective[run.id].body if run.id in job.effective else None
    context = replace(
        context,
        run=announced if isinstance(announced, RunStarted) else None,
        run_id=run.id,
        quantity=quantity,
        unit=unit,
        baseline=baselines[-1].value if baselines else None,
        already_cut=_cut_values(run, quantity, unit, baselines),
        done=run.done,
        held_out=run.start.held_out,
        next_cylinder=run.next_cut(job.engine),
        ranges=tuple(_range(r, r.value) for r in run.conditions if r.value),
    )
    return replace(context, question_doubt=_doubt(asked, context))


def _doubt(asked: Asked | None, context: Context) -> float:
    """How doubtful the first option of a question is by its sound, where it is a reading as the job leads to expect."""
    if asked is None or not asked.question.body.options:
        return 1.0
    match asked.question.body.options[0]:
        case Baseline() | Cut() | Condition() as first if expected(first, context):
            return 1.0 - asked.question.entry.certainty
        case _:
            return 1.0


def _latest(part: Part) -> PartState:
    """How far a wanted part has come."""
    return part.answers[-1].body.state if part.answers else PartState.WANTED


def _cut_values(run: Run, quantity: str, unit: str, baselines: Sequence[Reading]) -> tuple[tuple[int, float], ...]:
    values = []
    for cut in run.cuts:
        value = baselines[-1].value if cut.no_change and baselines else cut.value
        if cut.cylinder is not None and value is not None and cut.quantity == quantity and cut.unit == unit:
            values.append((cut.cylinder, value))
    return tuple(values)


def _range(reading: Reading, value: float) -> Range:
    low, high = sorted((value * (1 - SPREAD), value * (1 + SPREAD)))
    return Range(reading.quantity, low, high, reading.unit)
