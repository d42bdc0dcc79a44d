"""What was not understood becomes an entry of when it was said, or is let go; what was made of what can be seen."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from journal.errors import BadInput
from journal.facts import Answer, Baseline, Correction, Cut, Engine, JobOpened, Question, RunKind, RunStarted
from journal.learnt import Learnt, learnt, pattern
from journal.mending import Doubtful, dismiss, mend
from journal.record.job import Asked
from journal.record.store import Store
from journal.session import Session, open_job
from journal.told import missing_text
from journal.wording.types import Verdict


@pytest.fixture
def session(tmp_path: Path, six: Engine) -> Iterator[Session]:
    now = [datetime(2026, 3, 2, 8, tzinfo=UTC)]

    def clock() -> datetime:
        now[0] += timedelta(seconds=5)
        return now[0]

    with Store.open(tmp_path / "journal") as store:
        job = open_job(store, JobOpened("Pump", six, "misses"), "Ash", at=clock())
        session = Session(store, job, clock=clock)
        session.enter(RunStarted(RunKind.IDLE))
        session.enter(Baseline(30.0))
        yield session


def lost(session: Session, heard: str) -> Asked:
    entry = session.enter(Question("Sorry?", ()), heard=heard)
    return next(asked for asked in session.job.not_understood if asked.question.entry.id == entry.id)


def cuts(session: Session) -> list[tuple[int, int | None, float | None]]:
    return [(run.number, cut.cylinder, cut.value) for run in session.job.runs for cut in run.cuts]


def test_it_counts_from_when_it_was_said_with_what_it_was_put_right_with(session: Session) -> None:
    asked = lost(session, "knock four down thirty eight")
    session.enter(RunStarted(RunKind.IDLE))
    assert mend(session, asked, "cylinder four cut thirty eight") == [Cut(4, 38.0)]
    assert cuts(session) == [(1, 4, 38.0)]
    answer = session.job.entries[-1]
    assert answer.body == Answer(asked.question.entry.id, body=Cut(4, 38.0))
    assert answer.heard == "cylinder four cut thirty eight"
    assert session.job.not_understood == ()


def test_several_things_in_it_are_all_entered_where_they_were_said(session: Session) -> None:
    asked = lost(session, "mumble four and five")
    session.enter(RunStarted(RunKind.IDLE))
    mend(session, asked, "four cut thirty eight. five cut thirty seven")
    assert cuts(session) == [(1, 4, 38.0), (1, 5, 37.0)]
    job = session.job
    assert set(session.store.signatures(job.id)) == {entry.id for entry in job.entries}, "all of it was made here"


def test_the_next_cylinder_is_the_one_that_was_next_then(session: Session) -> None:
    session.enter(Cut(1, 37.0))
    asked = lost(session, "necks thirty eight")
    session.enter(Cut(5, 37.0))
    assert mend(session, asked, "next, thirty eight") == [Cut(2, 38.0)]


def test_what_was_put_right_since_counts_for_what_was_next(session: Session) -> None:
    first = session.enter(Cut(1, 37.0))
    asked = lost(session, "necks thirty eight")
    session.enter(Correction(first.id, Cut(3, 37.0)))
    assert mend(session, asked, "next, thirty eight") == [Cut(4, 38.0)]


def test_a_doubt_names_what_may_be_meant_and_one_of_it_can_be_chosen(session: Session) -> None:
    asked = lost(session, "four three hundred")
    with pytest.raises(Doubtful) as doubt:
        mend(session, asked, "cylinder four cut three hundred")
    assert doubt.value.options[0] == Cut(4, 300.0)
    assert session.job.not_understood
    assert mend(session, asked, "cylinder four cut three hundred", 0) == [Cut(4, 300.0)]


@pytest.mark.parametrize("words", ["lovely weather", "scratch that", "thirty eight", "cylinder nine cut thirty"])
def test_what_says_nothing_to_enter_leaves_it_waiting(session: Session, words: str) -> None:
    asked = lost(session, "mumble")
    before = session.job.entries
    with pytest.raises(BadInput):
        mend(session, asked, words)
    assert session.job.entries == before


def test_what_was_not_for_the_journal_waits_no_more_and_teaches_nothing(session: Session) -> None:
    asked = lost(session, "hand me the three eighths")
    dismiss(session, asked)
    assert session.job.not_understood == () and session.job.waiting == ()
    assert learnt(session.store) == []


def test_what_is_missing_tells_how_much_was_not_understood_apart_from_questions(session: Session) -> None:
    lost(session, "mumble")
    assert "1 not understood" in missing_text(session.job) and "question" not in missing_text(session.job)


def test_a_word_in_the_shops_own_units_is_put_right_in_them(session: Session) -> None:
    session.units = "us"
    asked = lost(session, "coolant")
    mend(session, asked, "coolant one eighty five degrees fahrenheit")
    (reading,) = session.job.runs[0].conditions
    assert (reading.value, reading.unit) == (185.0, "degF")


def test_over_all_jobs_the_same_words_with_other_numbers_count_together(session: Session, six: Engine) -> None:
    for number, value in (("four", "thirty eight"), ("five", "37.5")):
        asked = lost(session, f"knock {number} down, {value}")
        mend(session, asked, f"cylinder {number} cut, {value}")
    other = Session(session.store, open_job(session.store, JobOpened("Loader", six), "Bo"), clock=session.clock)
    other.enter(RunStarted(RunKind.IDLE))
    mend(other, lost(other, "knock one down 37"), "cylinder one cut 37")
    mend(other, lost(other, "she is puffing badly"), "blow-by heavy")
    assert learnt(session.store) == [
        Learnt("knock # down #", "cylinder # cut #", "cut", 3),
        Learnt("she is puffing badly", "blow by heavy", "check", 1),
    ]


def test_a_pattern_leaves_words_that_only_sound_like_numbers() -> None:
    assert pattern("want to for, thirty-seven point five") == "want to for #"


def test_what_was_put_right_once_is_asked_about_when_its_like_is_said_in_another_job(
    session: Session, six: Engine
) -> None:
    mend(session, lost(session, "the gerbil is at eighty"), "coolant eighty degrees")
    other = Session(session.store, open_job(session.store, JobOpened("Loader", six), "Bo"), clock=session.clock)
    (outcome,) = other.type("the gerbil is at ninety")
    assert (outcome.verdict, outcome.say) == (Verdict.ASK, "coolant temperature ninety degrees Celsius?")
    other.type("yes")
    assert [entry.body for entry in other.job.entries][-1] == Answer(other.job.questions[-1].question.entry.id, 0)


def test_the_like_of_what_was_put_right_to_two_things_is_not_guessed_at(session: Session) -> None:
    mend(session, lost(session, "the gerbil is at eighty"), "coolant eighty degrees")
    mend(session, lost(session, "the gerbil is at seventy"), "oil temperature seventy degrees")
    (outcome,) = session.type("the gerbil is at ninety")
    assert outcome.verdict is Verdict.LET_GO


def test_a_number_that_was_not_said_is_never_put_in(session: Session) -> None:
    mend(session, lost(session, "the gerbil is at thirty"), "cylinder six cut, thirty")
    (outcome,) = session.type("the gerbil is at ninety")
    assert outcome.verdict is Verdict.LET_GO
