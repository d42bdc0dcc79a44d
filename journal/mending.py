"""What was not understood and the words it should have been in, entries out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta

from journal.context import context_of
from journal.errors import BadInput
from journal.facts import Answer, Body, Entry, Quantity, new_id
from journal.record.job import Asked, Job
from journal.record.replay import replay
from journal.record.resolve import target_of
from journal.session import Session, local_offset_minutes
from journal.wording import decide_text
from journal.wording.types import Context, Decision, Verdict


class Doubtful(BadInput):
    """Words that may mean one of several things, or that this job does not lead one to expect."""

    def __init__(self, prompt: str, options: tuple[Body, ...]) -> None:
        """Args: prompt, what to ask; options, what they may mean, most likely first."""
        super().__init__(prompt)
        self.options = options


def mend(session: Session, asked: Asked, words: str, option: int | None = None) -> list[Body]:
    """Enter what was not understood as what these words say; it counts from when it was said.

    Args:
        session: who mends it, and where.
        asked: the question without options that keeps it.
        words: what it should have been.
        option: which of the options of a `Doubtful` is meant.

    Returns:
        What was entered.

    Raises:
        Doubtful: when they may mean several things and no option was given; nothing is entered.
        BadInput: when they say nothing that can be entered.
    """
    question = asked.question.entry
    decisions = decide_text(words, context_at(session.job, question, session.units))
    first, *more = _meant(words, decisions, option)
    store = session.store
    for place, body in enumerate(more, 1):
        at = question.at_utc + timedelta(milliseconds=place)
        entry = Entry(
            new_id(at), session.job_id, at, body, local_offset_minutes(), session.technician, session.source, words
        )
        store.merge([entry], carried=False)
    session.enter(Answer(question.id, body=first), heard=words)
    return [first, *more]


def dismiss(session: Session, asked: Asked) -> None:
    """Say that it was not for the journal."""
    session.enter(Answer(asked.question.entry.id))


def context_at(job: Job, entry: Entry, units: Mapping[Quantity, str]) -> Context:
    """What the job led one to expect when an entry came in, with what was put right since."""
    before = job.entries[: job.entries.index(entry)]
    known = {e.id for e in before}
    since = [e for e in job.entries[len(before) + 1 :] if target_of(e.body) in known]
    return replace(context_of(replay([*before, *since]), units), question_options=())


def _meant(words: str, decisions: tuple[Decision, ...], option: int | None) -> list[Body]:
    bodies = []
    for decision in decisions:
        options = tuple(m for m in (decision.meaning, *decision.alternatives) if isinstance(m, Body))
        if not options:
            why = decision.prompt or decision.reason or "it acts on the journal itself"
            raise BadInput(f"{words!r} cannot be entered as it is: {why}; say it as at the engine")
        if decision.verdict is Verdict.TAKE:
            bodies.append(options[0])
        elif len(decisions) > 1:
            raise BadInput(f"{decision.prompt} Enter the things that were said one at a time")
        elif option is not None and 0 <= option < len(options):
            bodies.append(options[option])
        else:
            raise Doubtful(decision.prompt, options)
    return bodies
