"""What a conversation's rules say exactly at their bounds, entry by entry, from jobs that are arranged by hand."""

from __future__ import annotations

from datetime import timedelta

import pytest

from journal.answering import (
    NEW_RUN_FROM,
    just_wanted,
    last_act,
    last_number,
    last_of_cylinder,
    last_wanted,
    new_run,
    of_cylinder,
    same_thing,
    settled_by,
    taken_back_just_now,
    what,
    with_value,
)
from journal.context import ANSWERABLE, context_of, just_asked, last_said
from journal.facts import (
    Answer,
    Baseline,
    Body,
    Check,
    Condition,
    Correction,
    Cut,
    Note,
    PartAnswer,
    PartState,
    PartWanted,
    PhotoCue,
    Quantity,
    Question,
    RunEnded,
    RunKind,
    RunStarted,
    Source,
    Withdrawal,
)
from journal.record.job import Job
from journal.record.replay import replay
from journal.told import missing_text, readings_text
from journal.wording.types import Range
from tests.record.arrange import Scribe, opened

PRESSURE, SPEED, LOAD = Quantity.INJECTION_PRESSURE, Quantity.ENGINE_SPEED, Quantity.LOAD
DOUBT = Question("one, three zero?", (Cut(1, 30.0), Cut(1, 13.0)))


def told(*bodies: Body) -> tuple[Scribe, Job]:
    """A job in which these were said, a second apart."""
    scribe = opened()
    for body in bodies:
        scribe.say(body)
    return scribe, replay(scribe.entries)


def test_a_question_can_be_answered_for_two_minutes_and_no_longer() -> None:
    scribe, job = told(RunStarted(RunKind.IDLE), Baseline(30.0), DOUBT)
    at = scribe.entries[-1].at_utc
    assert timedelta(minutes=2) == ANSWERABLE
    for now, there in ((None, True), (at, True), (at + ANSWERABLE, True), (at + ANSWERABLE * 1.001, False)):
        assert (just_asked(job, now) is not None) is there
        assert (context_of(job, None, now).question_options == DOUBT.options) is there


@pytest.mark.parametrize(
    ("option", "doubt"),
    [
        (Cut(1, 37.5), 0.07),
        (Baseline(31.0), 0.07),
        (Condition(SPEED, 700.0), 0.07),
        (Cut(1, 300.0), 1.0),
        (Note("it knocks"), 1.0),
    ],
)
def test_a_question_is_as_doubtful_as_its_sound_where_the_job_expects_its_reading(option: Body, doubt: float) -> None:
    scribe, job = told(RunStarted(RunKind.IDLE), Baseline(30.0))
    assert context_of(job).question_doubt == 1.0
    scribe.say(Question("?", (option,)), certainty=0.93)
    assert context_of(replay(scribe.entries)).question_doubt == pytest.approx(doubt)


def test_photos_and_the_desk_come_in_beside_what_is_said() -> None:
    scribe, _ = told(RunStarted(RunKind.IDLE), Baseline(30.0), PartWanted("injector"), DOUBT)
    wanted = scribe.entries[-2].id
    scribe.say(PartAnswer(wanted, PartState.ANSWERED, price="12"), source=Source.DESK, technician="Desk")
    job = replay(scribe.entries)
    assert (asked := just_asked(job)) is not None and asked.question.body == DOUBT
    assert (last := last_said(job)) is not None and last.body == DOUBT
    assert (act := last_act(job, "Ada")) is not None and act.body == DOUBT
    assert (desk := last_act(job, "Desk")) is not None and desk.source is Source.DESK
    assert (anyone := last_act(job, None)) is not None and anyone.body == DOUBT
    scribe.say(Cut(2, 31.0))
    assert just_asked(replay(scribe.entries)) is None


def test_a_question_asked_before_one_that_was_settled_is_answered_next() -> None:
    other = Question("two, four zero?", (Cut(2, 40.0), Cut(2, 14.0)))
    scribe, _ = told(RunStarted(RunKind.IDLE), DOUBT, other)
    scribe.say(Answer(scribe.entries[-1].id, 0))
    asked = just_asked(replay(scribe.entries))
    assert asked is not None and asked.question.body == DOUBT


@pytest.mark.parametrize(
    ("value", "asks"), [(25.0, False), (25.01, True), (15.0, False), (14.99, True), (20.0, False), (40.0, True)]
)
def test_a_pressure_begins_a_new_run_from_a_quarter_more_or_less(value: float, asks: bool) -> None:
    _, job = told(RunStarted(RunKind.IDLE), Condition(PRESSURE, 20.0, "MPa"), Baseline(30.0), Cut(1, 31.0))
    assert NEW_RUN_FROM == 0.25
    begun = RunStarted(RunKind.IDLE, repeat=True, pressure_value=value, pressure_unit="MPa")
    assert new_run(job, Condition(PRESSURE, value, "MPa")) == (begun if asks else None)
    thousandths = new_run(job, Condition(PRESSURE, value * 1000, "kPa"))
    assert (thousandths is not None) is asks


def test_a_speed_begins_one_too_and_nothing_else_does() -> None:
    said = (Condition(SPEED, 700.0), Condition(LOAD, 10.0), Baseline(30.0))
    _, job = told(RunStarted(RunKind.IDLE, held_out=(6,)), *said, Cut(1, 31.0))
    assert new_run(job, Condition(SPEED, 1500.0)) == RunStarted(RunKind.IDLE, held_out=(6,), repeat=True)
    assert new_run(job, Condition(SPEED, 710.0)) is None
    assert new_run(job, Condition(LOAD, 90.0)) is None, "load sets no run"
    assert new_run(job, Condition(PRESSURE, 90.0)) is None, "no pressure was told before"
    assert new_run(job, Baseline(90.0)) is None
    for before in (said, (*said, Cut(1, 31.0), RunEnded())):
        _, other = told(RunStarted(RunKind.IDLE), *before)
        assert new_run(other, Condition(SPEED, 1500.0)) is None, "no cut yet, or the run is over"


def test_of_several_pressures_the_latest_is_compared_with() -> None:
    said = [Condition(PRESSURE, value, "MPa") for value in (10.0, 20.0)]
    _, job = told(RunStarted(RunKind.IDLE), Baseline(30.0), Cut(1, 31.0), *said)
    assert new_run(job, Condition(PRESSURE, 21.0, "MPa")) is None
    assert new_run(job, Condition(PRESSURE, 10.0, "MPa")) is not None


def test_another_number_goes_into_what_holds_one() -> None:
    assert with_value(Cut(3, None, no_change=True), 38.0) == Cut(3, 38.0)
    assert with_value(Baseline(30.0), 31.0) == Baseline(31.0)
    assert with_value(Condition(SPEED, 700.0), 710.0) == Condition(SPEED, 710.0)
    assert with_value(DOUBT, 38.0) == Cut(1, 38.0)
    wanted = PartWanted("injector", quantity=2)
    for number in (1, 99):
        assert with_value(wanted, float(number)) == PartWanted("injector", quantity=number)
    for number in (0.0, 100.0, 1.5):
        assert with_value(wanted, number) is None
    assert with_value(Note("x"), 3.0) is None


def test_another_cylinder_goes_into_what_is_of_one() -> None:
    for body, moved in (
        (Cut(3, 38.0), Cut(4, 38.0)),
        (PartWanted("injector", cylinder=3), PartWanted("injector", cylinder=4)),
        (PhotoCue("overhead", 3), PhotoCue("overhead", 4)),
        (Check("wiring", "sound", 3), Check("wiring", "sound", 4)),
        (Baseline(30.0), Baseline(30.0)),
    ):
        assert of_cylinder(body, 4) == moved


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (Cut(1, 30.0), Cut(1, 31.0), True),
        (Cut(1, 30.0), Cut(2, 30.0), False),
        (Baseline(30.0), Baseline(31.0), True),
        (Condition(SPEED, 700.0), Condition(SPEED, 800.0), True),
        (Condition(SPEED, 700.0), Condition(LOAD, 70.0), False),
        (Check("wiring", "sound", 3), Check("wiring", "faulty", 3), True),
        (Check("wiring", "sound", 3), Check("wiring", "sound", 4), False),
        (Check("wiring", "sound", 3), Check("overhead", "damaged", 3, "bridge"), False),
        (Baseline(30.0), Cut(1, 30.0), False),
        (Note("x"), Note("x"), False),
    ],
)
def test_two_bodies_are_about_the_same_thing(one: Body, other: Body, same: bool) -> None:
    assert same_thing(one, other) is same_thing(other, one) is same


def test_a_plain_statement_settles_the_latest_question_all_of_whose_options_it_is_about() -> None:
    mixed = Question("one or two?", (Cut(1, 30.0), Cut(2, 30.0)))
    again = Question("one, three one?", (Cut(1, 31.0), Correction("x", Cut(1, 13.0))))
    scribe, job = told(RunStarted(RunKind.IDLE), DOUBT, again, mixed)
    asked = settled_by(job, Cut(1, 30.0))
    assert asked is not None and asked.question.entry.id == scribe.entries[3].id
    assert settled_by(job, Cut(2, 30.0)) is None
    assert settled_by(job, Baseline(30.0)) is None


def test_the_last_number_is_of_whom_and_what_is_asked_for() -> None:
    scribe, _ = told(RunStarted(RunKind.IDLE), Baseline(30.0), Condition(SPEED, 700.0), Cut(1, 31.0), Cut(2, 32.0))
    scribe.say(Note("n"))
    scribe.say(Cut(3, 33.0), technician="Ben")
    scribe.say(Cut(4, 34.0))
    scribe.say(Withdrawal(scribe.entries[-1].id))
    scribe.say(Correction(scribe.entries[4].id, Cut(1, 31.5)))
    job = replay(scribe.entries)

    def found(technician: str, *more: object) -> Body | None:
        entry = last_number(job, technician, *more)  # type: ignore[arg-type]
        return None if entry is None else entry.body

    assert found("Ada") == Cut(2, 32.0)
    assert found("Ben") == Cut(3, 33.0)
    assert found("Cy") is None
    assert found("Cy", 1) == Cut(1, 31.5), "named ones are found whoever said them, as they count now"
    assert found("Cy", 4) is None, "what was taken back does not count"
    assert found("Cy", None, "baseline") == Baseline(30.0)
    assert found("Cy", None, SPEED) == Condition(SPEED, 700.0)
    assert found("Cy", None, LOAD) is None


def test_a_check_without_a_number_is_no_number() -> None:
    _, job = told(RunStarted(RunKind.IDLE), Cut(3, 33.0), Check("wiring", "sound", 3))
    entry = last_number(job, "Ada", 3)
    assert entry is not None and entry.body == Cut(3, 33.0)


def test_the_last_part_wanted_is_ones_own_and_the_one_just_wanted_was_said_last() -> None:
    scribe, _ = told(PartWanted("injector", cylinder=3))
    scribe.say(PartWanted("pushrod"), technician="Ben")
    job = replay(scribe.entries)
    assert [e and e.body for e in (last_wanted(job, "Ada"), last_wanted(job, "Ben"), last_wanted(job, "Cy"))] == [
        PartWanted("injector", cylinder=3),
        PartWanted("pushrod"),
        None,
    ]
    assert (just := just_wanted(job)) is not None and just.body == PartWanted("pushrod")
    scribe.say(Correction(scribe.entries[-1].id, PartWanted("pushrod", quantity=2)))
    assert (just := just_wanted(replay(scribe.entries))) is not None and just.body == PartWanted("pushrod", quantity=2)
    scribe.say(Note("n"))
    assert just_wanted(replay(scribe.entries)) is None


def test_the_last_thing_of_a_cylinder_is_ones_own_and_counts() -> None:
    scribe, _ = told(RunStarted(RunKind.IDLE), Cut(3, 33.0), PartWanted("injector", cylinder=5))
    scribe.say(Check("smoke", "white"))
    scribe.say(Cut(4, 34.0), technician="Ben")
    job = replay(scribe.entries)

    def found(technician: str, cylinder: int | None) -> Body | None:
        entry = last_of_cylinder(job, technician, cylinder)
        return None if entry is None else entry.body

    assert found("Ada", None) == PartWanted("injector", cylinder=5)
    assert found("Ada", 3) == Cut(3, 33.0)
    assert found("Ada", 4) is None
    assert found("Ben", None) == Cut(4, 34.0)


def test_what_was_just_taken_back_can_be_said_with_another_number() -> None:
    scribe, _ = told(RunStarted(RunKind.IDLE), Cut(3, 33.0))
    assert taken_back_just_now(replay(scribe.entries)) is None
    scribe.say(Withdrawal(scribe.entries[-1].id))
    assert taken_back_just_now(replay(scribe.entries)) == Cut(3, 33.0)
    scribe.say(Note("n"))
    scribe.say(Withdrawal(scribe.entries[-1].id))
    assert taken_back_just_now(replay(scribe.entries)) is None


def test_the_last_act_is_none_that_was_taken_back_unless_it_was_put_back_and_never_the_opening() -> None:
    scribe, _ = told(Note("n"))
    note = scribe.entries[-1].id
    assert (act := last_act(replay(scribe.entries), "Ada")) is not None and act.id == note
    away = scribe.say(Withdrawal(note)).id
    assert (act := last_act(replay(scribe.entries), "Ada")) is not None and act.id == away
    scribe.say(Withdrawal(away))
    job = replay(scribe.entries)
    assert (act := last_act(job, "Ada")) is not None and act.id == scribe.entries[-1].id
    assert what(act, job) == what(job.effective[note], job) == "note: n"
    assert last_act(job, "Ben") is None
    assert last_act(replay(scribe.entries[:1]), "Ada") is None


def test_the_context_is_of_the_run_in_progress_in_its_unit() -> None:
    other = (Cut(2, 1.0, unit="mg"), Cut(3, 700.0, quantity=SPEED), Cut(4, 1.0, quantity=Quantity.FUEL_RATE))
    said = (Baseline(30.0), Cut(1, 31.0), *other, Cut(5, None, no_change=True), Condition(SPEED, 700.0))
    scribe, job = told(RunStarted(RunKind.IDLE, held_out=(6,)), *said)
    context = context_of(job)
    assert context.run == RunStarted(RunKind.IDLE, held_out=(6,))
    assert context.run_id == scribe.entries[1].id
    assert context.baseline == 30.0
    assert context.already_cut == ((1, 31.0), (5, 30.0))
    assert (context.done, context.held_out, context.next_cylinder) == ((1, 2, 3, 4, 5), (6,), None)
    assert context.ranges == (Range(SPEED, 350.0, 1050.0, "rpm"),)
    assert context.last == Condition(SPEED, 700.0) and context.last_id == scribe.entries[-1].id
    scribe.say(RunEnded())
    after = context_of(replay(scribe.entries))
    assert after.run is None and after.run_id == "" and after.already_cut == () and after.baseline is None


def test_what_is_missing_is_told_in_full() -> None:
    def text(*bodies: Body) -> str:
        return missing_text(told(*bodies)[1])

    assert text() == "nothing is missing; no run is in progress"
    run = RunStarted(RunKind.IDLE, held_out=(6,))
    assert text(run) == "no baseline yet; not cut yet: 1, 2, 3, 4, 5; not put back: cylinders"
    assert text(run, Baseline(30.0), Cut(2, 31.0)) == "not cut yet: 1, 3, 4, 5; next is 3; not put back: cylinders"
    run, cuts = RunStarted(RunKind.IDLE), [Cut(n, 31.0) for n in (1, 2, 3, 4, 5, 6)]
    assert text(run, Baseline(30.0), *cuts) == "every cylinder is cut"
    assert text(run, Baseline(30.0), *cuts, DOUBT) == "every cylinder is cut; 1 question waiting: one, three zero?"
    two = Question("two, four zero?", (Cut(2, 40.0), Cut(2, 14.0)))
    assert text(run, Baseline(30.0), *cuts, DOUBT, two).endswith(
        "; 2 questions waiting: one, three zero? two, four zero?"
    )
    lost = Question("Sorry?", ())
    assert text(lost) == "1 not understood"


def test_readings_are_told_of_a_cylinder_in_all_runs_or_of_the_last_run() -> None:
    first = (RunStarted(RunKind.IDLE), Baseline(30.0), Cut(1, 31.0), Cut(3, 32.5), RunEnded())
    second = (RunStarted(RunKind.IDLE, repeat=True), Baseline(40.0), Cut(3, None, no_change=True))
    _, job = told(*first, *second)
    assert readings_text(job, 3) == "cylinder 3 32.5 mm³, cylinder 3 no change"
    assert readings_text(job, None) == "baseline 40 mm³, cylinder 3 no change"
    assert readings_text(job, 6) == readings_text(told()[1], None) == "no readings yet"
