"""Each run is as it was announced, and what is read belongs to it in the run's own quantity and unit."""

from __future__ import annotations

from journal.facts import (
    Answer,
    Baseline,
    Condition,
    Correction,
    Cut,
    PutBack,
    Quantity,
    Question,
    RepairDone,
    Restored,
    RunEnded,
    RunKind,
    RunStarted,
    Withdrawal,
)
from journal.record.job import JobState
from journal.record.replay import replay
from tests.record.arrange import opened

HALF = RunStarted(RunKind.HALF_ENGINE, Quantity.FUEL_RATE, "L/h", held_out=(4, 5, 6), pressure="high")


def test_a_run_takes_nothing_over_from_the_one_before_unless_it_repeats_it() -> None:
    job = opened()
    plain = RunStarted(RunKind.IDLE)
    for start in (HALF, plain, HALF):
        job.say(start)
    runs = replay(job.entries).runs
    assert [run.start for run in runs] == [HALF, plain, HALF]
    assert [run.number for run in runs] == [1, 2, 3]
    assert [run.ended_at for run in runs] == [runs[1].started_at, runs[2].started_at, None]
    first = opened()
    first.say(again := RunStarted(RunKind.IDLE, repeat=True))
    assert replay(first.entries).runs[0].start == again, "nothing to repeat"


def test_readings_have_the_runs_quantity_and_unit_unless_they_say_another() -> None:
    job = opened()
    job.say(HALF)
    said = [
        Baseline(3.0),
        Cut(1, 4.0),
        Cut(2, 1.0, unit="gal/h"),
        Cut(3, 700.0, quantity=Quantity.ENGINE_SPEED),
        Cut(3, None, no_change=True),
        Condition(Quantity.INJECTION_PRESSURE, 200.0, "bar"),
    ]
    for body in said:
        job.say(body, certainty=0.75)
    (run,) = replay(job.entries).runs
    assert [(r.quantity, r.unit) for r in (*run.baselines, *run.cuts, *run.conditions)] == [
        (Quantity.FUEL_RATE, "L/h"),
        (Quantity.FUEL_RATE, "L/h"),
        (Quantity.FUEL_RATE, "gal/h"),
        (Quantity.ENGINE_SPEED, "rpm"),
        (Quantity.FUEL_RATE, "L/h"),
        (Quantity.INJECTION_PRESSURE, "bar"),
    ]
    assert [r.no_change for r in run.cuts] == [False, False, False, True]
    assert {r.certainty for r in (*run.baselines, *run.cuts, *run.conditions)} == {0.75}
    assert run.done == (1, 2, 3, 3)


def test_a_run_that_was_asked_about_is_the_likelier_one_until_it_is_answered() -> None:
    job = opened()
    idle = RunStarted(RunKind.IDLE)
    asked = job.say(Question("idle, or half engine?", (idle, HALF)))
    job.say(Cut(1, 30.0))
    (run,) = replay(job.entries).runs
    assert (run.start, run.asked, len(run.cuts)) == (idle, True, 1)
    job.say(Answer(asked.id, 1))
    (run,) = replay(job.entries).runs
    assert (run.start, run.asked, len(run.cuts)) == (HALF, False, 1)


def test_questions_about_readings_lapse_with_their_run_and_others_do_not() -> None:
    job = opened()
    before = job.say(Question("one, three zero?", (Cut(1, 30.0), Cut(1, 13.0))))
    job.say(RunStarted(RunKind.IDLE))
    reading = job.say(Question("two, three zero?", (Cut(2, 30.0), Correction(before.id, Cut(2, 13.0)))))
    mixed = job.say(Question("three, or half engine?", (Cut(3, 30.0), HALF)))
    lost = job.say(Question("Sorry?", ()))
    assert [a.question.entry for a in replay(job.entries).waiting] == [before, reading, mixed]
    job.say(RunEnded())
    late = job.say(Question("four, three zero?", (Cut(4, 30.0), Cut(4, 13.0))))
    job.say(RunStarted(RunKind.IDLE))
    job.say(RunEnded())
    stands = replay(job.entries)
    assert [a.question.entry for a in stands.lapsed] == [reading]
    assert [a.question.entry for a in stands.waiting] == [before, mixed, late]
    assert [a.question.entry for a in stands.not_understood] == [lost]


def test_a_repair_is_to_be_verified_until_a_run_after_it() -> None:
    job = opened()
    job.say(RunStarted(RunKind.IDLE))
    assert replay(job.entries).state is JobState.OPEN
    job.say(RepairDone("new injector"))
    assert replay(job.entries).state is JobState.TO_VERIFY
    job.say(RunStarted(RunKind.IDLE))
    assert replay(job.entries).state is JobState.TO_VERIFY
    job.say(RunStarted(RunKind.IDLE, after_repair=True))
    assert replay(job.entries).state is JobState.OPEN


def test_what_was_changed_twice_is_put_back_once() -> None:
    job = opened()
    for _ in range(2):
        job.say(RunStarted(RunKind.IDLE, pressure_value=20.0))
    assert replay(job.entries).outstanding == (Restored.PRESSURE,)
    job.say(PutBack(Restored.CYLINDERS))
    assert replay(job.entries).outstanding == (Restored.PRESSURE,)
    job.say(PutBack(Restored.PRESSURE))
    assert replay(job.entries).outstanding == ()


def test_what_only_acts_on_other_entries_does_not_count_itself() -> None:
    job = opened()
    cut = job.say(Cut(1, 30.0))
    right = job.say(Correction(cut.id, Cut(1, 33.0)))
    away = job.say(Withdrawal(right.id))
    asked = job.say(Question("two, three zero?", (Cut(2, 30.0),)))
    answer = job.say(Answer(asked.id))
    stands = replay(job.entries)
    assert {id_: entry.body for id_, entry in stands.effective.items()} == {
        job.entries[0].id: job.entries[0].body,
        cut.id: Cut(1, 30.0),
        answer.id: answer.body,
    }
    assert stands.replaced_by == {cut.id: (right.id,), right.id: (away.id,), asked.id: (answer.id,)}
