"""What is put right: which options there are, why words are refused, what counts for it, and what it teaches."""

from __future__ import annotations

from datetime import timedelta

import pytest

from journal.errors import BadInput
from journal.facts import (
    Answer,
    Check,
    Correction,
    Cut,
    Engine,
    JobOpened,
    Note,
    Question,
    RunKind,
    RunStarted,
    Subject,
)
from journal.learnt import Learnt, Shop, learnt
from journal.mending import Doubtful, context_at, mend
from journal.session import Session, open_job
from tests.session.test_mending import lost, session

__all__ = ["session"]


@pytest.mark.parametrize("beyond", [-1, None])
def test_an_option_that_is_not_there_is_asked_about_again(session: Session, beyond: int | None) -> None:
    asked = lost(session, "four three hundred")
    with pytest.raises(Doubtful) as doubt:
        mend(session, asked, "cylinder four cut three hundred")
    options = doubt.value.options
    before = session.job.entries
    with pytest.raises(Doubtful) as again:
        mend(session, asked, "cylinder four cut three hundred", len(options) if beyond is None else beyond)
    assert again.value.options == options and str(again.value) == str(doubt.value)
    assert str(doubt.value).endswith("?") and str(doubt.value)[:1].isalpha(), "the question alone"
    assert session.job.entries == before
    last = len(options) - 1
    assert mend(session, asked, "cylinder four cut three hundred", last) == [options[last]]


@pytest.mark.parametrize(
    ("words", "why"),
    [
        ("scratch that", "'scratch that' cannot be entered as it is: it acts on the journal itself; say it as at the"),
        ("lovely weather", "'lovely weather' cannot be entered as it is: "),
        (
            "four cut three hundred. five cut thirty seven",
            r"Enter the things that were said one at a time",
        ),
    ],
)
def test_words_that_are_refused_are_told_why(session: Session, words: str, why: str) -> None:
    asked = lost(session, "mumble")
    with pytest.raises(BadInput) as refused:
        mend(session, asked, words)
    assert not isinstance(refused.value, Doubtful)
    assert why in str(refused.value)


def test_what_was_said_together_stands_together_ahead_of_all_that_came_later(session: Session) -> None:
    asked = lost(session, "mumble four and five and six")
    said_at = asked.question.entry.at_utc
    session.enter(Note("after"))
    mend(session, asked, "four cut thirty eight. five cut thirty seven. six cut thirty six")
    added = [e for e in session.job.entries if isinstance(e.body, Cut)]
    assert [(e.body, e.at_utc - said_at) for e in added] == [
        (Cut(5, 37.0), timedelta(milliseconds=1)),
        (Cut(6, 36.0), timedelta(milliseconds=2)),
    ]
    assert all(e.heard.startswith("four cut") and e.technician == "Ash" for e in added)


def test_only_what_came_before_and_what_put_that_right_counts_for_what_was_expected_then(session: Session) -> None:
    session.enter(Cut(1, 37.0))
    asked = lost(session, "mumble")
    session.enter(Correction(session.job.runs[0].cuts[0].entry, Cut(1, 36.0)))
    session.enter(Cut(5, 38.0))
    later = session.enter(RunStarted(RunKind.IDLE))
    context = context_at(session.job, asked.question.entry, session.units)
    assert context.already_cut == ((1, 36.0),)
    assert context.run_id != later.id and context.next_cylinder == 2
    assert context.question_options == ()


def test_a_question_that_waited_then_is_not_answered_by_what_is_put_right_now(session: Session) -> None:
    session.enter(Question("four, thirty-eight?", (Cut(4, 38.0),)))
    asked = lost(session, "mumble")
    assert context_at(session.job, asked.question.entry, session.units).question_options == ()


def test_the_most_frequent_is_told_first_and_of_equals_by_their_letters(session: Session) -> None:
    for heard, words in (
        ("zebra", "blow-by light"),
        ("yak", "overhead sound cylinder two"),
        ("zebra", "blow-by light"),
        ("adder", "blow-by heavy"),
    ):
        mend(session, lost(session, heard), words)
    assert [(each.heard, each.times) for each in learnt(session.store)] == [("zebra", 2), ("adder", 1), ("yak", 1)]


def test_an_answer_by_hand_teaches_the_kind_and_an_option_that_was_chosen_teaches_nothing(session: Session) -> None:
    asked = lost(session, "puffing")
    session.enter(Answer(asked.question.entry.id, body=Check(Subject.BLOW_BY, "light")))
    session.enter(Question("four, thirty-eight?", (Cut(4, 38.0), Cut(4, 30.0))), heard="four three ate")
    waiting = session.job.waiting[-1].question.entry.id
    session.enter(Answer(waiting, body=Cut(4, 39.0)), heard="thirty nine")
    assert learnt(session.store) == [Learnt("puffing", "check", "check", 1)]


def test_a_number_said_twice_is_put_nowhere_as_either_may_be_meant(session: Session) -> None:
    shop = Shop(session.store)
    mend(session, lost(session, "the gerbil is at eighty then seventy"), "coolant seventy degrees")
    assert shop.words_for("the gerbil is at ninety then sixty", session.job) == "coolant 60 degrees"
    mend(session, lost(session, "the lemming is at eighty then eighty"), "coolant eighty degrees")
    assert shop.words_for("the lemming is at ninety then sixty", session.job) == ""
    assert shop.words_for("the lemming is at ninety", session.job) == "", "nothing of that shape was ever put right"


def test_what_its_own_job_puts_right_counts_at_once_and_other_jobs_are_read_once(session: Session, six: Engine) -> None:
    other = Session(session.store, open_job(session.store, JobOpened("Loader", six), "Bo"), clock=session.clock)
    other.enter(RunStarted(RunKind.IDLE))
    mend(other, lost(other, "the gerbil is at eighty"), "coolant eighty degrees")
    shop = Shop(session.store)
    assert shop.words_for("the gerbil is at ninety", session.job) == "coolant 90 degrees"
    mend(session, lost(session, "the lemming is at eighty"), "oil temperature eighty degrees")
    assert shop.words_for("the lemming is at ninety", session.job) == "oil temperature 90 degrees"
