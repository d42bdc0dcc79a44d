"""A job is what its entries say, whatever order they came in."""

from __future__ import annotations

import random
from datetime import timedelta

import pytest

from journal.errors import BadInput
from journal.facts import (
    Answer,
    Baseline,
    Check,
    Condition,
    Correction,
    Cut,
    Engine,
    EngineChanged,
    GateOverridden,
    JobClosed,
    JobFact,
    JobOpened,
    JobReopened,
    Note,
    PartAnswer,
    PartState,
    PartWanted,
    Photo,
    PhotoCue,
    PhotoMark,
    PhotoPlaced,
    PutBack,
    Quantity,
    Question,
    RepairDone,
    Restored,
    RunEnded,
    RunKind,
    RunStarted,
    Subject,
    TroubleCode,
    Withdrawal,
    WriteUpEdited,
)
from journal.record.job import JobState, PlacedBy
from journal.record.replay import replay
from tests.record.arrange import START, Scribe, opened

SHA = "ab" * 32


def cuts(scribe: Scribe) -> list[tuple[int | None, float | None]]:
    return [(reading.cylinder, reading.value) for run in replay(scribe.entries).runs for reading in run.cuts]


def test_readings_belong_to_the_run_in_progress() -> None:
    job = opened()
    job.say(RunStarted(RunKind.IDLE))
    job.say(Baseline(30.0))
    job.say(Cut(1, 37.5))
    job.say(Condition(Quantity.ENGINE_SPEED, 700.0))
    job.say(RunEnded())
    job.say(RunStarted(RunKind.HALF_ENGINE, held_out=(4, 5, 6)))
    job.say(Cut(1, 70.0))
    first, second = replay(job.entries).runs
    assert (first.number, second.number) == (1, 2)
    assert [r.value for r in first.baselines + first.cuts] == [30.0, 37.5]
    assert [(r.quantity, r.value, r.unit) for r in first.conditions] == [(Quantity.ENGINE_SPEED, 700.0, "rpm")]
    assert replay(job.entries).conditions == ()
    assert first.ended_at is not None
    assert [r.value for r in second.cuts] == [70.0]
    assert replay(job.entries).run_in_progress == second


def test_a_reading_before_any_run_starts_an_idle_run_rather_than_being_lost() -> None:
    job = opened()
    job.say(Cut(3, 30.0))
    (run,) = replay(job.entries).runs
    assert run.start.run is RunKind.IDLE and [r.cylinder for r in run.cuts] == [3]


def test_a_repeated_run_has_the_conditions_of_the_run_before() -> None:
    job = opened()
    job.say(RunStarted(RunKind.HALF_ENGINE, held_out=(4, 5, 6), quantity=Quantity.FUEL_RATE, unit="L/h"))
    job.say(RunEnded())
    job.say(RunStarted(RunKind.IDLE, repeat=True))
    start = replay(job.entries).runs[1].start
    assert start.held_out == (4, 5, 6) and start.run is RunKind.HALF_ENGINE and start.repeat
    assert (start.quantity, start.unit) == (Quantity.FUEL_RATE, "L/h")


def test_a_condition_outside_a_run_is_the_jobs_own() -> None:
    job = opened()
    job.say(Condition(Quantity.ENGINE_SPEED, 700.0))
    assert [c.unit for c in replay(job.entries).conditions] == ["rpm"]


def test_a_withdrawn_reading_does_not_count() -> None:
    job = opened()
    reading = job.say(Cut(3, 30.0))
    job.say(Withdrawal(reading.id))
    assert cuts(job) == []


def test_taking_back_a_taking_back_restores() -> None:
    job = opened()
    reading = job.say(Cut(3, 30.0))
    taken_back = job.say(Withdrawal(reading.id))
    restored = job.say(Withdrawal(taken_back.id))
    assert cuts(job) == [(3, 30.0)]
    job.say(Withdrawal(restored.id))
    assert cuts(job) == []


def test_the_last_correction_counts_and_taking_it_back_leaves_the_one_before() -> None:
    job = opened()
    reading = job.say(Cut(3, 30.0))
    job.say(Correction(reading.id, Cut(3, 31.0)))
    last = job.say(Correction(reading.id, Cut(3, 32.0)))
    assert cuts(job) == [(3, 32.0)]
    job.say(Withdrawal(last.id))
    assert cuts(job) == [(3, 31.0)]


def test_a_correction_of_a_correction_changes_what_it_says() -> None:
    job = opened()
    reading = job.say(Cut(3, 30.0))
    wrong = job.say(Correction(reading.id, Cut(3, 31.0)))
    job.say(Correction(wrong.id, Cut(3, 33.0)))
    assert cuts(job) == [(3, 33.0)]


def test_a_corrected_reading_is_as_sure_as_its_correction() -> None:
    job = opened()
    reading = job.say(Cut(3, 30.0), certainty=0.6)
    job.say(Correction(reading.id, Cut(3, 31.0)), certainty=0.97)
    assert replay(job.entries).runs[0].cuts[0].certainty == 0.97


def test_a_correction_that_says_the_same_again_brings_its_own_certainty_too() -> None:
    job = opened()
    job.say(RunStarted(RunKind.IDLE))
    reading = job.say(Cut(3, 30.0), certainty=0.6)
    again = job.say(Correction(reading.id, Cut(3, 30.0)), certainty=0.97)
    assert replay(job.entries).runs[0].cuts[0].certainty == 0.97
    job.say(Withdrawal(again.id))
    assert replay(job.entries).runs[0].cuts[0].certainty == 0.6


def test_a_correction_of_a_withdrawn_entry_does_not_bring_it_back() -> None:
    job = opened()
    reading = job.say(Cut(3, 30.0))
    job.say(Withdrawal(reading.id))
    job.say(Correction(reading.id, Cut(3, 31.0)))
    assert cuts(job) == []


def test_two_withdrawals_that_name_each_other_resolve_by_time() -> None:
    job = opened()
    reading = job.say(Cut(3, 30.0))
    first = job.say(Withdrawal(reading.id))
    second = job.say(Withdrawal(first.id))
    # A withdrawal cannot name what comes after it; one that does is without effect.
    job.entries[job.entries.index(first)] = type(first)(first.id, first.job, first.at_utc, Withdrawal(second.id))
    assert cuts(job) == [(3, 30.0)]


def test_a_question_counts_once_answered_at_the_place_where_it_was_asked() -> None:
    job = opened()
    job.say(Cut(3, 30.0))
    question = job.say(Question("four: thirteen, or thirty?", (Cut(4, 13.0), Cut(4, 30.0))))
    job.say(Cut(5, 37.0))
    assert cuts(job) == [(3, 30.0), (5, 37.0)]
    assert [asked.question.entry.id for asked in replay(job.entries).waiting] == [question.id]
    assert replay(job.entries).not_understood == ()
    answer = job.say(Answer(question.id, choice=1))
    assert cuts(job) == [(3, 30.0), (4, 30.0), (5, 37.0)]
    assert replay(job.entries).waiting == ()
    job.say(Withdrawal(answer.id))
    assert len(replay(job.entries).waiting) == 1


def test_a_question_answered_with_neither_counts_for_nothing_and_does_not_wait() -> None:
    job = opened()
    question = job.say(Question("four: thirteen, or thirty?", (Cut(4, 13.0), Cut(4, 30.0))))
    job.say(Answer(question.id))
    assert cuts(job) == [] and replay(job.entries).waiting == ()


def test_an_answer_that_names_no_option_leaves_the_question_waiting() -> None:
    job = opened()
    question = job.say(Question("four: thirteen, or thirty?", (Cut(4, 13.0), Cut(4, 30.0))))
    job.say(Answer(question.id, choice=7))
    assert len(replay(job.entries).waiting) == 1


def test_a_question_without_options_waits_apart_until_it_is_put_right_or_let_go() -> None:
    job = opened()
    heard = job.say(Question("Sorry?", ()), heard="knock four down thirty eight")
    other = job.say(Question("Sorry?", ()), heard="hand me that")
    job.say(Cut(5, 37.0))
    state = replay(job.entries)
    assert state.waiting == ()
    assert [asked.question.entry.id for asked in state.not_understood] == [heard.id, other.id]
    job.say(Answer(heard.id, choice=0))
    assert len(replay(job.entries).not_understood) == 2, "there is no option to choose"
    answer = job.say(Answer(heard.id, body=Cut(4, 38.0)))
    job.say(Answer(other.id))
    assert cuts(job) == [(4, 38.0), (5, 37.0)], "it counts from when it was said"
    assert replay(job.entries).not_understood == ()
    job.say(Withdrawal(answer.id))
    assert cuts(job) == [(5, 37.0)]
    assert [asked.question.entry.id for asked in replay(job.entries).not_understood] == [heard.id]


def test_a_question_that_is_corrected_is_settled() -> None:
    job = opened()
    question = job.say(Question("four: thirteen, or thirty?", (Cut(4, 13.0), Cut(4, 30.0))))
    job.say(Correction(question.id, Cut(4, 33.0)))
    assert cuts(job) == [(4, 33.0)]
    assert replay(job.entries).waiting == ()
    assert replay(job.entries).questions[0].answer is not None


def test_a_withdrawn_question_is_gone() -> None:
    job = opened()
    question = job.say(Question("four: thirteen, or thirty?", (Cut(4, 13.0), Cut(4, 30.0))))
    job.say(Withdrawal(question.id))
    assert replay(job.entries).questions == ()


def test_the_later_of_two_answers_counts() -> None:
    job = opened()
    question = job.say(Question("four: thirteen, or thirty?", (Cut(4, 13.0), Cut(4, 30.0))))
    job.say(Answer(question.id, choice=0))
    job.say(Answer(question.id, choice=1))
    assert cuts(job) == [(4, 30.0)]


def test_a_question_about_a_correction_corrects_once_answered() -> None:
    job = opened()
    reading = job.say(Cut(4, 18.0))
    options = (Correction(reading.id, Cut(4, 13.0)), Correction(reading.id, Cut(4, 30.0)))
    question = job.say(Question("thirteen, or thirty?", options))
    job.say(Answer(question.id, choice=1))
    assert cuts(job) == [(4, 30.0)]


def test_the_opening_cannot_be_taken_back_but_its_words_can_be_corrected() -> None:
    job = Scribe()
    opening = job.open("pmup")
    job.say(Withdrawal(opening.id))
    job.say(Correction(opening.id, Note("not an opening")))
    job.say(Correction(opening.id, JobOpened("pump", Engine(4))))
    replayed = replay(job.entries)
    assert (replayed.unit, replayed.engine.cylinders) == ("pump", 4)
    assert replayed.opened_at == opening.at_utc


def test_facts_of_the_job_are_the_latest_said() -> None:
    job = opened()
    job.say(JobFact("hours", "8000"))
    job.say(JobFact("hours", "8100"))
    job.say(JobFact("complaint", "no power"))
    job.say(EngineChanged(Engine(8)))
    replayed = replay(job.entries)
    assert replayed.facts == {"hours": "8100"}
    assert (replayed.complaint, replayed.engine.cylinders) == ("no power", 8)


def test_what_was_changed_for_a_run_is_outstanding_until_put_back() -> None:
    job = opened()
    job.say(RunStarted(RunKind.HALF_ENGINE, held_out=(1, 2, 3), pressure_value=20.0))
    assert replay(job.entries).outstanding == (Restored.CYLINDERS, Restored.PRESSURE)
    job.say(RunEnded())
    job.say(PutBack(Restored.CYLINDERS))
    assert replay(job.entries).outstanding == (Restored.PRESSURE,)


@pytest.mark.parametrize(
    ("before", "again", "after"), [(False, False, False), (False, True, True), (True, False, True), (True, True, True)]
)
def test_a_repeated_run_is_after_the_repair_when_either_says_so(before: bool, again: bool, after: bool) -> None:
    job = opened()
    job.say(RunStarted(RunKind.IDLE, after_repair=before))
    job.say(RunStarted(RunKind.IDLE, repeat=True, after_repair=again))
    assert replay(job.entries).runs[1].start.after_repair is after


def test_a_run_that_repeats_one_from_before_the_repair_does_not_verify_it() -> None:
    job = opened()
    job.say(RunStarted(RunKind.IDLE))
    job.say(RepairDone("bridge replaced", 3))
    job.say(RunStarted(RunKind.IDLE, repeat=True))
    assert replay(job.entries).state is JobState.TO_VERIFY
    job.say(RunStarted(RunKind.IDLE, repeat=True, after_repair=True))
    assert replay(job.entries).state is JobState.OPEN


def test_a_job_goes_from_open_over_parts_and_repair_to_closed_and_back() -> None:
    job = opened()
    states = [replay(job.entries).state]
    part = job.say(PartWanted("valve bridge", cylinder=3))
    states.append(replay(job.entries).state)
    job.say(PartAnswer(part.id, PartState.ARRIVED))
    states.append(replay(job.entries).state)
    job.say(RepairDone("bridge replaced", 3))
    states.append(replay(job.entries).state)
    job.say(RunStarted(RunKind.IDLE, after_repair=True))
    states.append(replay(job.entries).state)
    job.say(RepairDone("lash set", 3))
    states.append(replay(job.entries).state)
    job.say(JobClosed("valve train", 3))
    states.append(replay(job.entries).state)
    job.say(JobReopened())
    states.append(replay(job.entries).state)
    assert states == [
        JobState.OPEN, JobState.WAITING, JobState.OPEN, JobState.TO_VERIFY, JobState.OPEN, JobState.TO_VERIFY,
        JobState.CLOSED, JobState.TO_VERIFY,
    ]  # fmt: skip


def test_an_answer_about_a_part_from_a_clock_that_runs_behind_still_counts() -> None:
    job = opened()
    part = job.say(PartWanted("valve bridge"))
    job.say(PartAnswer(part.id, PartState.PRICED, price="40 EUR"), seconds=-30)
    (found,) = replay(job.entries).parts
    assert [a.body.price for a in found.answers] == ["40 EUR"]


def test_edits_of_the_write_up_are_the_last_made_and_an_empty_one_takes_them_back() -> None:
    job = opened()
    job.say(WriteUpEdited("cause", "broken bridge"))
    job.say(WriteUpEdited("complaint", "rough"))
    job.say(WriteUpEdited("complaint", ""))
    assert replay(job.entries).edits == {"cause": "broken bridge"}


def test_a_photo_belongs_to_the_cue_in_force_when_it_was_taken_however_late_it_arrives() -> None:
    job = opened()
    job.say(PhotoCue("blow-by"))
    taken = job.at + timedelta(seconds=3)
    job.say(PhotoCue("overhead", 3), seconds=10)
    job.say(Photo(SHA, "a.jpg", taken_at=taken.isoformat()), seconds=600)
    (picture,) = replay(job.entries).pictures
    assert (picture.photo.body.subject, picture.photo.body.cylinder) == ("blow-by", None)
    assert picture.placed_by is PlacedBy.CUE_WHEN_TAKEN


@pytest.mark.parametrize("taken", ["", "2019-01-01T00:00:00+00:00", "2031-01-01T00:00:00+00:00", "yesterday"])
def test_a_photo_of_unknown_or_impossible_time_belongs_to_the_cue_in_force_when_it_arrived(taken: str) -> None:
    job = opened()
    job.say(PhotoCue("blow-by"))
    job.say(PhotoCue("overhead", 3))
    job.say(Photo(SHA, "a.jpg", taken_at=taken))
    (picture,) = replay(job.entries).pictures
    assert (picture.photo.body.subject, picture.photo.body.cylinder) == ("overhead", 3)
    assert picture.placed_by is PlacedBy.CUE_WHEN_ARRIVED


def test_a_photo_taken_before_any_cue_is_not_placed() -> None:
    job = opened()
    taken = job.at + timedelta(seconds=1)
    job.say(PhotoCue("blow-by"), seconds=10)
    job.say(Photo(SHA, "a.jpg", taken_at=taken.isoformat()))
    (picture,) = replay(job.entries).pictures
    assert (picture.photo.body.subject, picture.placed_by) == ("", PlacedBy.NOTHING)


def test_a_run_ends_an_earlier_cue_and_its_photos_show_the_run() -> None:
    job = opened()
    job.say(PhotoCue("blow-by"))
    job.say(RunStarted(RunKind.IDLE))
    job.say(Photo(SHA, "a.jpg"))
    job.say(RunEnded())
    job.say(Photo("cd" * 32, "b.jpg"))
    during, after = replay(job.entries).pictures
    assert (during.photo.body.subject, during.placed_by) == ("cut-out run 1", PlacedBy.RUN)
    assert (after.photo.body.subject, after.placed_by) == ("", PlacedBy.NOTHING)


def test_what_was_given_with_a_photo_stands_and_a_hand_moves_it() -> None:
    job = opened()
    job.say(PhotoCue("blow-by"))
    job.say(Photo(SHA, "a.jpg", subject="overhead", cylinder=2))
    assert replay(job.entries).pictures[0].placed_by is PlacedBy.GIVEN
    job.say(PhotoPlaced(SHA, "connector", 4))
    job.say(PhotoMark(SHA, "ring", 0.5, 0.5, 0.6, 0.5, "here"))
    (picture,) = replay(job.entries).pictures
    assert (picture.photo.body.subject, picture.photo.body.cylinder) == ("connector", 4)
    assert picture.placed_by is PlacedBy.HAND and [m.body.text for m in picture.marks] == ["here"]


def test_the_same_photo_twice_is_one_and_the_second_may_say_where_it_belongs() -> None:
    job = opened()
    job.say(Photo(SHA, "a.jpg"))
    job.say(Photo(SHA, "a (1).jpg", subject="overhead", cylinder=3))
    (picture,) = replay(job.entries).pictures
    assert picture.photo.body.subject == "overhead"


def test_checks_on_the_same_thing_stand_side_by_side() -> None:
    job = opened()
    job.say(Check(Subject.BLOW_BY, "light"))
    job.say(Check(Subject.BLOW_BY, "heavy"))
    assert [c.body.outcome for c in replay(job.entries).checks] == ["light", "heavy"]


def test_the_order_of_arrival_does_not_matter() -> None:
    job = opened()
    reading = job.say(Cut(3, 30.0))
    wrong = job.say(Correction(reading.id, Cut(3, 31.0)))
    job.say(Withdrawal(wrong.id))
    job.say(Note("cold start"))
    expected = replay(job.entries)
    shuffled = list(job.entries)
    for seed in range(20):
        random.Random(seed).shuffle(shuffled)
        assert replay(shuffled + shuffled[:2]) == expected


def test_entries_without_an_opening_or_of_two_jobs_are_refused() -> None:
    with pytest.raises(BadInput, match="none of them opens one"):
        replay([])
    with pytest.raises(BadInput, match="more than one job"):
        replay([*opened().entries, *opened(at=START + timedelta(days=1)).entries])


def test_every_kind_of_entry_lands_where_it_is_looked_for() -> None:
    job = opened()
    code = job.say(TroubleCode(651, 5))
    check = job.say(Check(Subject.WIRING, "sound", 3))
    note = job.say(Note("smokes when cold"))
    fact = job.say(JobFact("hours", "8123"))
    job.say(JobFact("unit", "pump by the pond"))
    job.say(EngineChanged(Engine(8)))
    part = job.say(PartWanted("injector", cylinder=3))
    answers = [job.say(PartAnswer(part.id, state, price="12")) for state in (PartState.PRICED, PartState.ORDERED)]
    override = job.say(GateOverridden("injector", 3, "downtime"))
    repair = job.say(RepairDone("new injector", 3))
    job.say(WriteUpEdited("summary", "as I saw it"))
    photo = job.say(Photo(SHA, "a.jpg", "overhead", 3))
    mark = job.say(PhotoMark(SHA, "ring", 0.1, 0.1, 0.2, 0.2))
    stands = replay(job.entries)
    assert [fact.entry for fact in stands.codes] == [code]
    assert [fact.entry for fact in stands.checks] == [check]
    assert [fact.entry for fact in stands.notes] == [note]
    assert stands.facts == {"hours": fact.body.value}  # type: ignore[union-attr]
    assert (stands.unit, stands.complaint, stands.engine) == ("pump by the pond", "misses at idle", Engine(8))
    assert [(p.wanted.entry, [a.entry for a in p.answers]) for p in stands.parts] == [(part, answers)]
    assert stands.parts[0].now(PartState.FITTED) == PartAnswer(part.id, PartState.FITTED, price="12")
    assert [fact.entry for fact in stands.overrides] == [override]
    assert [fact.entry for fact in stands.repairs] == [repair]
    assert stands.edits == {"summary": "as I saw it"}
    assert [(p.photo.entry, [m.entry for m in p.marks]) for p in stands.pictures] == [(photo, [mark])]
    assert stands.technicians == ("Ada",) and stands.closed is None
    assert list(stands.entries) == job.entries and set(stands.effective) == {entry.id for entry in job.entries}
    closing = job.say(JobClosed("injector", 3, "worn"))
    assert (closed := replay(job.entries).closed) is not None and closed.entry == closing


@pytest.mark.parametrize(
    ("unit", "quantity"),
    [("", Quantity.FUEL_PER_STROKE), ("mm3", Quantity.FUEL_PER_STROKE), ("L/h", Quantity.FUEL_RATE)],
)
def test_a_reading_that_nobody_announced_is_of_what_its_unit_says(unit: str, quantity: Quantity) -> None:
    job = opened()
    job.say(Baseline(30.0, unit=unit))
    (run,) = replay(job.entries).runs
    assert (run.start.quantity, run.baselines[0].quantity) == (quantity, quantity)
    assert run.baselines[0].unit == (unit or "mm3")


def test_what_differs_in_a_repeated_run_is_what_was_said_of_it() -> None:
    job = opened()
    job.say(RunStarted(RunKind.IDLE, pressure="high", held_out=(6,)))
    job.say(RunStarted(RunKind.IDLE, repeat=True, pressure_value=30.0, pressure_unit="MPa"))
    job.say(RunStarted(RunKind.IDLE, repeat=True, held_out=(5,)))
    first, second, third = (run.start for run in replay(job.entries).runs)
    assert (first.pressure, first.repeat) == ("high", False)
    assert (second.pressure, second.pressure_value, second.pressure_unit) == (None, 30.0, "MPa")
    assert (second.held_out, second.repeat) == ((6,), True)
    assert (third.pressure_value, third.pressure_unit, third.held_out) == (30.0, "MPa", (5,))
    assert set(replay(job.entries).outstanding) == {Restored.CYLINDERS, Restored.PRESSURE}
    job.say(PutBack(Restored.PRESSURE))
    assert replay(job.entries).outstanding == (Restored.CYLINDERS,)
