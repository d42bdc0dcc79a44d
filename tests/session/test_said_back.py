"""What is said back: what was understood, what is asked, and the last of it again when it was not heard."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from journal.amending import RECENT
from journal.facts import Answer, Body, Correction, Cut, Engine, JobOpened, Note, Question, Source, Withdrawal
from journal.record.store import Store
from journal.session import DOUBTFUL, Session, open_job
from journal.wording import describe
from journal.wording.types import Verdict
from tests.record.bodies import bodies


class Clock:
    """Stands still unless it is moved."""

    def __init__(self) -> None:
        self.at = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.at += timedelta(milliseconds=1)
        return self.at


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def session(tmp_path: Path, six: Engine, clock: Clock) -> Iterator[Session]:
    with Store.open(tmp_path / "journal") as store:
        job = open_job(store, JobOpened("Pump", six, "misses"), "Ash", at=clock())
        made = Session(store, job, clock=clock)
        for line in ("start idle cut out", "baseline thirty"):
            made.type(line)
        yield made


def last(session: Session) -> object:
    return session.job.entries[-1].body


def test_the_last_thing_said_back_is_said_again_and_what_was_let_go_is_none(session: Session) -> None:
    (cut,) = session.type("cylinder one cut thirty seven point five")
    assert cut.say == "one, thirty-seven point five"
    (chat,) = session.type("see you at half past four")
    assert chat.verdict is Verdict.LET_GO and chat.say == ""
    before = len(session.job.entries)
    for _ in range(2):
        (again,) = session.type("say again")
        assert (again.verdict, again.say, again.line, again.entry) == (Verdict.TAKE, cut.say, cut.say, None)
    assert len(session.job.entries) == before


def test_nothing_was_said_yet(tmp_path: Path, six: Engine) -> None:
    with Store.open(tmp_path / "new") as store:
        session = Session(store, open_job(store, JobOpened("Pump", six, "misses"), "Ash"))
        (again,) = session.type("say again")
        assert again.say == "nothing said yet"
        assert session.technician == "Ash" and Session(store, session.job_id, "Wren").technician == "Wren"


def test_what_came_of_it_is_in_the_entry_with_its_words_and_certainty(session: Session, clock: Clock) -> None:
    (cut,) = session.type("cylinder one cut thirty seven point five")
    entry = session.job.entries[-1]
    assert cut.entry == entry and cut.decision is not None
    assert (entry.heard, entry.technician, entry.source) == (
        "cylinder one cut thirty seven point five",
        "Ash",
        Source.TYPED,
    )
    assert entry.certainty == cut.decision.certainty > 0.9
    assert entry.at_utc <= clock.at and entry.clip == ""


def test_a_question_is_kept_with_its_options_and_its_answer_says_what_counts(session: Session) -> None:
    (asked,) = session.type("cylinder two cut three hundred")
    assert asked.verdict is Verdict.ASK and asked.say == asked.line != ""
    question = last(session)
    assert isinstance(question, Question) and question.prompt == asked.say
    (answer,) = session.type("no")
    assert (answer.verdict, answer.say) == (Verdict.TAKE, "neither, then; say it again")
    assert isinstance(last(session), Answer) and session.job.waiting == ()


@pytest.mark.parametrize(("after", "taken"), [(RECENT - timedelta(milliseconds=50), True), (RECENT, False)])
def test_never_mind_takes_back_what_was_said_in_the_last_half_minute(
    session: Session, clock: Clock, after: timedelta, taken: bool
) -> None:
    assert timedelta(seconds=30) == RECENT
    session.type("cylinder one cut thirty seven")
    clock.at = session.job.entries[-1].at_utc + after
    (outcome,) = session.type("never mind")
    assert outcome.verdict is (Verdict.TAKE if taken else Verdict.LET_GO)
    assert isinstance(last(session), Withdrawal) is taken
    assert outcome.line == ("taken back: cylinder 1 cut: 37" if taken else "nothing was said just now to take back")


READ = ("cylinder one cut thirty seven", "cylinder two cut thirty eight", "cylinder three cut thirty nine")


@pytest.mark.parametrize(
    ("said", "line"),
    [
        ("scratch the last two", "taken back: cylinder 3 cut: 39; cylinder 2 cut: 38"),
        ("scratch the last three readings", "taken back: cylinder 3 cut: 39; cylinder 2 cut: 38; cylinder 1 cut: 37"),
    ],
)
def test_the_last_few_readings_are_taken_back_at_once_the_latest_first(session: Session, said: str, line: str) -> None:
    for text in READ:
        session.type(text)
    session.type("note knocks when cold")
    before = session.job
    (outcome,) = session.type(said)
    assert (outcome.verdict, outcome.line, outcome.say) == (Verdict.TAKE, line, line)
    made = session.job.entries[len(before.entries) :]
    targets = [entry.body.target for entry in made if isinstance(entry.body, Withdrawal)]
    assert targets == [cut.entry for cut in reversed(before.runs[-1].cuts)][: len(targets)]
    assert len(targets) == len(made) == line.count("cut:") and outcome.entry == made[-1]
    assert {entry.heard for entry in made} == {said}


def test_fewer_readings_than_said_are_left_alone_and_so_are_another_technicians(session: Session) -> None:
    baseline, *_ = session.job.runs[-1].baselines
    session.type(READ[0])
    for said in ("scratch the last three", "scratch the last two"):
        count = len(session.job.entries)
        (outcome,) = session.type(said)
        if said.endswith("three"):
            assert (outcome.verdict, outcome.line) == (
                Verdict.LET_GO,
                "there are not so many readings to take back",
            )
            assert len(session.job.entries) == count
        else:
            assert outcome.verdict is Verdict.TAKE, "the baseline is a reading too"
    assert baseline.entry not in session.job.effective
    other = Session(session.store, session.job_id, "Wren", clock=session.clock)
    other.type(READ[1])
    other.type(READ[2])
    assert [o.verdict for o in session.type("scratch the last two")] == [Verdict.LET_GO]
    assert len(session.job.runs[-1].cuts) == 2


def test_taking_back_tells_what_and_taking_that_back_puts_it_back(session: Session) -> None:
    session.type("cylinder one cut thirty seven")
    (away,) = session.type("scratch that")
    assert away.say == away.line == "taken back: cylinder 1 cut: 37"
    (back,) = session.type("scratch that")
    assert back.say == back.line == "put back: cylinder 1 cut: 37"
    assert [cut.value for cut in session.job.runs[-1].cuts] == [37.0]


def test_a_correction_tells_what_it_is_now(session: Session) -> None:
    session.type("cylinder one cut thirty seven")
    (now,) = session.type("correction thirty eight")
    assert (now.line, now.say) == ("corrected: cylinder 1 cut: 38", "one, thirty-eight")
    assert isinstance(last(session), Correction)


def test_what_nobody_asked_for_is_kept_as_a_doubtful_note_or_asked_about_in_its_own_words(session: Session) -> None:
    (kept,) = session.type("Fan belt's slipping!")
    assert kept.entry is not None and kept.entry.certainty == DOUBTFUL == 0.5
    assert kept.line == kept.say == 'kept as a note: "Fan belt\'s slipping"'
    (asked,) = session.type("something rattles in the turbo at high revs")
    note = Note("something rattles in the turbo at high revs")
    assert asked.say == 'Sorry? Keep it as a note: "something rattles in the turbo at high revs"?'
    assert last(session) == Question(asked.say, (note,)) and session.job.entries[-1].certainty == 0.0
    (lost,) = session.type("cut zorp thirty eight blim")
    assert lost.say == 'Sorry? I made out "cut zorp thirty eight blim".'
    assert last(session) == Question(lost.say, ())


def test_while_it_is_held_nothing_is_entered_and_that_is_said(session: Session) -> None:
    (held,) = session.type("hold on")
    assert (held.verdict, held.say, held.line) == (Verdict.TAKE, "holding on; say carry on", "holding on; say carry on")
    before = len(session.job.entries)
    (nothing,) = session.type("cylinder one cut thirty seven")
    assert (nothing.verdict, nothing.line, nothing.say) == (Verdict.LET_GO, "holding on; say carry on", "")
    assert len(session.job.entries) == before
    (on,) = session.type("carry on")
    assert (on.verdict, on.say) == (Verdict.TAKE, "carrying on") and not session.held
    session.type("cylinder one cut thirty seven")
    assert len(session.job.entries) == before + 1


@pytest.mark.parametrize(
    ("word", "value", "say"),
    [
        ("first", 30.0, "two, thirty"),
        ("second", 13.0, "two, thirteen"),
        ("thirteen", 13.0, "two, thirteen"),
        ("thirty", 30.0, "two, thirty"),
        ("neither", None, "neither, then; say it again"),
        ("no", None, "neither, then; say it again"),
    ],
)
def test_each_word_picks_its_option(session: Session, word: str, value: float | None, say: str) -> None:
    question = session.enter(Question("two, three zero or one three?", (Cut(2, 30.0), Cut(2, 13.0))))
    (outcome,) = session.type(word)
    assert (outcome.verdict, outcome.say) == (Verdict.TAKE, say)
    answer = last(session)
    assert isinstance(answer, Answer) and answer.question == question.id
    assert [cut.value for cut in session.job.runs[-1].cuts] == ([] if value is None else [value])


@pytest.mark.parametrize("word", ["yes", "third", "forty five"])
def test_what_picks_none_of_two_is_asked_again_and_settles_nothing(session: Session, word: str) -> None:
    session.enter(Question("two, three zero or one three?", (Cut(2, 30.0), Cut(2, 13.0))))
    outcomes = session.type(word)
    assert all(outcome.verdict is not Verdict.TAKE for outcome in outcomes)
    assert len(session.job.waiting) >= 1 and session.job.runs[-1].cuts == ()


def test_second_of_one_is_asked_again(session: Session) -> None:
    session.enter(Question("two, three zero?", (Cut(2, 30.0),)))
    (again,) = session.type("second")
    assert (again.verdict, again.say, again.entry) == (Verdict.ASK, "two, three zero?", None)
    (right,) = session.type("yes")
    assert (right.verdict, right.line) == (Verdict.TAKE, "cylinder 2 cut: 30")


def test_a_number_that_is_neither_is_told_what_to_say(session: Session) -> None:
    session.enter(Question("which?", (Note("a"), Note("b"))))
    (again,) = session.type("forty")
    assert (again.verdict, again.say) == (Verdict.ASK, "which? Say first, second or neither.")
    session.type("neither")
    session.enter(Question("this?", (Note("a"),)))
    (again,) = session.type("forty")
    assert (again.verdict, again.say) == (Verdict.ASK, "this? Say yes or no.")


def test_a_number_picks_the_cylinder_where_that_is_what_is_asked(session: Session) -> None:
    session.enter(Question("three or four?", (Cut(3, 30.0), Cut(4, 30.0))))
    (taken,) = session.type("four")
    assert (taken.verdict, taken.line) == (Verdict.TAKE, "cylinder 4 cut: 30")


def test_earlier_questions_about_the_same_thing_are_settled_with_the_one_answered(session: Session) -> None:
    session.enter(Question("two, three zero?", (Cut(2, 30.0),)))
    session.enter(Question("three, three zero?", (Cut(3, 30.0),)))
    session.enter(Question("two, three one?", (Cut(2, 31.0),)))
    session.type("yes")
    assert [asked.question.body.prompt for asked in session.job.waiting] == ["three, three zero?"]
    assert [(cut.cylinder, cut.value) for cut in session.job.runs[-1].cuts] == [(2, 31.0)]


def test_a_plain_statement_settles_what_waits_by_its_option_or_in_its_own_words(session: Session) -> None:
    asked = session.enter(Question("two, three zero or one three?", (Cut(2, 30.0), Cut(2, 13.0))))
    session.type("cylinder two cut thirty")
    assert last(session) == Answer(asked.id, 0)
    asked = session.enter(Question("three, three zero or one three?", (Cut(3, 30.0), Cut(3, 13.0))))
    session.type("cylinder three cut thirty one")
    assert last(session) == Answer(asked.id, body=Cut(3, 31.0))
    assert [(cut.cylinder, cut.value) for cut in session.job.runs[-1].cuts] == [(2, 30.0), (3, 31.0)]


@given(bodies(st.just("x")))
def test_every_entry_has_words_for_the_screen(body: Body) -> None:
    """What the code calls it is none: it stood on the button that takes it back."""
    assert describe(body) != type(body).__name__
