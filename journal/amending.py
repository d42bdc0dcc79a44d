"""What was said before and a word that changes it in, the correction or withdrawal out."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from journal.answering import (
    is_last_said,
    just_wanted,
    last_act,
    last_number,
    last_numbers,
    last_of_cylinder,
    last_wanted,
    of_cylinder,
    taken_back_just_now,
    what,
    with_value,
)
from journal.context import just_asked
from journal.facts import UNITS, Answer, Body, Condition, Correction, Cut, Quantity, Withdrawal
from journal.outcome import Acting, Outcome, let_go
from journal.record.job import Job
from journal.settling import asked_anew, instead, settle
from journal.wording import describe, read_back
from journal.wording.expect import expected
from journal.wording.types import Command, Decision, Verdict

A_PART = "part wanted"
"""What a withdrawal is about that takes back the last part wanted."""

THE_CYLINDER = "cylinder"
"""What a correction is about that puts the cylinder right."""

NO_CHANGE = "no change"
"""What a correction is about that makes a reading "no change"."""

SEVERAL = {"two": 2, "three": 3}
"""What a withdrawal is about that takes back the last few readings."""

JUST_NOW = "just now"
"""What "never mind" is about: it takes back nothing that was not said a moment ago, as people say it to each other."""

RECENT = timedelta(seconds=30)
"""How long ago that may be (common practice, no source)."""


def scratch(acting: Acting, decision: Decision, command: Command, job: Job, clip: str) -> Outcome:
    """Take back what the command is about."""
    if command.about in SEVERAL:
        return _scratch_several(acting, decision, SEVERAL[command.about], job, clip)
    if command.about == JUST_NOW:
        target = last_act(job, acting.technician)
        if target is not None and acting.clock() - target.at_utc > RECENT:
            return let_go(decision, "nothing was said just now to take back")
    elif command.about == A_PART:
        target = last_wanted(job, acting.technician)
    elif command.cylinder is not None or command.about:
        target = last_number(job, acting.technician, command.cylinder, command.about)
    else:
        target = last_act(job, acting.technician)
    if target is None:
        return let_go(decision, "there is nothing to take back")
    entry = acting.enter(Withdrawal(target.id), heard=decision.heard, clip=clip, certainty=decision.certainty)
    restored = isinstance(target.body, Withdrawal)
    text = f"{'put back' if restored else 'taken back'}: {what(target, job)}"
    return Outcome(Verdict.TAKE, text, text, entry, decision)


def _scratch_several(acting: Acting, decision: Decision, many: int, job: Job, clip: str) -> Outcome:
    """Take back the last few readings; nothing where there are not so many."""
    targets = last_numbers(job, acting.technician)[:many]
    if len(targets) < many:
        return let_go(decision, "there are not so many readings to take back")
    entries = [
        acting.enter(Withdrawal(target.id), heard=decision.heard, clip=clip, certainty=decision.certainty)
        for target in targets
    ]
    text = f"taken back: {'; '.join(what(target, job) for target in targets)}"
    return Outcome(Verdict.TAKE, text, text, entries[-1], decision)


def correct(acting: Acting, decision: Decision, command: Command, job: Job, clip: str) -> Outcome:
    """Put right what the command is about: the last thing said at once, anything older after asking."""
    if command.about == THE_CYLINDER:
        return _move(acting, decision, command, job, clip)
    named = command.cylinder is not None or bool(command.about)
    asked = just_asked(job, acting.clock())
    if not named and asked is not None and command.value is not None:
        # "No, thirty nine" to "four, ninety?".
        other = instead(acting, asked, command.value, job)
        if other is not None:
            return settle(acting, decision, job, asked, Answer(asked.question.entry.id, body=other), clip)
    if command.about == NO_CHANGE:
        return _unchanged(acting, decision, command, job, clip)
    values = _values(decision)
    scratched = None if named else taken_back_just_now(job)
    if scratched is not None:
        return asked_anew(acting, [b for v in values if (b := with_value(scratched, v))], decision, clip)
    target = None if named else just_wanted(job)
    target = target or last_number(job, acting.technician, command.cylinder, command.about)
    bodies = [b for v in values if target is not None and (b := with_value(target.body, v)) is not None]
    if (target is None or not bodies) and command.about in set(Quantity) and command.value is not None:
        # Nothing was read of it before: it is read now.
        quantity = Quantity(command.about)
        unit = dict(acting.context(job).units).get(quantity, UNITS[quantity][0])
        return asked_anew(acting, [Condition(quantity, command.value, unit)], decision, clip)
    if target is None and command.cylinder is not None and values and job.runs:
        return asked_anew(acting, _read_for(command.cylinder, values, acting, job), decision, clip)
    if target is None or not bodies:
        return let_go(decision, "there is no reading to correct")
    corrections = [Correction(target.id, body) for body in bodies]
    recent = named or is_last_said(job, target)
    sure = decision.verdict is Verdict.TAKE and expected(bodies[0], acting.context(job))
    if sure and recent:
        entry = acting.enter(corrections[0], heard=decision.heard, clip=clip, certainty=decision.certainty)
        return Outcome(Verdict.TAKE, f"corrected: {describe(bodies[0])}", read_back(bodies[0]), entry, decision)
    return asked_anew(acting, corrections, decision, clip, decision.prompt if recent else "")


def _read_for(cylinder: int, values: list[float], acting: Acting, job: Job) -> list[Body]:
    """What a number is for a cylinder that nothing was read for: what was read last is its, or it is read now."""
    last = last_number(job, acting.technician)
    moved: list[Body] = []
    if last is not None and isinstance(last.body, Cut) and last.body.value == values[0]:
        moved = [Correction(last.id, of_cylinder(last.body, cylinder))]
    return [*moved, *(Cut(cylinder, value) for value in values)]


def _unchanged(acting: Acting, decision: Decision, command: Command, job: Job, clip: str) -> Outcome:
    """What was read for a cylinder was no change."""
    target = last_number(job, acting.technician, command.cylinder)
    if target is None or not isinstance(target.body, Cut):
        return let_go(decision, "there is no reading to correct")
    correction = Correction(target.id, replace(target.body, value=None, no_change=True))
    if decision.verdict is not Verdict.TAKE:
        return asked_anew(acting, [correction], decision, clip)
    entry = acting.enter(correction, heard=decision.heard, clip=clip, certainty=decision.certainty)
    body = correction.body
    return Outcome(Verdict.TAKE, f"corrected: {describe(body)}", read_back(body), entry, decision)


def _move(acting: Acting, decision: Decision, command: Command, job: Job, clip: str) -> Outcome:
    """The last thing said of a cylinder is of another one."""
    target = last_of_cylinder(job, acting.technician, command.instead_of)
    if target is None or command.cylinder is None:
        return let_go(decision, "nothing was said of a cylinder that could be put right")
    body = of_cylinder(target.body, command.cylinder)
    correction = Correction(target.id, body)
    if decision.verdict is Verdict.TAKE and is_last_said(job, target) and expected(body, acting.context(job)):
        entry = acting.enter(correction, heard=decision.heard, clip=clip, certainty=decision.certainty)
        return Outcome(Verdict.TAKE, f"corrected: {describe(body)}", read_back(body), entry, decision)
    return asked_anew(acting, [correction], decision, clip)


def _values(decision: Decision) -> list[float]:
    commands = [m for m in (decision.meaning, *decision.alternatives) if isinstance(m, Command)]
    return [c.value for c in commands if c.value is not None]
