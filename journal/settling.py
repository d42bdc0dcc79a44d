"""A question that waits and its answer in, the entry that settles it out; and a question asked in place of an act."""

from __future__ import annotations

from collections.abc import Sequence

from journal.answering import ANSWERS, Numbered, said, same_thing, with_value
from journal.context import just_asked
from journal.facts import Answer, Body, Question
from journal.outcome import Acting, Outcome, let_go
from journal.record.job import Asked, Job
from journal.wording import describe, read_back
from journal.wording.choosing import option_named
from journal.wording.expect import expected
from journal.wording.types import CommandWord, Decision, Verdict


def settle_by_word(acting: Acting, decision: Decision, word: CommandWord, job: Job, clip: str) -> Outcome:
    """Yes, no, first and their like: what becomes of the question just asked."""
    asked = just_asked(job, acting.clock())
    if asked is None:
        return let_go(decision, "no question is waiting for it")
    options = asked.question.body.options
    choice = ANSWERS[word]
    if (word is CommandWord.YES and len(options) > 1) or (choice is not None and choice >= len(options)):
        return Outcome(Verdict.ASK, asked.question.body.prompt, asked.question.body.prompt, None, decision)
    return settle(acting, decision, job, asked, Answer(asked.question.entry.id, choice), clip)


def settle_by_number(acting: Acting, decision: Decision, value: float, job: Job, clip: str) -> Outcome:
    """A number alone: it picks an answer of the question just asked, or is asked about in its place."""
    asked = just_asked(job, acting.clock())
    if asked is None:
        return let_go(decision, "a number alone: say which cylinder or what it is")
    for index, option in enumerate(asked.question.body.options):
        body = said(option)
        if isinstance(body, Numbered) and body.value == value:
            return settle(acting, decision, job, asked, Answer(asked.question.entry.id, index), clip)
    cylinders = [getattr(said(option), "cylinder", None) for option in asked.question.body.options]
    if len(set(cylinders)) > 1 and cylinders.count(int(value)) == 1 and value == int(value):
        return settle(acting, decision, job, asked, Answer(asked.question.entry.id, cylinders.index(int(value))), clip)
    other = instead(acting, asked, value, job)
    if other is not None:
        # Another number for the same thing: it is said once more, so that it is not taken for a mishearing.
        return asked_anew(acting, [other], decision, clip, f"{read_back(said(other))}?")
    answers = "first, second or neither" if len(asked.question.body.options) > 1 else "yes or no"
    prompt = f"{asked.question.body.prompt} Say {answers}."
    return Outcome(Verdict.ASK, prompt, prompt, None, decision)


def option_by_words(acting: Acting, heard: str, job: Job) -> tuple[Asked, Answer] | None:
    """The question just asked and the answer that words give by what only one of its options says."""
    asked = just_asked(job, acting.clock())
    index = option_named(asked.question.body.options, heard) if asked is not None else None
    return None if asked is None or index is None else (asked, Answer(asked.question.entry.id, index))


def instead(acting: Acting, asked: Asked, value: float, job: Job) -> Body | None:
    """What a question asks about with another number, where that is believable."""
    body = with_value(said(asked.question.body.options[0]), value)
    if body is None or not expected(body, acting.context(job)):
        return None
    return body


def settle(acting: Acting, decision: Decision, job: Job, asked: Asked, answer: Answer, clip: str) -> Outcome:
    """A question's answer is entered, and said back."""
    entry = acting.enter(answer, heard=decision.heard, clip=clip, certainty=decision.certainty)
    _close_doubles(acting, asked, job)
    if answer.choice is None and answer.body is None:
        text = "neither, then; say it again"
        return Outcome(Verdict.TAKE, text, text, entry, decision)
    body = answer.body if answer.choice is None else said(asked.question.body.options[answer.choice])
    assert body is not None
    if acting.lead is not None:
        acting.lead.read(body)
    return Outcome(Verdict.TAKE, describe(body), read_back(body), entry, decision)


def _close_doubles(acting: Acting, asked: Asked, job: Job) -> None:
    """Earlier questions about the very thing that one was asked about anew are settled with it."""
    mine = said(asked.question.body.options[0])
    for other in job.waiting:
        same = all(same_thing(said(option), mine) for option in other.question.body.options)
        if other.question.entry.id != asked.question.entry.id and same:
            acting.enter(Answer(other.question.entry.id))


def asked_anew(acting: Acting, options: Sequence[Body], decision: Decision, clip: str, prompt: str = "") -> Outcome:
    """A question in place of an act on something that was not the last thing said."""
    if not options:
        return let_go(decision, "there is no reading to correct")
    prompt = prompt or f"{read_back(options[0])}?"
    question = Question(prompt, tuple(options))
    entry = acting.enter(question, heard=decision.heard, clip=clip, certainty=decision.certainty)
    return Outcome(Verdict.ASK, prompt, prompt, entry, decision)


def answer_by(asked: Asked, body: Body) -> Answer:
    """The answer that a plain statement about the same thing gives."""
    options = [said(option) for option in asked.question.body.options]
    if body in options:
        return Answer(asked.question.entry.id, options.index(body))
    return Answer(asked.question.entry.id, body=body)
