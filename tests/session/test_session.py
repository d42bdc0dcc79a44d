"""What was said becomes entries: taken, asked, corrected, taken back, answered."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from journal.analysis import diagnose
from journal.errors import BadInput
from journal.facts import (
    Answer,
    Baseline,
    Body,
    Correction,
    Cut,
    Engine,
    JobFact,
    JobOpened,
    PartWanted,
    Question,
    RunKind,
    RunStarted,
    Withdrawal,
)
from journal.hearing.types import Candidate
from journal.record.store import Store
from journal.session import Session, open_job
from journal.wording.decide import said_twice
from journal.wording.types import Context, Decision, Verdict


@pytest.fixture
def session(tmp_path: Path, six: Engine) -> Iterator[Session]:
    with Store.open(tmp_path / "journal") as store:
        job = open_job(store, JobOpened("Pump", six, "misses"), "Ash")
        yield Session(store, job)


def say(session: Session, *lines: str) -> None:
    for line in lines:
        assert all(outcome.verdict is Verdict.TAKE for outcome in session.type(line)), line


def cuts(session: Session) -> list[tuple[int | None, float | None]]:
    return [(cut.cylinder, cut.value) for run in session.job.runs for cut in run.cuts]


def test_a_typed_cut_is_an_entry_with_its_words(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty", "cylinder four cut, thirty eight")
    entry = session.job.entries[-1]
    assert entry.body == Cut(4, 38.0)
    assert entry.heard
    assert entry.technician == "Ash"


def test_scratch_that_takes_back_the_last_entry_and_again_puts_it_back(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty", "cylinder four cut, thirty eight", "scratch that")
    assert cuts(session) == []
    assert isinstance(session.job.entries[-1].body, Withdrawal)
    say(session, "scratch that")
    assert cuts(session) == [(4, 38.0)]


def test_scratch_with_a_cylinder_takes_back_its_last_reading_only(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty", "cylinder four cut, thirty eight", "cylinder five cut 37")
    say(session, "scratch cylinder four")
    assert cuts(session) == [(5, 37.0)]


def test_a_correction_replaces_the_number_by_another_entry(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty", "cylinder four cut, thirty eight", "correction thirty nine")
    assert cuts(session) == [(4, 39.0)]
    assert [type(e.body) for e in session.job.entries[-2:]] == [Cut, Correction]
    say(session, "scratch that")
    assert cuts(session) == [(4, 38.0)]


def test_a_doubtful_number_waits_as_a_question_and_counts_only_when_answered(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty")
    heard = [
        Candidate("cylinder four cut thirty seven", -0.7, "whisper"),
        Candidate("cylinder four cut thirty nine", -0.7, "whisper"),
    ]
    (outcome,) = session.hear(heard)
    assert outcome.verdict is Verdict.ASK
    question = session.job.waiting[0].question.body
    assert {option.value for option in question.options if isinstance(option, Cut)} >= {37.0, 39.0}
    assert cuts(session) == []
    say(session, "the second")
    assert cuts(session) == [(4, question.options[1].value)]  # type: ignore[union-attr]
    assert not session.job.waiting


def test_further_readings_do_not_wait_for_an_answer_and_keep_their_run(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty")
    session.hear([Candidate("four cut thirty seven", -0.7, "a"), Candidate("four cut thirty nine", -0.7, "a")])
    say(session, "cylinder five cut thirty eight")
    (asked,) = session.job.waiting
    session.enter(Answer(asked.question.entry.id, 0))
    (run,) = session.job.runs
    assert sorted(cut.cylinder or 0 for cut in run.cuts) == [4, 5]


def test_a_third_number_is_asked_about_once_more(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty")
    session.hear([Candidate("four cut thirty seven", -0.7, "a"), Candidate("four cut thirty nine", -0.7, "a")])
    (third,) = session.type("thirty eight")
    assert third.verdict is not Verdict.TAKE
    assert cuts(session) == []
    assert third.say == "four, thirty-eight?"
    say(session, "yes")
    assert cuts(session) == [(4, 38.0)]
    assert not session.job.waiting


def test_an_answer_can_be_one_of_the_two_numbers(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty")
    session.hear([Candidate("four cut thirty seven", -0.7, "a"), Candidate("four cut thirty nine", -0.7, "a")])
    say(session, "it's thirty nine")
    assert cuts(session) == [(4, 39.0)]


def test_a_number_that_does_not_answer_is_told_what_does(session: Session) -> None:
    session.enter(Question("four, thirty-eight?", (Cut(4, 38.0),)))
    (one,) = session.type("4000")
    assert one.say == "four, thirty-eight? Say yes or no."
    session.enter(Question("five: thirty, or thirteen?", (Cut(5, 30.0), Cut(5, 13.0))))
    (two,) = session.type("4000")
    assert two.say == "five: thirty, or thirteen? Say first, second or neither."


def test_a_bare_number_without_a_question_is_let_go(session: Session) -> None:
    say(session, "idle cut-out test")
    before = len(session.job.entries)
    assert [o.verdict for o in session.type("thirty eight")] == [Verdict.LET_GO]
    assert len(session.job.entries) == before


def test_no_leaves_neither_and_the_reading_is_not_entered(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty")
    session.hear([Candidate("four cut thirty seven", -0.7, "a"), Candidate("four cut thirty nine", -0.7, "a")])
    say(session, "neither")
    assert cuts(session) == []
    assert not session.job.waiting


def test_holding_on_lets_everything_go_until_carry_on(session: Session) -> None:
    say(session, "idle cut-out test", "hold on")
    assert [o.verdict for o in session.type("baseline thirty")] == [Verdict.LET_GO]
    say(session, "carry on", "baseline thirty")
    assert session.job.runs[0].baselines[0].value == 30.0


def test_next_means_the_cylinder_after_the_last_one_cut(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty", "cylinder one cut 37", "next, thirty eight")
    assert cuts(session) == [(1, 37.0), (2, 38.0)]


def test_next_follows_the_firing_order_once_the_cuts_do(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty", "cylinder one cut 37", "cylinder five cut 38", "next, 37")
    assert cuts(session)[-1] == (3, 37.0)


def test_a_cylinder_that_is_not_on_the_engine_is_never_an_entry(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty")
    before = len(session.job.entries)
    outcomes = session.type("cylinder nine cut, thirty eight")
    assert all(o.verdict is not Verdict.TAKE for o in outcomes)
    assert not any(isinstance(e.body, Cut) for e in session.job.entries[before:])


def test_what_is_missing_names_the_cylinders_not_cut(session: Session) -> None:
    say(session, "idle cut-out test", "cylinder one cut 37", "cylinder two cut 37")
    (outcome,) = session.type("what have I missed")
    assert "no baseline yet" in outcome.say
    assert "3, 4, 5, 6" in outcome.say


def test_a_doubtful_correction_is_a_question_whose_answer_corrects(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty", "cylinder four cut, thirty eight")
    session.hear([Candidate("correction thirty seven", -0.7, "a"), Candidate("correction thirty nine", -0.7, "a")])
    assert len(session.job.waiting) == 1
    assert isinstance(session.job.waiting[0].question.body, Question)
    say(session, "the second")
    assert cuts(session) == [(4, 39.0)]


def test_a_correction_that_this_job_does_not_lead_one_to_expect_is_asked(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty", "cylinder four cut, thirty eight")
    (outcome,) = session.type("correction three hundred")
    assert outcome.verdict is Verdict.ASK
    assert cuts(session) == [(4, 38.0)]
    say(session, "yes")
    assert cuts(session) == [(4, 300.0)]


def test_a_baseline_can_be_corrected_too(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty", "correction thirty one")
    assert [e.body for e in session.job.effective.values() if isinstance(e.body, Baseline)] == [Baseline(31.0)]


def test_readings_after_a_doubtful_run_start_do_not_fall_into_the_run_before(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty", "cylinder one cut 37")
    session.enter(
        Question(
            "half engine, 4 5 6 out, or 4 6 out?",
            (RunStarted(RunKind.HALF_ENGINE, held_out=(4, 5, 6)), RunStarted(RunKind.HALF_ENGINE, held_out=(4, 6))),
        )
    )
    say(session, "baseline fifty six", "cylinder one cut one hundred ten")
    first, second = session.job.runs
    assert ([c.value for c in first.cuts], [c.value for c in second.cuts]) == ([37.0], [110.0])
    assert (first.asked, second.asked) == (False, True)
    assert any("question" in remark.text for remark in diagnose(session.job).warnings)
    assert [o.verdict for o in session.type("the second")] == [Verdict.LET_GO]
    (asked,) = session.job.waiting
    session.enter(Answer(asked.question.entry.id, 1))
    assert session.job.runs[1].start.held_out == (4, 6)
    assert not session.job.runs[1].asked
    assert [c.value for c in session.job.runs[1].cuts] == [110.0]


def test_no_to_a_doubtful_run_start_leaves_no_run_of_its_own(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty")
    session.enter(Question("idle cut-out, high pressure?", (RunStarted(RunKind.IDLE),)))
    say(session, "no", "cylinder one cut 37")
    assert [len(run.cuts) for run in session.job.runs] == [1]


def test_fuel_that_makes_no_torque_is_said_of_the_run_in_progress_and_of_no_other(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty", "one cut, thirty five", "no torque fuel six")
    say(session, "repeat the run", "no torque fuel seven")
    assert [run.start.idle_fuel for run in session.job.runs] == [6.0, 7.0]
    assert session.job.runs[1].start.repeat
    say(session, "scratch that", "repeat the run")
    assert [run.start.idle_fuel for run in session.job.runs] == [6.0, None, None]
    assert len(session.job.runs[0].cuts) == 1


def test_a_question_about_the_fuel_that_makes_no_torque_is_answered_and_can_be_corrected_again(
    session: Session,
) -> None:
    say(session, "idle cut-out test", "baseline thirty")
    (asked,) = session.type("no torque fuel thirty one")
    assert asked.verdict is Verdict.ASK
    assert session.job.runs[0].start.idle_fuel is None
    say(session, "no", "no torque fuel six", "no torque fuel five")
    assert session.job.runs[0].start.idle_fuel == 5.0
    say(session, "end of run")
    (after,) = session.type("no torque fuel six")
    assert after.verdict is Verdict.LET_GO


def test_what_must_be_said_again_is_asked_for_and_enters_nothing(session: Session) -> None:
    before = len(session.store.entries(session.job_id))
    heard = [("whisper", "scratch that", -3.0), ("whisper", "", -15.0), ("pocketsphinx", "bent lobe", -29.0)]
    candidates = [Candidate(text, score, listener) for listener, text, score in heard]
    (outcome,) = session.hear(candidates, free_text="scratch that", seconds=1.0)
    assert (outcome.verdict, outcome.entry) == (Verdict.ASK, None)
    assert outcome.say == "scratch that? Say it again."
    assert len(session.store.entries(session.job_id)) == before


def test_what_is_heard_alike_when_it_is_said_again_is_done(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty")
    heard = [("whisper", "scratch that", -3.0), ("whisper", "", -15.0), ("pocketsphinx", "bent lobe", -29.0)]
    candidates = [Candidate(text, score, listener) for listener, text, score in heard]
    (first,) = session.hear(candidates, free_text="scratch that", seconds=1.0)
    say(session, "cylinder one cut thirty seven")
    (other,) = session.hear(candidates, free_text="scratch that", seconds=1.0)
    assert first.say == other.say == "scratch that? Say it again.", "something else was said between"
    (again,) = session.hear(candidates, free_text="scratch that", seconds=1.0)
    assert again.verdict is Verdict.TAKE and again.line.startswith("taken back")
    assert session.job.runs[0].cuts == ()


def test_what_two_poor_hearings_have_in_common_is_asked_for_a_third_time(session: Session) -> None:
    say(session, "idle cut-out test", "baseline thirty")
    poor = Decision(Verdict.ASK, None, (), 0.8, "scratch that")
    assert said_twice(poor, poor, Context()) is None
    fair = Decision(Verdict.ASK, None, (), 0.94, "scratch that")
    settled = said_twice(fair, fair, Context())
    assert settled is not None and settled.verdict is Verdict.TAKE
    assert said_twice(fair, Decision(Verdict.ASK, None, (), 0.94, "carry on"), Context()) is None
    assert said_twice(None, fair, Context()) is None


@pytest.mark.parametrize(
    "body", [JobFact("work order", "7\n8"), JobFact("unit", "VB-1\u2028VB-2"), PartWanted("seal\t1")]
)
def test_a_name_that_is_no_single_line_is_refused_whoever_enters_it(session: Session, body: Body) -> None:
    before = session.job.entries
    with pytest.raises(BadInput, match="give one line"):
        session.enter(body)
    assert session.job.entries == before
    session.enter(JobFact("complaint", "misses cold\nand smokes"))
