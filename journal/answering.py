"""A job and what was said in, the question it settles and the entry it is about out."""

from __future__ import annotations

from dataclasses import replace

from journal.context import last_said
from journal.facts import (
    Answer,
    Baseline,
    Body,
    Check,
    Condition,
    Correction,
    Cut,
    Entry,
    JobOpened,
    PartWanted,
    PhotoCue,
    Quantity,
    Question,
    RunStarted,
    Seen,
    Source,
    Withdrawal,
)
from journal.facts.units import convert
from journal.record.job import Asked, Job
from journal.wording import describe
from journal.wording.types import CommandWord

Numbered = Cut | Baseline | Condition | Check
"""Bodies that hold a number a correction can replace."""

ANSWERS = {
    CommandWord.YES: 0,
    CommandWord.FIRST: 0,
    CommandWord.SECOND: 1,
    CommandWord.NO: None,
    CommandWord.NEITHER: None,
}
"""Which option of the question each word picks; none for neither."""

NEW_RUN_FROM = 0.25
"""Change of a pressure or speed within a run, as a fraction, from which it is asked whether a new run began (common
practice, no source)."""


def said(body: Body) -> Body:
    """What a body says of the engine: for a correction, what it corrects to."""
    return body.body if isinstance(body, Correction) else body


def settled_by(job: Job, body: Body) -> Asked | None:
    """The waiting question about the same thing as a plain statement, which settles it; the latest of several."""
    for asked in reversed(job.waiting):
        if all(same_thing(said(option), body) for option in asked.question.body.options):
            return asked
    return None


def same_thing(one: Body, other: Body) -> bool:
    """Whether two bodies say something about the same: the same cylinder cut, the same quantity, the same check."""
    match one, other:
        case Cut(), Cut():
            return one.cylinder == other.cylinder
        case Baseline(), Baseline():
            return True
        case Condition(), Condition():
            return one.quantity == other.quantity
        case Check(), Check():
            return (one.subject, one.cylinder) == (other.subject, other.cylinder)
        case _:
            return False


def new_run(job: Job, body: Body) -> RunStarted | None:
    """The run that may have begun when a pressure or the speed was changed amid a run with cuts; none when none did."""
    run = job.run_in_progress
    if run is None or not run.cuts or not isinstance(body, Condition) or body.quantity not in _SETS_A_RUN:
        return None
    before = [(r.value, r.unit) for r in run.conditions if r.quantity == body.quantity and r.value is not None]
    if not before or body.quantity == run.start.quantity:
        return None
    was, its_unit = before[-1]
    unit = body.unit or its_unit
    is_now = convert(body.value, unit, its_unit)
    if abs(is_now - was) <= NEW_RUN_FROM * abs(was):
        return None
    if body.quantity is Quantity.INJECTION_PRESSURE:
        return replace(run.start, repeat=True, pressure=None, pressure_value=body.value, pressure_unit=unit)
    return replace(run.start, repeat=True)


_SETS_A_RUN = (Quantity.INJECTION_PRESSURE, Quantity.ENGINE_SPEED)


def with_value(body: Body, value: float) -> Body | None:
    """The same with another number; none where it holds none."""
    body = first_option(body) or body
    if isinstance(body, Cut):
        return replace(body, value=value, no_change=False)
    if isinstance(body, PartWanted):
        return replace(body, quantity=int(value)) if value in range(1, 100) else None
    return replace(body, value=value) if isinstance(body, Baseline | Condition | Check) else None


def first_option(body: Body | None) -> Body | None:
    """What a question most likely means; any other body as it is."""
    return body.options[0] if isinstance(body, Question) and body.options else body


def last_act(job: Job, technician: str | None) -> Entry | None:
    """The last entry this technician made that can still be taken back; none for whoever is not at the parts desk."""
    withdrawn = {e.body.target for e in job.entries if isinstance(e.body, Withdrawal) and not _is_withdrawn(job, e.id)}
    mine = (
        e
        for e in reversed(job.entries)
        if e.id not in withdrawn and (e.source is not Source.DESK if technician is None else e.technician == technician)
    )
    return next((e for e in mine if not isinstance(e.body, JobOpened | Seen)), None)


def last_number(job: Job, technician: str, cylinder: int | None = None, about: str = "") -> Entry | None:
    """The last entry that counts and holds a number (of this cylinder, or of the baseline, where one is named)."""
    for entry in reversed(job.entries):
        body = job.effective[entry.id].body if entry.id in job.effective else None
        body = first_option(body)
        if not isinstance(body, Numbered) or (isinstance(body, Check) and body.value is None):
            continue
        if about == "baseline" and not isinstance(body, Baseline):
            continue
        if about in set(Quantity) and not (isinstance(body, Condition) and body.quantity == about):
            continue
        if cylinder is not None and not (isinstance(body, Cut | Check) and body.cylinder == cylinder):
            continue
        if cylinder is None and not about and entry.technician != technician:
            continue
        return job.effective[entry.id]
    return None


def last_numbers(job: Job, technician: str) -> list[Entry]:
    """The readings of a technician that count, latest first."""
    mine = [job.effective[e.id] for e in reversed(job.entries) if e.id in job.effective and e.technician == technician]
    return [entry for entry in mine if isinstance(entry.body, Numbered)]


def last_wanted(job: Job, technician: str) -> Entry | None:
    """The last part that a technician wants."""
    mine = (job.effective.get(e.id) for e in reversed(job.entries) if e.technician == technician)
    return next((e for e in mine if e is not None and isinstance(e.body, PartWanted)), None)


def just_wanted(job: Job) -> Entry | None:
    """The last entry, where it asks for a part, whose number can be put right."""
    last = last_said(job)
    if last is None:
        return None
    now = job.effective.get(last.body.target if isinstance(last.body, Correction) else last.id)
    return now if now is not None and isinstance(now.body, PartWanted) else None


OfACylinder = Cut | Check | PartWanted | PhotoCue
"""Bodies that name a cylinder which a correction can replace."""


def of_cylinder(body: Body, cylinder: int) -> Body:
    """The same of another cylinder; as it is where it is of none."""
    return replace(body, cylinder=cylinder) if isinstance(body, OfACylinder) else body


def last_of_cylinder(job: Job, technician: str, cylinder: int | None) -> Entry | None:
    """The last entry of a technician that counts and is about a cylinder (this one, where one is named)."""
    for entry in reversed(job.entries):
        now = job.effective.get(entry.id)
        if (
            now is None
            or entry.technician != technician
            or not isinstance(now.body, Cut | Check | PartWanted | PhotoCue)
        ):
            continue
        if now.body.cylinder is not None and cylinder in (None, now.body.cylinder):
            return now
    return None


def taken_back_just_now(job: Job) -> Body | None:
    """The numbered statement that the last entry took back; none where it took back nothing of the kind."""
    last = last_said(job)
    if last is None or not isinstance(last.body, Withdrawal):
        return None
    target = next((e for e in job.entries if e.id == last.body.target), None)
    body = first_option(target.body) if target is not None else None
    return body if isinstance(body, Numbered) else None


def is_last_said(job: Job, entry: Entry) -> bool:
    """Whether nothing was said since an entry but what corrected or settled it."""
    last = last_said(job)
    while last is not None and last.id != entry.id:
        target = last.body.target if isinstance(last.body, Correction | Withdrawal) else None
        target = last.body.question if isinstance(last.body, Answer) else target
        last = next((e for e in job.entries if e.id == target), None)
    return last is not None


def what(entry: Entry, job: Job) -> str:
    """What an entry says, as it counts now, in few words."""
    body = job.effective[entry.id].body if entry.id in job.effective else entry.body
    if isinstance(body, Withdrawal | Correction):
        target = next((e for e in job.entries if e.id == body.target), None)
        return what(target, job) if target is not None else "the last entry"
    if isinstance(body, Answer):
        return "the answer"
    return body.prompt if isinstance(body, Question) else describe(body)


def _is_withdrawn(job: Job, entry_id: str) -> bool:
    by_id = {e.id: e for e in job.entries}
    later = [by_id[i] for i in job.replaced_by.get(entry_id, ())]
    return any(isinstance(e.body, Withdrawal) and not _is_withdrawn(job, e.id) for e in later)
