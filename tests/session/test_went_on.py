"""What was entered at a pause stands where the whole begins with it; else it comes to what the whole would have."""

from __future__ import annotations

from journal.facts import Baseline, Cut, Question, RunKind, RunStarted, Withdrawal
from journal.hearing.types import Candidate
from journal.outcome import Outcome
from journal.session import Session
from journal.wording.types import Verdict
from tests.session.test_said_back import clock, session

__all__ = ["clock", "session"]

CLIP = "ab" * 32


def said(text: str) -> list[Candidate]:
    return [Candidate(text, 0.0, "typed")]


def cuts(session: Session) -> list[tuple[int | None, float | None]]:
    return [(cut.cylinder, cut.value) for run in session.job.runs for cut in run.cuts]


def entered(session: Session, text: str) -> list[Outcome]:
    return session.hear(said(text))


def test_what_the_whole_begins_with_stands_and_the_rest_is_carried_out(session: Session) -> None:
    first = entered(session, "cylinder one cut thirty seven")
    before = len(session.job.entries)
    whole = session.go_on(first, said("cylinder one cut thirty seven two cut thirty six"), clip=CLIP)
    assert whole[0] is first[0] and [outcome.verdict for outcome in whole] == [Verdict.TAKE, Verdict.TAKE]
    assert cuts(session) == [(1, 37.0), (2, 36.0)]
    assert len(session.job.entries) == before + 1 and session.job.entries[-1].clip == CLIP


def test_the_very_same_again_is_nothing_new(session: Session) -> None:
    first = entered(session, "cylinder one cut thirty seven")
    before = session.job.entries
    assert session.go_on(first, said("cylinder one cut thirty seven")) == first
    assert session.job.entries == before


def test_a_number_that_went_on_is_taken_back_and_the_whole_entered_in_its_place(session: Session) -> None:
    first = entered(session, "cylinder one cut thirty")
    back, now = session.go_on(first, said("cylinder one cut thirty seven"), clip=CLIP)
    assert (back.verdict, back.line, back.say) == (Verdict.TAKE, f"it went on; taken back: {first[0].line}", "")
    assert first[0].entry is not None and back.entry is not None
    assert back.entry.body == Withdrawal(first[0].entry.id) and back.entry.heard == first[0].entry.heard
    assert back.entry.clip == CLIP
    assert now.entry is not None and now.entry.body == Cut(1, 37.0) and cuts(session) == [(1, 37.0)]


def test_of_several_that_were_entered_the_last_is_taken_back_first(session: Session) -> None:
    first = entered(session, "one cut thirty seven two cut thirty")
    assert [outcome.entry is not None for outcome in first] == [True, True]
    outcomes = session.go_on(first, said("one cut thirty seven point five two cut thirty six"))
    backs = [o.entry.body for o in outcomes if o.entry is not None and isinstance(o.entry.body, Withdrawal)]
    assert backs == [Withdrawal(each.entry.id) for each in reversed(first) if each.entry is not None]
    assert cuts(session) == [(1, 37.5), (2, 36.0)]


def test_where_the_whole_is_for_nothing_what_was_entered_is_asked_about(session: Session) -> None:
    first = entered(session, "cylinder one cut thirty seven")
    outcomes = session.go_on(first, said("did you see the game last night"))
    assert outcomes[-1].verdict is Verdict.ASK and cuts(session) == []
    (waiting,) = session.job.waiting
    assert isinstance(waiting.question.body, Question) and waiting.question.body.options[0] == Cut(1, 37.0)
    session.type("yes")
    assert cuts(session) == [(1, 37.0)]


def test_the_whole_is_understood_as_if_nothing_of_it_had_been_entered(session: Session) -> None:
    """Without that, "next" would be the cylinder after the one that was entered."""
    session.type("cylinder one cut thirty seven")
    first = entered(session, "next thirty six")
    assert cuts(session)[-1][1] == 36.0
    then = cuts(session)[-1][0]
    session.go_on(first, said("next thirty six point five"))
    assert cuts(session) == [(1, 37.0), (then, 36.5)]


def test_a_run_that_went_on_is_begun_once(session: Session) -> None:
    first = entered(session, "idle cut-out test")
    runs = len(session.job.runs)
    session.go_on(first, said("idle cut-out test baseline thirty one"))
    assert len(session.job.runs) == runs and session.job.runs[-1].start.run is RunKind.IDLE
    assert isinstance(session.job.entries[-1].body, Baseline | RunStarted)
    assert [each.value for each in session.job.runs[-1].baselines] == [31.0]
