"""What would change something older, or begin something new, is asked about in words that name it."""

from __future__ import annotations

from journal.facts import Baseline, Condition, Correction, Cut, Quantity, Question, RunKind, RunStarted
from journal.hearing.types import Candidate
from journal.session import Session
from journal.wording.types import Verdict
from tests.session.test_said_back import clock, last, session

__all__ = ["clock", "session"]


def test_a_pressure_changed_amid_a_run_names_it_and_both_that_it_may_mean(session: Session) -> None:
    session.type("injection pressure twenty")
    session.type("cylinder one cut thirty seven")
    (asked,) = session.type("injection pressure thirty")
    assert asked.verdict is Verdict.ASK
    assert asked.say == asked.line == "injection pressure thirty megapascals: still this run, or a new one?"
    begun = RunStarted(RunKind.IDLE, repeat=True, pressure_value=30.0, pressure_unit="MPa")
    assert last(session) == Question(asked.say, (Condition(Quantity.INJECTION_PRESSURE, 30.0), begun))


def test_a_correction_of_something_older_names_what_it_would_be(session: Session) -> None:
    session.type("cylinder one cut thirty seven")
    target = session.job.entries[-1].id
    session.type("blow-by light")
    (asked,) = session.type("correction thirty eight")
    assert (asked.verdict, asked.say) == (Verdict.ASK, "one, thirty-eight?")
    assert last(session) == Question("one, thirty-eight?", (Correction(target, Cut(1, 38.0)),))
    session.type("yes")
    assert [cut.value for cut in session.job.runs[-1].cuts] == [38.0]


def test_a_correction_that_is_not_to_be_expected_is_asked_about_in_its_own_words(session: Session) -> None:
    session.type("cylinder one cut thirty seven")
    (asked,) = session.type("correction three hundred")
    assert asked.verdict is Verdict.ASK and asked.say != "" and asked.say.endswith("?")
    (option, *_) = last(session).options  # type: ignore[attr-defined]
    assert option.body.cylinder == 1


def test_what_was_said_of_a_cylinder_is_moved_or_there_is_nothing_to_move(session: Session) -> None:
    (nothing,) = session.type("it was number four, not three")
    assert nothing.line == "nothing was said of a cylinder that could be put right"
    session.type("cylinder three cut thirty seven")
    target = session.job.entries[-1].id
    (moved,) = session.type("it was number four, not three")
    assert moved.line == "corrected: cylinder 4 cut: 37"
    assert last(session) == Correction(target, Cut(4, 37.0))


def foreseen(session: Session, text: str) -> tuple[bool, bool]:
    """Whether all of it would be taken, and whether it would be entered at a pause."""
    found = session.foresee([Candidate(text, 0.0, "typed")])
    assert session.job.entries[-1].body == Baseline(30.0), "nothing is entered"
    return found.certain, found.enters


def test_at_a_pause_only_what_can_be_taken_back_is_entered(session: Session) -> None:
    assert foreseen(session, "cylinder one cut thirty seven") == (True, True)
    assert foreseen(session, "cylinder one cut three hundred") == (False, False)
    assert foreseen(session, "scratch that") == (True, False), "a command acts at once"
    assert foreseen(session, "see you at half past four")[1] is False
    session.held = True
    assert foreseen(session, "cylinder one cut thirty seven") == (True, False)


def test_while_it_leads_figures_alone_wait_for_their_end(session: Session) -> None:
    session.lead_on()
    assert foreseen(session, "thirty seven") == (True, False)
    assert foreseen(session, "cylinder one cut thirty seven") == (True, True)


def test_a_cylinders_own_number_is_no_answer_where_only_its_reading_is_asked_about(session: Session) -> None:
    session.enter(Question("two, three zero?", (Cut(2, 30.0),)))
    (asked,) = session.type("two")
    assert asked.verdict is Verdict.ASK and len(session.job.waiting) == 1
    session.enter(Question("two twice?", (Cut(2, 30.0), Cut(2, 31.0), Cut(3, 30.0))))
    (again,) = session.type("two")
    assert again.verdict is Verdict.ASK, "two of them are of it"
    (taken,) = session.type("three")
    assert (taken.verdict, taken.line) == (Verdict.TAKE, "cylinder 3 cut: 30")
